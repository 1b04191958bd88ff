package events

import (
	"bytes"
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"unicode/utf8"
)

// memberNames are the members of an event that have a meaning of their own, in
// canonical order. Every other member is an extension.
var memberNames = [...]string{
	"data", "data_base64", "datacontenttype", "dataschema", "id", "source", "specversion", "subject", "time", "type",
}

// attribute returns where the attribute of this name is kept; nil for data, for
// the version, and for extensions.
func (e *Event) attribute(name string) *string {
	switch name {
	case "datacontenttype":
		return &e.DataContentType
	case "dataschema":
		return &e.DataSchema
	case "id":
		return &e.ID
	case "source":
		return &e.Source
	case "subject":
		return &e.Subject
	case "time":
		return &e.Time
	case "type":
		return (*string)(&e.Type)
	}
	return nil
}

// UnmarshalJSON reads the JSON event format. It keeps attributes it does not
// know, and does not judge: see [Event.Validate]. It refuses what is no event
// of CloudEvents 1.0, and a member that stands twice.
func (e *Event) UnmarshalJSON(raw []byte) error {
	r, err := newReader(raw)
	if err != nil {
		return err
	}
	if err := e.read(&r); err != nil {
		return err
	}
	return r.end()
}

// read reads the event at the cursor. It keeps no part of the input.
func (e *Event) read(r *reader) error {
	*e = Event{}
	if r.next() != '{' {
		return &Error{Code: Invalid, Rule: "an event is a JSON object"}
	}
	var version string
	var seen [len(memberNames)]bool
	err := r.object(func(name []byte) error {
		i := slices.Index(memberNames[:], string(name))
		if i < 0 {
			return e.readExtension(r, string(name))
		}
		if seen[i] {
			return twice(memberNames[i])
		}
		seen[i] = true
		switch memberNames[i] {
		case "data":
			data, err := r.raw()
			e.Data = bytes.Clone(data)
			return err
		case "data_base64":
			return Refuse("data_base64", nil, "send the payload as JSON in data")
		case "specversion":
			return readAttribute(r, "specversion", &version)
		}
		return readAttribute(r, memberNames[i], e.attribute(memberNames[i]))
	})
	if err == nil && version != SpecVersion {
		err = Refuse("specversion", version, "the only version is %q", SpecVersion)
	}
	if refusal, ok := err.(*Error); ok {
		refusal.EventID = e.ID
	}
	return err
}

// readAttribute reads a string. null is the same as an attribute that is not
// there (JSON event format 1.0.2 section 2.2).
func readAttribute(r *reader, name string, into *string) error {
	switch r.next() {
	case '"':
		s, err := r.text()
		*into = string(s)
		return err
	case 'n':
		return r.skip()
	}
	value, err := r.raw()
	if err != nil {
		return err
	}
	return Refuse(name, value, "the attribute is a string")
}

func (e *Event) readExtension(r *reader, name string) error {
	value, err := r.raw()
	if err != nil {
		return err
	}
	if _, known := e.Extensions[name]; known {
		return twice(name)
	}
	if string(value) == "null" {
		return nil
	}
	if e.Extensions == nil {
		e.Extensions = map[string]json.RawMessage{}
	}
	e.Extensions[name] = bytes.Clone(value)
	return nil
}

// MarshalJSON writes the event in its canonical form (see [Canonical]).
func (e Event) MarshalJSON() ([]byte, error) {
	return e.appendTo(make([]byte, 0, 256+len(e.Data)))
}

// appendTo appends the event in its canonical form to out.
func (e *Event) appendTo(out []byte) ([]byte, error) {
	names := memberNames[:]
	if len(e.Extensions) > 0 {
		for name := range e.Extensions {
			if slices.Contains(memberNames[:], name) {
				return nil, fmt.Errorf("write event %s: %s is no extension", e.ID, name)
			}
		}
		names = slices.AppendSeq(slices.Clone(names), maps.Keys(e.Extensions))
		slices.SortFunc(names, compareUTF16)
	}
	start := len(out)
	out = append(out, '{')
	for _, name := range names {
		var err error
		if out, err = e.appendMember(out, name); err != nil {
			return nil, fmt.Errorf("write event %s: %w", e.ID, placed(name, err))
		}
	}
	if !utf8.Valid(out[start:]) {
		return nil, fmt.Errorf("write event %s: an attribute is not UTF-8", e.ID)
	}
	out[len(out)-1] = '}' // in place of the last comma: specversion is always there
	return out, nil
}

// appendMember appends a member and a comma; nothing where the member is not set.
func (e *Event) appendMember(out []byte, name string) ([]byte, error) {
	var text string
	var value json.RawMessage
	switch into := e.attribute(name); {
	case into != nil:
		text = *into
	case name == "specversion":
		text = SpecVersion
	case name == "data":
		value = e.Data
	default:
		value = e.Extensions[name]
	}
	if text == "" && len(value) == 0 {
		return out, nil
	}
	out = append(appendText(out, name), ':')
	if text != "" {
		return append(appendText(out, text), ','), nil
	}
	out, err := appendCanonical(out, value)
	return append(out, ','), err
}
