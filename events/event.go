package events

import (
	"encoding/json"
	"maps"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"
)

// Event is one action in the shape of CloudEvents 1.0 (JSON event format). The
// zero value is not valid.
//
// An event is identified within a firm by its job and its id: a phone makes the
// id once, at the tap, and sends the same id however often it has to try.
type Event struct {
	ID              string          // required; 8 to 64 of A-Z a-z 0-9 . _ -
	Source          string          // required; a URI reference that says who recorded it
	Type            Type            // required; one of [Types]
	Subject         string          // required; the job, or [FirmJob] for the firm's own events
	Time            string          // required; RFC 3339: when it happened, in the sender's own offset
	DataContentType string          // empty or application/json
	DataSchema      string          // optional URI
	Data            json.RawMessage // the payload that Type asks for

	// Extensions keeps every other attribute as it was received: a string, a
	// bool or a whole number each. Nil where there are none.
	Extensions map[string]json.RawMessage
}

// SpecVersion is the version of CloudEvents that is read and written.
const SpecVersion = "1.0"

// Limits on the envelope. CloudEvents asks intermediaries to carry at least
// 64 KiB; a photo is sent by its digest, never inside an event.
const (
	EventBytesMax = 64 << 10
	BatchMax      = 500
	uriMax        = 200
	timeMax       = len("2026-03-04T16:20:00.123456789+01:00")
)

// OccurredAt returns when the event happened; the zero time if Time cannot be read.
func (e *Event) OccurredAt() time.Time {
	t, _ := time.Parse(time.RFC3339, e.Time)
	return t
}

// Day returns the calendar day written in Time, in the sender's own offset. It
// is the day of the work unless the payload names another.
func (e *Event) Day() Day {
	if len(e.Time) < len(dayLayout) {
		return ""
	}
	return Day(e.Time[:len(dayLayout)])
}

// Validate checks the envelope and the payload. A nil result means that the
// event can be true on its own; whether it can be true on its job is decided by
// [Job.Plan]. Every refusal is an [*Error] that names the event.
func (e *Event) Validate() error {
	err := e.validate()
	if refusal, ok := err.(*Error); ok && refusal.EventID == "" {
		refusal.EventID = e.ID
	}
	return err
}

func (e *Event) validate() error {
	switch {
	case !validID(e.ID):
		return Refuse("id", e.ID, "use 8 to 64 of A-Z, a-z, 0-9, dot, underscore and -, the same on every try")
	case e.Source == "" || len(e.Source) > uriMax || !validReference(e.Source):
		return Refuse("source", e.Source,
			"say who recorded it, as a URI reference of 1 to %d bytes, for example /phones/van-2", uriMax)
	case !e.Type.Known():
		return Refuse("type", string(e.Type),
			"not an event type of this ledger; /openapi.json lists them in the schema Event")
	case !ValidToken(e.Subject):
		return Refuse("subject", e.Subject, "the subject is the job: "+TokenRule)
	case e.Type != EventVoided && e.Type.OfFirm() != (e.Subject == FirmJob):
		if e.Type.OfFirm() {
			return Refuse("subject", e.Subject, "%s belongs to the firm: the subject is %q", e.Type, FirmJob)
		}
		return Refuse("subject", e.Subject, "%s belongs to a job, and %q is not one", e.Type, FirmJob)
	case !validTime(e.Time):
		return Refuse("time", e.Time, "when it happened, as RFC 3339 with an offset, for example 2026-03-04T16:20:00+01:00")
	case e.DataContentType != "" && e.DataContentType != "application/json":
		return Refuse("datacontenttype", e.DataContentType, "the payload is application/json")
	case e.DataSchema != "" && (len(e.DataSchema) > uriMax || !validURI(e.DataSchema)):
		return Refuse("dataschema", e.DataSchema, "a URI of at most %d bytes", uriMax)
	}
	for _, name := range slices.Sorted(maps.Keys(e.Extensions)) {
		if err := validExtension(name, e.Extensions[name]); err != nil {
			return err
		}
	}
	payload, err := e.payload(true)
	if err != nil {
		return err
	}
	var c checker
	payload.check(&c)
	return c.err()
}

// Payload decodes Data into the struct of the event's type. A member that is
// unknown, stands twice or has the wrong JSON type is refused: a misspelt amount
// must not be dropped. It does not ask whether the content can be true.
func (e *Event) Payload() (Payload, error) { return e.payload(false) }

// payload is [Event.Payload]; at the gate it also asks for every member that
// must be given.
func (e *Event) payload(gate bool) (Payload, error) {
	k, ok := kinds[e.Type]
	if !ok {
		return nil, Refuse("type", string(e.Type), "not an event type of this ledger")
	}
	payload := k.make()
	if err := readPayload(e.Data, &k.shape, payload, gate); err != nil {
		return nil, placed("data", err)
	}
	return payload, nil
}

func validID(s string) bool {
	if len(s) < 8 || len(s) > 64 {
		return false
	}
	for i := range len(s) {
		c := s[i]
		switch {
		case c >= 'a' && c <= 'z', c >= 'A' && c <= 'Z', c >= '0' && c <= '9', c == '.', c == '_', c == '-':
		default:
			return false
		}
	}
	return true
}

// validTime requires RFC 3339 to the letter and a day that every store can hold.
func validTime(s string) bool {
	t, err := time.Parse(time.RFC3339, s)
	if err != nil || len(s) > timeMax || !DayOf(t).Valid() {
		return false
	}
	// What time.Parse lets through: one digit for the hour, a comma before the
	// fraction, and an offset of a whole day.
	_, offset := t.Zone()
	const day = 24 * 60 * 60
	return s[len("2026-03-04T16")] == ':' && !strings.Contains(s, ",") && offset > -day && offset < day
}

// validReference reports whether s is a URI reference (RFC 3986 section 4.1).
func validReference(s string) bool {
	for i := range len(s) {
		if s[i] <= ' ' || s[i] >= 0x7f || strings.IndexByte("\"<>\\^`{|}", s[i]) >= 0 {
			return false
		}
	}
	_, err := url.Parse(s)
	return err == nil
}

// validURI reports whether s is a URI: a reference with a scheme.
func validURI(s string) bool {
	u, err := url.Parse(s)
	return err == nil && u.IsAbs() && validReference(s)
}

// validExtension applies CloudEvents 1.0.2 to an extension: section "Naming
// Conventions" to its name, section "Type System" to its value.
func validExtension(name string, value json.RawMessage) error {
	if name == "" || len(name) > 20 {
		return Refuse(fieldName(name), nil, "an attribute name has 1 to 20 characters")
	}
	for i := range len(name) {
		if c := name[i]; (c < 'a' || c > 'z') && (c < '0' || c > '9') {
			return Refuse(fieldName(name), nil, "an attribute name is made of a-z and 0-9")
		}
	}
	if slices.Contains(memberNames[:], name) {
		return Refuse(fieldName(name), nil, "the attribute cannot be an extension")
	}
	r, err := newReader(value)
	if err != nil {
		return placed(name, err)
	}
	if err := r.extension(); err != nil {
		return placed(name, err)
	}
	return placed(name, r.end())
}

// extension reads a value that an extension can have.
func (r *reader) extension() error {
	switch first := r.next(); {
	case first == '"':
		s, err := r.text()
		if err == nil && (len(s) > textMax || !printable(string(s), "")) {
			return Refuse("", string(s), "at most %d bytes without control characters", textMax)
		}
		return err
	case first == 't' || first == 'f':
		return r.skip()
	case first == '-' || first >= '0' && first <= '9':
		digits, err := r.number()
		if err != nil {
			return err
		}
		if _, err := strconv.ParseInt(string(digits), 10, 32); err == nil {
			return nil
		}
		return Refuse("", json.RawMessage(digits), extensionRule)
	}
	value, err := r.raw()
	if err != nil {
		return err
	}
	return Refuse("", value, extensionRule)
}

const extensionRule = "an attribute is a string, a bool or a whole number of 32 bits"
