package intake

import (
	"fmt"
	"net/http"
	"reflect"

	"github.com/danielgtaylor/huma/v2"

	"daysheet/events"
	"daysheet/services/httpd"
)

const schemaPrefix = "#/components/schemas/"

const description = `Takes one event, or a batch of up to %d, in the JSON format of CloudEvents 1.0.
An event has at most %d bytes.

The firm is the token's. Attributes that CloudEvents does not define are kept as extensions.

Every event is checked before anything is recorded: if one cannot be true on its own, the whole request is refused
and errors lists each such event. Then events are recorded job by job, the firm's own first and then the jobs as
they first appear; each job is recorded whole or not at all. If a job is not taken, those before it stay recorded:
the problem gives their receipts in recorded, the ids of the others in not_recorded, and in unknown those of which
the log could not say. Sending the same request again is always safe: what was recorded before is answered as a
duplicate.

The answer is 201 where anything was recorded, and 200 where every event had been recorded before.`

// operation describes the intake, with the schema of every type of event.
func operation(schemas huma.Registry) huma.Operation {
	event := addEventSchemas(schemas)
	one, most := 1, events.BatchMax
	batch := &huma.Schema{Type: huma.TypeArray, Items: event, MinItems: &one, MaxItems: &most}
	return huma.Operation{
		OperationID: "record-events", Method: http.MethodPost, Path: path, DefaultStatus: http.StatusCreated,
		Summary: "Record events", Tags: []string{"events"},
		Description:      fmt.Sprintf(description, events.BatchMax, events.EventBytesMax),
		Metadata:         map[string]any{"scope": httpd.ScopeRecord},
		SkipValidateBody: true,
		RequestBody: &huma.RequestBody{Required: true, Content: map[string]*huma.MediaType{
			typeEvent: {Schema: event, Example: eventExample()},
			typeBatch: {Schema: batch, Example: []any{eventExample()}},
			typeJSON:  {Schema: &huma.Schema{OneOf: []*huma.Schema{event, batch}}, Example: eventExample()},
		}},
		Responses: map[string]*huma.Response{},
		Errors: []int{http.StatusBadRequest, http.StatusUnauthorized, http.StatusForbidden, http.StatusNotFound,
			http.StatusConflict, http.StatusRequestEntityTooLarge, http.StatusUnsupportedMediaType,
			http.StatusUnprocessableEntity, http.StatusTooManyRequests, http.StatusServiceUnavailable},
	}
}

// eventExample shows an event. All of it is invented.
func eventExample() any {
	return map[string]any{
		"specversion": events.SpecVersion, "id": "0192f0c1-5a3e-7b1c-9d55-3f1f0a7c1e01", "source": "/phones/van-2",
		"type": string(events.JobOpened), "subject": "stair-12", "time": "2026-03-02T07:30:00+01:00",
		"data": map[string]any{"job_type": "stairwell-and-joinery", "title": "Stairwell, three floors"},
	}
}

// receiptExample shows what the event of [eventExample] is answered with.
func receiptExample() receiptList {
	return receiptList{[]events.Receipt{
		{ID: "0192f0c1-5a3e-7b1c-9d55-3f1f0a7c1e01", Job: "stair-12", Sequence: 4711},
	}}
}

// addEventSchemas adds the schema of an event and of each type's payload, and
// returns a reference to the event. The payloads get names of their own, so that
// a report called Product does not meet the product of an event.
func addEventSchemas(schemas huma.Registry) *huma.Schema {
	payloads := huma.NewMapRegistry(schemaPrefix, func(t reflect.Type, hint string) string {
		return huma.DefaultSchemaNamer(t, hint) + "Payload"
	})
	event := envelope()
	for _, t := range events.Types() {
		payload := payloads.Schema(reflect.TypeOf(events.NewPayload(t)), true, "")
		event.OneOf = append(event.OneOf, &huma.Schema{
			Title: string(t),
			Properties: map[string]*huma.Schema{
				"type": {Type: huma.TypeString, Enum: []any{string(t)}},
				"data": payload,
			},
		})
	}
	for name, schema := range payloads.Map() {
		schemas.Map()[name] = schema
	}
	schemas.Map()["Event"] = event
	return &huma.Schema{Ref: schemaPrefix + "Event"}
}

// envelope is what all events share.
func envelope() *huma.Schema {
	text := func(description string) *huma.Schema {
		return &huma.Schema{Type: huma.TypeString, Description: description}
	}
	id := text("Made once, at the action, and the same on every try")
	id.Pattern = `^[A-Za-z0-9._-]{8,64}$`
	subject := text("The job, or firm for the firm's own events: " + events.TokenRule)
	subject.Pattern = `^[a-z0-9]([a-z0-9-]{0,62}[a-z0-9])?$`
	occurred := text("When it happened, with the sender's own offset")
	occurred.Format = "date-time"
	version, media := text("Version of CloudEvents"), text("What data is")
	version.Enum, media.Enum = []any{events.SpecVersion}, []any{"application/json"}
	source := text("URI reference of who recorded it, for example /phones/van-2")
	source.Format = "uri-reference"
	schema := text("URI of the schema of data")
	schema.Format = "uri"
	return &huma.Schema{
		Type:        huma.TypeObject,
		Description: "A site or office action, as a CloudEvent. Further attributes are kept as they are.",
		Properties: map[string]*huma.Schema{
			"specversion": version, "id": id, "source": source, "type": text("What happened"), "subject": subject,
			"time": occurred, "datacontenttype": media, "dataschema": schema,
		},
		Required: []string{"specversion", "id", "source", "type", "subject", "time"},
		// An extension is named by a-z and 0-9; its value is a string, a bool or a whole number.
		AdditionalProperties: true,
	}
}
