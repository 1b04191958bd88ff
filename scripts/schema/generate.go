package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"reflect"

	"github.com/danielgtaylor/huma/v2"

	"daysheet/events"
)

const (
	dialect = "https://json-schema.org/draft/2020-12/schema"
	defs    = "#/$defs/"

	// tokenPattern, idPattern and dayPattern say what events.ValidToken, the id
	// of an event and events.Day accept, as far as a pattern can.
	tokenPattern = "^[a-z0-9]([a-z0-9-]{0,62}[a-z0-9])?$"
	idPattern    = "^[A-Za-z0-9._-]{8,64}$"
	dayPattern   = "^[0-9]{4}-[0-9]{2}-[0-9]{2}$"

	// A URI holds no space and nothing beyond ASCII, which format leaves to the reader.
	referencePattern = "^[!-~]+$"
	uriPattern       = "^[A-Za-z][A-Za-z0-9+.-]*:[!-~]+$"
)

// object is a JSON object. encoding/json writes its members in alphabetical
// order, which keeps the files stable.
type object = map[string]any

// generate returns the content of each schema file by its name. dir is the
// folder of the events package, from which the descriptions are read.
func generate(dir string) (map[string][]byte, error) {
	comments, err := structComments(dir)
	if err != nil {
		return nil, err
	}
	files := map[string][]byte{}
	for _, t := range events.Types() {
		var out bytes.Buffer
		e := json.NewEncoder(&out)
		e.SetIndent("", "  ")
		e.SetEscapeHTML(false)
		if err := e.Encode(schemaOf(t, comments)); err != nil {
			return nil, fmt.Errorf("write schema of %s: %w", t, err)
		}
		files[string(t)+".json"] = out.Bytes()
	}
	return files, nil
}

// schemaOf returns the schema of a whole event of type t: the CloudEvents
// envelope around its payload. It says what to send. What can be told only by
// looking at several members together, the ledger says when the event comes in;
// and an optional member that has no value is to be left out.
func schemaOf(t events.Type, comments map[string]string) object {
	payload := reflect.TypeOf(events.NewPayload(t)).Elem()
	registry := huma.NewMapRegistry(defs, huma.DefaultSchemaNamer)
	registry.RegisterTypeAlias(reflect.TypeFor[events.Unit](), reflect.TypeFor[unit]())
	registry.RegisterTypeAlias(reflect.TypeFor[events.Family](), reflect.TypeFor[family]())
	registry.RegisterTypeAlias(reflect.TypeFor[events.Day](), reflect.TypeFor[day]())
	data := registry.Schema(payload, false, "")

	parts := object{}
	for name, s := range registry.Map() {
		refine(s, name == "FirmTask")
		s.Description = comments[name]
		if name != payload.Name() {
			parts[name] = s
		}
	}
	schema := object{
		"$schema": dialect, "$id": schemaID(t), "title": string(t), "description": data.Description,
		"type":       "object",
		"properties": envelope(t, data),
		"required":   []string{"data", "id", "source", "specversion", "subject", "time", "type"},
		// Extensions of CloudEvents 1.0.2 are kept; data_base64 has no such name.
		"propertyNames": object{"pattern": "^[a-z0-9]{1,20}$"},
		"additionalProperties": object{"type": []string{"string", "boolean", "integer", "null"},
			"maxLength": 2000, "minimum": math.MinInt32, "maximum": math.MaxInt32},
	}
	if len(parts) > 0 {
		schema["$defs"] = parts
	}
	return schema
}

func schemaID(t events.Type) string { return "urn:daysheet:schema:" + string(t) }

// envelope returns the members that every event of type t has.
func envelope(t events.Type, data *huma.Schema) object {
	text := func(description string, more object) object {
		member := object{"type": "string", "description": description}
		for k, v := range more {
			member[k] = v
		}
		return member
	}
	subject := text("Key of the job", object{"pattern": tokenPattern, "not": object{"const": events.FirmJob}})
	switch {
	case t.OfFirm():
		subject = text("The firm's own events have this subject", object{"const": events.FirmJob})
	case t == events.EventVoided:
		subject = text("Key of the job, or "+events.FirmJob, object{"pattern": tokenPattern})
	}
	return object{
		"specversion": text("Version of CloudEvents", object{"const": events.SpecVersion}),
		"id":          text("Made once by the sender, at the tap, and the same on every try", object{"pattern": idPattern}),
		"source": text("Who recorded it, as a URI reference",
			object{"pattern": referencePattern, "maxLength": 200, "format": "uri-reference"}),
		"type":            text("Type of the event", object{"const": string(t)}),
		"subject":         subject,
		"time":            text("When it happened, in the sender's own offset", object{"format": "date-time"}),
		"datacontenttype": text("May be left out", object{"const": "application/json"}),
		"dataschema":      text("May be left out", object{"pattern": uriPattern, "maxLength": 200, "format": "uri"}),
		"data":            data,
	}
}

// refine adds to a generated object what Go's types and tags do not say. A text
// without a rule of its own in its tag is a key; a key of a task is better one
// of the standard list, and a firm's own task must be another.
func refine(s *huma.Schema, ownTask bool) {
	for name, p := range s.Properties {
		p.Nullable = false
		key := p.Type == huma.TypeString && p.Format == "" && p.Pattern == "" && len(p.Enum) == 0 &&
			p.MinLength == nil && p.MaxLength == nil
		if !key {
			continue
		}
		p.Pattern = tokenPattern
		switch {
		case name == "task" && ownTask:
			p.Not = &huma.Schema{Enum: standardTasks()}
		case name == "task":
			p.Pattern = ""
			p.AnyOf = []*huma.Schema{{Enum: standardTasks()}, {Pattern: tokenPattern}}
		}
	}
}

func standardTasks() []any {
	var keys []any
	for _, t := range events.StandardTasks() {
		keys = append(keys, t.Task)
	}
	return keys
}

// unit, family and day stand for the types of the events package, which knows
// nothing of schemas.
type (
	unit   string
	family string
	day    string
)

func (unit) Schema(huma.Registry) *huma.Schema {
	s := &huma.Schema{Type: huma.TypeString}
	for _, u := range events.Units() {
		s.Enum = append(s.Enum, string(u))
	}
	return s
}

func (family) Schema(huma.Registry) *huma.Schema {
	s := &huma.Schema{Type: huma.TypeString}
	for _, f := range events.Families() {
		s.Enum = append(s.Enum, string(f))
	}
	return s
}

func (day) Schema(huma.Registry) *huma.Schema {
	return &huma.Schema{Type: huma.TypeString, Format: "date", Pattern: dayPattern}
}
