package events

import (
	"bytes"
	"encoding/json"
	"fmt"
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

// UnmarshalJSON reads the JSON event format. It keeps attributes it does not
// know, and does not judge: see [Event.Validate].
func (e *Event) UnmarshalJSON(raw []byte) error {
	var members map[string]json.RawMessage
	if err := json.Unmarshal(raw, &members); err != nil || members == nil {
		return Refuse("", nil, "an event is a JSON object: %v", err)
	}
	*e = Event{}
	var version string
	for _, attribute := range []struct {
		name string
		into *string
	}{
		{"specversion", &version}, {"id", &e.ID}, {"source", &e.Source}, {"type", (*string)(&e.Type)},
		{"subject", &e.Subject}, {"time", &e.Time},
		{"datacontenttype", &e.DataContentType}, {"dataschema", &e.DataSchema},
	} {
		value, ok := members[attribute.name]
		if !ok {
			continue
		}
		delete(members, attribute.name)
		if err := json.Unmarshal(value, attribute.into); err != nil {
			return Refuse(attribute.name, string(value), "the attribute is a string")
		}
	}
	if version != SpecVersion {
		return &Error{Code: Invalid, EventID: e.ID, Field: "specversion", Value: show(version), Rule: `the only version is "1.0"`}
	}
	if data, ok := members["data"]; ok {
		e.Data = data
		delete(members, "data")
	}
	if _, ok := members["data_base64"]; ok {
		return &Error{Code: Invalid, EventID: e.ID, Field: "data_base64", Rule: "send the payload as JSON in data"}
	}
	if len(members) > 0 {
		e.Extensions = members
	}
	return nil
}

// MarshalJSON writes the event in its canonical form (see [Canonical]).
func (e Event) MarshalJSON() ([]byte, error) {
	members := make(map[string]json.RawMessage, 9+len(e.Extensions))
	for name, value := range e.Extensions {
		members[name] = value
	}
	for name, value := range map[string]string{
		"specversion": SpecVersion, "id": e.ID, "source": e.Source, "type": string(e.Type), "subject": e.Subject,
		"time": e.Time, "datacontenttype": e.DataContentType, "dataschema": e.DataSchema,
	} {
		if value != "" {
			members[name] = appendText(nil, value)
		}
	}
	if len(e.Data) > 0 {
		members["data"] = e.Data
	}
	raw, err := json.Marshal(members)
	if err != nil {
		return nil, fmt.Errorf("write event %s: %w", e.ID, err)
	}
	return Canonical(raw)
}

// Validate checks the envelope and the payload. A nil result means that the
// event can be true on its own; whether it can be true on its job is decided by
// [Job.Check]. Every refusal is an [*Error] that names the event.
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
	case e.Source == "" || len(e.Source) > 200:
		return Refuse("source", e.Source, "say who recorded it in 1 to 200 characters, for example /phones/van-2")
	case !e.Type.Known():
		return Refuse("type", string(e.Type), "not an event type of this ledger; see the list in the events schema")
	case !ValidToken(e.Subject):
		return Refuse("subject", e.Subject, "the subject is the job: "+TokenRule)
	case e.Type != EventVoided && e.Type.OfFirm() != (e.Subject == FirmJob):
		if e.Type.OfFirm() {
			return Refuse("subject", e.Subject, "%s belongs to the firm: the subject is %q", e.Type, FirmJob)
		}
		return Refuse("subject", e.Subject, "%s belongs to a job, and %q is not one", e.Type, FirmJob)
	case e.DataContentType != "" && e.DataContentType != "application/json":
		return Refuse("datacontenttype", e.DataContentType, "the payload is application/json")
	}
	if t, err := time.Parse(time.RFC3339, e.Time); err != nil || !DayOf(t).Valid() {
		return Refuse("time", e.Time, "when it happened, as RFC 3339 with an offset, for example 2026-03-04T16:20:00+01:00")
	}
	for name, value := range e.Extensions {
		if err := validExtension(name, value); err != nil {
			return err
		}
	}
	payload, err := e.Payload()
	if err != nil {
		return err
	}
	var c checker
	payload.check(&c)
	return c.err()
}

// Payload decodes Data into the struct of the event's type. An unknown member
// is refused: a misspelt amount must not be dropped.
func (e *Event) Payload() (Payload, error) {
	k, ok := kinds[e.Type]
	if !ok {
		return nil, Refuse("type", string(e.Type), "not an event type of this ledger")
	}
	payload := k.make()
	data := e.Data
	if len(data) == 0 {
		data = []byte("{}")
	}
	d := json.NewDecoder(bytes.NewReader(data))
	d.DisallowUnknownFields()
	if err := d.Decode(payload); err != nil {
		return nil, payloadRefusal(err)
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

// validExtension applies CloudEvents 1.0 sections 3.1 (names) and 3.1.1 (types).
func validExtension(name string, value json.RawMessage) error {
	if len(name) > 20 {
		return Refuse(name, nil, "an attribute name has at most 20 characters")
	}
	for i := range len(name) {
		if c := name[i]; (c < 'a' || c > 'z') && (c < '0' || c > '9') {
			return Refuse(name, nil, "an attribute name is made of a-z and 0-9")
		}
	}
	var v any
	if err := json.Unmarshal(value, &v); err != nil {
		return Refuse(name, string(value), "not valid JSON")
	}
	switch v := v.(type) {
	case bool:
		return nil
	case string:
		if len(v) > textMax {
			return Refuse(name, v, "at most %d characters", textMax)
		}
		return nil
	case float64:
		if v == float64(int32(v)) {
			return nil
		}
	}
	return Refuse(name, string(value), "an attribute is a string, a bool or a whole number of 32 bits")
}
