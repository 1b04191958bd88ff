package intake

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"mime"
	"net/http"
	"strings"
	"unicode/utf8"

	"daysheet/events"
	"daysheet/services/httpd"
)

// The content types that a request can have.
const (
	typeEvent = "application/cloudevents+json"
	typeBatch = "application/cloudevents-batch+json"
	typeJSON  = "application/json" // either of them
)

// decode reads the events of a request and checks each on its own. The error is
// a problem that says everything that is wrong.
func decode(contentType string, body []byte) ([]events.Event, error) {
	raws, err := split(contentType, body)
	if err != nil {
		return nil, err
	}
	list := make([]events.Event, len(raws))
	var refused []*events.Error
	for i, raw := range raws {
		if refusal := read(&list[i], raw); refusal != nil {
			if refusal.EventID == "" && len(raws) > 1 {
				refusal.Rule += fmt.Sprintf(" (event %d of %d)", i+1, len(raws))
			}
			refused = append(refused, refusal)
		}
	}
	if len(refused) > 0 {
		return nil, httpd.Refusals(refused)
	}
	return list, nil
}

// split takes a request apart into its events, still as they were received.
func split(contentType string, body []byte) ([]json.RawMessage, error) {
	media, _, err := mime.ParseMediaType(contentType)
	if err != nil || media != typeEvent && media != typeBatch && media != typeJSON {
		rule := fmt.Sprintf("send %s, %s or %s", typeEvent, typeBatch, typeJSON)
		return nil, httpd.NewProblem(http.StatusUnsupportedMediaType, rule).About("Content-Type", media, rule)
	}
	if !utf8.Valid(body) {
		return nil, httpd.NewProblem(http.StatusBadRequest, "the body is not UTF-8").About("body", "", "JSON in UTF-8")
	}
	body = bytes.TrimLeft(body, " \t\r\n")
	batch := len(body) > 0 && body[0] == '['
	if media == typeBatch && !batch {
		return nil, httpd.NewProblem(http.StatusBadRequest, "a batch is a JSON array of events")
	}
	if media == typeEvent && batch {
		return nil, httpd.NewProblem(http.StatusBadRequest, "an array of events has the content type "+typeBatch)
	}
	var one json.RawMessage
	var raws []json.RawMessage
	if batch {
		err = json.Unmarshal(body, &raws)
	} else {
		err = json.Unmarshal(body, &one)
	}
	if err != nil {
		return nil, httpd.NewProblem(http.StatusBadRequest, notJSON(err)).About("body", brokenAt(body, err), "one JSON value")
	}
	if !batch {
		return []json.RawMessage{one}, nil
	}
	if len(raws) == 0 || len(raws) > events.BatchMax {
		return nil, events.Refuse("batch", len(raws), "a batch holds 1 to %d events", events.BatchMax)
	}
	return raws, nil
}

// brokenAt shows what stands where JSON breaks off; empty where it ends too early.
func brokenAt(body []byte, err error) string {
	const shown = 20
	var syntax *json.SyntaxError
	if !errors.As(err, &syntax) || syntax.Offset < 1 || syntax.Offset > int64(len(body)) {
		return ""
	}
	rest := body[syntax.Offset-1:]
	return strings.ToValidUTF8(string(rest[:min(shown, len(rest))]), "")
}

// notJSON says where JSON breaks off.
func notJSON(err error) string {
	var syntax *json.SyntaxError
	if errors.As(err, &syntax) {
		return fmt.Sprintf("the body is not JSON: %v, at byte %d", syntax, syntax.Offset)
	}
	return "the body is not JSON: " + err.Error()
}

// read decodes one event and checks it. The event is read from its canonical
// form, so that what has none, such as a member that stands twice, is refused
// here and not when half of a batch is on disk.
func read(e *events.Event, raw json.RawMessage) *events.Error {
	if len(raw) > events.EventBytesMax {
		return named(events.Refuse("", nil, "an event has at most %d bytes, this one has %d",
			events.EventBytesMax, len(raw)), raw)
	}
	canonical, err := events.Canonical(raw)
	if err == nil {
		err = e.UnmarshalJSON(canonical)
	}
	if err == nil {
		err = e.Validate()
	}
	if err == nil {
		return nil
	}
	var refusal *events.Error
	if !errors.As(err, &refusal) {
		refusal = events.Refuse("", nil, "%v", err)
	}
	return named(refusal, raw)
}

// named adds the event's id to a refusal, as far as it can be made out.
func named(refusal *events.Error, raw json.RawMessage) *events.Error {
	if refusal.EventID != "" {
		return refusal
	}
	var header struct {
		ID string `json:"id"`
	}
	if json.Unmarshal(raw, &header) == nil && len(header.ID) <= 64 {
		refusal.EventID = header.ID
	}
	return refusal
}
