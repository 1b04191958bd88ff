package httpd

import (
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"sync"

	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/adapters/humagin"
	"github.com/gin-gonic/gin"

	"daysheet/events"
)

// adoptProblems makes huma speak in our problems. Its hooks are variables of its
// package, so this is done once for the whole program.
var adoptProblems = sync.OnceFunc(func() {
	huma.NewError = func(status int, detail string, errs ...error) huma.StatusError {
		return fromHuma(status, detail, errs)
	}
	huma.NewErrorWithContext = func(ctx huma.Context, status int, detail string, errs ...error) huma.StatusError {
		p := fromHuma(status, detail, errs)
		for name, values := range p.headers {
			for _, value := range values {
				ctx.SetHeader(name, value)
			}
		}
		return p
	}
})

// refusalsShown bounds what is said of one body. Each refusal may write out the whole
// object that it is about, so that all of those of a large body would take for ever.
const refusalsShown = 20

// fromHuma turns what huma found wrong into a problem. Where a handler's error
// is a fault to huma, the error itself decides.
func fromHuma(status int, detail string, errs []error) *ProblemDetails {
	errs = slices.DeleteFunc(slices.Clone(errs), func(err error) bool { return err == nil })
	var tooLarge *http.MaxBytesError
	for _, err := range errs {
		if errors.As(err, &tooLarge) || status >= http.StatusInternalServerError {
			return Problem(err)
		}
	}
	p := NewProblem(status, detail)
	for _, err := range errs[:min(len(errs), refusalsShown)] {
		p.Errors = append(p.Errors, refusalOf(err))
	}
	if more := len(errs) - refusalsShown; more > 0 {
		p.Errors = append(p.Errors, Refusal{Message: fmt.Sprintf("and %d more", more)})
	}
	if len(p.Errors) == 1 {
		r := p.Errors[0]
		p.Field, p.Value, p.Rule, p.Event = r.Field, r.Value, r.Rule, r.Event
		p.Detail = r.Message
	}
	return p
}

func refusalOf(err error) Refusal {
	var refusal *events.Error
	if !errors.As(err, &refusal) {
		detailer, ok := err.(huma.ErrorDetailer)
		if !ok {
			return refusalFrom(&events.Error{Rule: brief(err.Error())})
		}
		d := detailer.ErrorDetail()
		refusal = events.Refuse(brief(d.Location), receivedValue(d.Value), "%s", brief(d.Message))
	}
	return refusalFrom(refusal)
}

// brief shortens what repeats the name or the number that somebody sent.
func brief(text string) string {
	const most = 300
	if len(text) <= most {
		return text
	}
	return strings.ToValidUTF8(text[:most], "") + "…"
}

// receivedValue leaves a large object unwritten: fmt would sort all of its names.
func receivedValue(value any) any {
	const most = 50
	if object, ok := value.(map[string]any); ok && len(object) > most {
		return json.RawMessage(fmt.Sprintf("{… %d members}", len(object)))
	}
	return value
}

// newAPI puts huma on the engine.
func (s *Server) newAPI(version string) {
	adoptProblems()
	cfg := huma.DefaultConfig("daysheet", version)
	cfg.Info.Description = "Job ledger of painting and decorating firms: events in, reports out."
	// No page that loads from elsewhere, no schema links, and the description is
	// served by a route of our own that needs a token.
	cfg.DocsPath, cfg.SchemasPath, cfg.OpenAPIPath, cfg.CreateHooks = "", "", "", nil
	cfg.Components.Schemas = huma.NewMapRegistry("#/components/schemas/", schemaName)
	cfg.Components.SecuritySchemes = map[string]*huma.SecurityScheme{
		"token": {Type: "http", Scheme: "bearer", Description: "A token of the firm; it begins with " + secretPrefix},
	}
	cfg.Transformers = []huma.Transformer{finishProblem}
	cfg.OnAddOperation = append(cfg.OnAddOperation, describeScope, s.leaveBodies)
	s.API = humagin.New(s.Engine, cfg)
	s.API.UseMiddleware(s.checkScope)
	s.Engine.GET("/openapi.json", s.openAPI())
}

// leaveBodies leaves it to the engine how large a body may be and how long it may take to
// arrive, for pages and API alike. Of itself huma takes 1 MiB and waits five seconds, which
// is less than a phone on a bad line needs.
func (s *Server) leaveBodies(_ *huma.OpenAPI, op *huma.Operation) {
	op.MaxBodyBytes, op.BodyReadTimeout = -1, s.readTimeout
}

// schemaName names the schema of a type. Rooms of the program do not know of each
// other and may have types of one name, so that theirs begin with the room.
func schemaName(t reflect.Type, hint string) string {
	name := huma.DefaultSchemaNamer(t, hint)
	for t.Kind() == reflect.Pointer || t.Kind() == reflect.Slice {
		t = t.Elem()
	}
	room, ok := strings.CutPrefix(t.PkgPath(), "daysheet/services/")
	if !ok || t.Name() == "" || room == "httpd" {
		return name
	}
	return strings.ToUpper(room[:1]) + strings.ReplaceAll(room[1:], "/", "") + name
}

// finishProblem puts the request into a problem on its way out, and a fault into
// the access log.
func finishProblem(ctx huma.Context, _ string, v any) (any, error) {
	p, ok := v.(*ProblemDetails)
	if !ok {
		return v, nil
	}
	finished := *p
	finished.Instance = instanceOf(ctx.Context())
	if p.cause != nil {
		_ = humagin.Unwrap(ctx).Error(p.cause) // hands it to the access log and returns it again
	}
	return &finished, nil
}

// given returns the scopes that a token has who has s: all of them are needed.
func (s Scope) given() []string {
	if s == Office {
		return []string{string(ScopeRead), string(ScopeRecord)}
	}
	return []string{string(s)}
}

// scopesOf reads Metadata["scope"] of an operation: a Scope, or several of which
// one is enough.
func scopesOf(op *huma.Operation) ([]Scope, error) {
	var scopes []Scope
	switch v := op.Metadata["scope"].(type) {
	case Scope:
		scopes = []Scope{v}
	case []Scope:
		scopes = v
	case string:
		scopes = []Scope{Scope(v)}
	}
	if len(scopes) == 0 {
		return nil, fmt.Errorf("operation %s %s names no scope in its metadata", op.Method, op.Path)
	}
	for _, scope := range scopes {
		if scope != Office && !slices.Contains(Scopes(), scope) {
			return nil, fmt.Errorf("operation %s %s: %q is no scope", op.Method, op.Path, scope)
		}
	}
	return scopes, nil
}

// describeScope writes the scope into the description of the API. It panics
// where there is none, as huma does for other mistakes in a registration: such a
// program must not start.
func describeScope(_ *huma.OpenAPI, op *huma.Operation) {
	scopes, err := scopesOf(op)
	if err != nil {
		panic(err)
	}
	for _, s := range scopes {
		op.Security = append(op.Security, map[string][]string{"token": s.given()})
	}
	describeErrors(op)
	need := "Needs a token with the scope " + joined(scopes, " or ") + "."
	op.Description = strings.TrimSpace(op.Description + "\n\n" + need)
}

// describeErrors names what every operation can be refused with, where its own
// list leaves it at any error.
func describeErrors(op *huma.Operation) {
	usual := op.Responses["default"]
	if usual == nil {
		return
	}
	statuses := []int{http.StatusUnauthorized, http.StatusForbidden, http.StatusTooManyRequests,
		http.StatusInternalServerError, http.StatusServiceUnavailable}
	if len(op.Parameters) > 0 || op.RequestBody != nil {
		statuses = append(statuses, http.StatusUnprocessableEntity)
	}
	for _, status := range statuses {
		if code := strconv.Itoa(status); op.Responses[code] == nil {
			op.Responses[code] = &huma.Response{Description: http.StatusText(status), Content: usual.Content}
		}
	}
}

// checkScope lets only callers with the operation's scope through. A hidden
// operation is not described, so it is checked here that it has one.
func (s *Server) checkScope(ctx huma.Context, next func(huma.Context)) {
	scopes, err := scopesOf(ctx.Operation())
	if err != nil {
		Abort(humagin.Unwrap(ctx), err)
		return
	}
	if caller, _ := CallerFrom(ctx.Context()); !caller.May(scopes...) {
		Abort(humagin.Unwrap(ctx), forbidden(caller, scopes))
		return
	}
	next(ctx)
}

// openAPI serves the description of the API. It is complete once the first
// request comes in.
func (s *Server) openAPI() gin.HandlerFunc {
	description := sync.OnceValues(func() ([]byte, error) { return json.Marshal(s.API.OpenAPI()) })
	return func(c *gin.Context) {
		raw, err := description()
		if err != nil {
			Abort(c, fmt.Errorf("write description of the API: %w", err))
			return
		}
		c.Data(http.StatusOK, "application/vnd.oai.openapi+json;version=3.1", raw)
	}
}
