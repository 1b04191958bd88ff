package httpd

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"net/http"
	"strconv"
	"strings"

	"github.com/danielgtaylor/huma/v2"
	"github.com/gin-gonic/gin"

	"daysheet/events"
	"daysheet/services/texts"
)

// ProblemDetails is the body of every answer that is not a success, by RFC 9457.
// Type is what a program decides by and never changes; Detail is for people.
// Field, Value, Rule and Event are given where one thing was refused; Errors
// lists them where there can be several.
type ProblemDetails struct {
	Type     string `json:"type" format:"uri-reference" doc:"What kind of problem it is; stable" example:"/problems/invalid"`
	Title    string `json:"title" doc:"The kind of problem in words" example:"The content breaks a rule"`
	Status   int    `json:"status" doc:"HTTP status code" example:"422"`
	Detail   string `json:"detail,omitempty" doc:"What happened this time, for people"`
	Instance string `json:"instance,omitempty" format:"uri-reference" doc:"This one request; its last part is the request id in the server's log"`

	Field string `json:"field,omitempty" doc:"What was refused" example:"data.minutes"`
	Value string `json:"value,omitempty" doc:"The value as received, shortened" example:"-30"`
	Rule  string `json:"rule,omitempty" doc:"What would have been accepted" example:"a whole number from 1 to 1440"`
	Event string `json:"event,omitempty" doc:"Id of the event that was refused"`

	Errors []Refusal `json:"errors,omitempty" doc:"Everything that was refused"`

	Recorded    []events.Receipt `json:"recorded,omitempty" doc:"Events of the request that are on disk all the same"`
	NotRecorded []string         `json:"not_recorded,omitempty" doc:"Ids of events of the request that were not recorded"`
	Unknown     []string         `json:"unknown,omitempty" doc:"Ids of events whose fate is not known; sending them again is safe"`

	cause   error // of a fault: for the log, not for the caller
	headers http.Header
	heading string // key of what stands above it on its page; empty: the kind of problem
}

// Refusal is one of several things that a request got wrong.
type Refusal struct {
	Message string `json:"message" doc:"Event or line, field, value and rule in one sentence"`
	Line    int    `json:"line,omitempty" doc:"Line of the file that was sent, counted from 1"`
	Event   string `json:"event,omitempty" doc:"Id of the event"`
	Field   string `json:"field,omitempty" doc:"What was refused" example:"data.minutes"`
	Value   string `json:"value,omitempty" doc:"The value as received, shortened" example:"-30"`
	Rule    string `json:"rule" doc:"What would have been accepted" example:"a whole number from 1 to 1440"`
}

// About says what was refused, the value as received and what would have been
// accepted, and returns p.
func (p *ProblemDetails) About(field, value, rule string) *ProblemDetails {
	p.Field, p.Value, p.Rule = field, value, rule
	return p
}

// Because keeps the fault behind the problem for the log, and returns p.
func (p *ProblemDetails) Because(cause error) *ProblemDetails {
	p.cause = cause
	return p
}

// Error returns the detail, else the title.
func (p *ProblemDetails) Error() string {
	if p.Detail != "" {
		return p.Detail
	}
	return p.Title
}

// Heading returns what stands above the problem on a page in a language.
func (p *ProblemDetails) Heading(say *texts.Speaker) string {
	key := cmp.Or(p.heading, "problem."+strings.TrimPrefix(p.Type, "/problems/"))
	if !say.Has(key) {
		return p.Title // a status that nobody has thought of
	}
	return say.Say(key)
}

// Explain says on a page in a language what happened. foreign reports that it is said in
// English all the same: nobody has said it in that language yet.
func (p *ProblemDetails) Explain(say *texts.Speaker) (detail string, foreign bool) {
	if say.Language() == texts.English {
		return Sentence(p.Error()), false
	}
	for _, english := range []string{p.Rule, p.Detail} {
		if said, ok := say.Rule(english); ok {
			return Sentence(said), false
		}
	}
	if p.Detail == "" {
		return "", false // the heading says it
	}
	return Sentence(p.Detail), true
}

// Unwrap returns the fault behind the problem; nil where it is the caller's.
func (p *ProblemDetails) Unwrap() error { return p.cause }

// GetStatus is how huma learns the status.
func (p *ProblemDetails) GetStatus() int { return p.Status }

// GetHeaders is how huma learns the headers.
func (p *ProblemDetails) GetHeaders() http.Header { return p.headers }

// ContentType is the same whatever the request accepts.
func (p *ProblemDetails) ContentType(string) string { return problemType }

const problemType = "application/problem+json"

// kindOf names the problem of each status. The codes of events have their
// statuses in statusOf.
func kindOf(status int) (name, title string) {
	switch status {
	case http.StatusBadRequest:
		return "malformed", "The request cannot be read"
	case http.StatusUnauthorized:
		return "unauthorized", "A token is needed"
	case http.StatusForbidden:
		return "forbidden", "The caller may not do this"
	case http.StatusNotFound:
		return "not-found", "There is no such thing"
	case http.StatusMethodNotAllowed:
		return "method-not-allowed", "The address does not take this method"
	case http.StatusNotAcceptable:
		return "not-acceptable", "There is no answer of the kind that is asked for"
	case http.StatusRequestTimeout:
		return "timeout", "The request took too long to arrive"
	case http.StatusConflict:
		return "conflict", "It contradicts what is recorded"
	case http.StatusPreconditionFailed:
		return "precondition-failed", "It has changed since it was read"
	case http.StatusRequestEntityTooLarge:
		return "too-large", "The request is too large"
	case http.StatusUnsupportedMediaType:
		return "unsupported-media-type", "The content type is not known here"
	case http.StatusUnprocessableEntity:
		return "invalid", "The content breaks a rule"
	case http.StatusPreconditionRequired:
		return "precondition-required", "Say which state the request is based on"
	case http.StatusTooManyRequests:
		return "too-many-requests", "Too many requests"
	case http.StatusServiceUnavailable:
		return "unavailable", "The ledger cannot answer now"
	case http.StatusInsufficientStorage:
		return "no-room", "There is no room for it"
	case http.StatusInternalServerError:
		return "internal", "The server has a fault"
	}
	return "other-" + strconv.Itoa(status), http.StatusText(status)
}

// statusOf is the one table of what the codes mean in HTTP.
func statusOf(code events.Code) int {
	switch code {
	case events.Invalid:
		return http.StatusUnprocessableEntity
	case events.Conflict:
		return http.StatusConflict
	case events.NotFound:
		return http.StatusNotFound
	case events.Unavailable:
		return http.StatusServiceUnavailable
	}
	return http.StatusInternalServerError
}

// retrySeconds is when a caller may try again if the ledger cannot answer now.
const retrySeconds = "5"

// NewProblem returns the problem of an HTTP status, with a detail for people.
func NewProblem(status int, detail string) *ProblemDetails {
	name, title := kindOf(status)
	p := &ProblemDetails{Type: "/problems/" + name, Title: title, Status: status, Detail: detail}
	if status == http.StatusServiceUnavailable {
		p.headers = http.Header{"Retry-After": {retrySeconds}}
	}
	return p
}

// Problem says an error in HTTP. The code of an [events.Error] decides the
// status. Of any other error, and of a fault, the caller learns nothing: it is
// kept as the cause and goes to the log. A problem is returned as it is.
func Problem(err error) *ProblemDetails {
	var done *ProblemDetails
	if errors.As(err, &done) {
		return done
	}
	var tooLarge *http.MaxBytesError
	if errors.As(err, &tooLarge) {
		rule := fmt.Sprintf("at most %d bytes are taken", tooLarge.Limit)
		return NewProblem(http.StatusRequestEntityTooLarge, rule).About("body", "more than that", rule)
	}
	var refusal *events.Error
	known := errors.As(err, &refusal)
	if !known && (errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded)) {
		p := NewProblem(http.StatusServiceUnavailable, "there was no time to finish; sending it again is safe")
		p.cause = err
		return p
	}
	if !known || statusOf(refusal.Code) == http.StatusInternalServerError {
		p := NewProblem(http.StatusInternalServerError, "the fault is in the server's log")
		p.cause = err
		return p
	}
	p := NewProblem(statusOf(refusal.Code), refusal.Error())
	p.Field, p.Value, p.Rule, p.Event = refusal.Field, refusal.Value, refusal.Rule, refusal.EventID
	if refusal.Code == events.Unavailable {
		p.cause = err
	}
	return p
}

// Refusals returns the problem of a request in which several things, or one,
// were refused. There must be at least one.
func Refusals(refused []*events.Error) *ProblemDetails {
	p := Problem(refused[0])
	if len(refused) > 1 {
		detail := fmt.Sprintf("%d events were refused; nothing was recorded", len(refused))
		p = NewProblem(http.StatusUnprocessableEntity, detail)
	}
	for _, e := range refused {
		p.Errors = append(p.Errors, refusalFrom(e))
	}
	return p
}

func refusalFrom(e *events.Error) Refusal {
	return Refusal{Message: e.Error(), Event: e.EventID, Field: e.Field, Value: e.Value, Rule: e.Rule}
}

// Abort answers a request on the engine with the problem of err and stops its
// handlers: with a page where the request accepts HTML, as JSON otherwise. A fault
// goes into the access log.
func Abort(c *gin.Context, err error) {
	p := *Problem(err) // a copy: the instance is of this request only
	p.Instance = instanceOf(c.Request.Context())
	if p.cause != nil {
		_ = c.Error(p.cause) // hands it to the access log and returns it again
	}
	for name, values := range p.headers {
		c.Writer.Header()[name] = values
	}
	c.Abort()
	if answerWithPage(c, &p) {
		return
	}
	c.Header("Content-Type", problemType)
	c.Status(p.Status)
	if err := huma.DefaultJSONFormat.Marshal(c.Writer, &p); err != nil {
		_ = c.Error(fmt.Errorf("write problem: %w", err))
	}
}

func instanceOf(ctx context.Context) string {
	if id := RequestIDFrom(ctx); id != "" {
		return "/requests/" + id
	}
	return ""
}
