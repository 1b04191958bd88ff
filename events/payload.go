package events

import (
	"encoding/json"
	"math/bits"
	"reflect"
	"strconv"
	"strings"
)

// shape is what a payload struct looks like in JSON, by its json tags: the
// names of its members, and which of them must be given.
type shape struct {
	fields   []field
	index    map[string]int // name -> place in fields
	required uint64         // bit i is set where fields[i] must be given
}

// field is one member of a payload, or the items of a list (without a name).
type field struct {
	name  string
	kind  reflect.Kind
	items *field // of a list
	shape *shape // of an object
}

// shapeOf reads the shape of a payload struct. It panics on a struct that could
// never be a payload, which shows as soon as the program starts.
func shapeOf(t reflect.Type) *shape {
	s := &shape{index: map[string]int{}}
	for i := range t.NumField() {
		name, options, _ := strings.Cut(t.Field(i).Tag.Get("json"), ",")
		f := fieldOf(t.Field(i).Type)
		f.name = name
		s.fields = append(s.fields, f)
		s.index[name] = i
		if options != "omitempty" {
			s.required |= 1 << i
		}
	}
	if len(s.fields) > 64 {
		panic("events: too many members in " + t.Name())
	}
	return s
}

func fieldOf(t reflect.Type) field {
	f := field{kind: t.Kind()}
	switch f.kind {
	case reflect.String, reflect.Bool, reflect.Int64:
	case reflect.Slice:
		items := fieldOf(t.Elem())
		f.items = &items
	case reflect.Struct:
		f.shape = shapeOf(t)
	case reflect.Pointer: // something that can be left out: a whole number that can be 0, or an object
		switch t.Elem().Kind() {
		case reflect.Int64:
		case reflect.Struct:
			f.shape = shapeOf(t.Elem())
		default:
			panic("events: no member can be a " + t.String())
		}
	default:
		panic("events: no member can be a " + t.String())
	}
	return f
}

// whole reports whether f is a whole number, or one that can be left out.
func (f *field) whole() bool {
	return f.kind == reflect.Int64 || f.kind == reflect.Pointer && f.shape == nil
}

// plain says what f is in words of JSON.
func (f *field) plain() string {
	if f.shape != nil {
		return "an object"
	}
	switch f.kind {
	case reflect.String:
		return "text in quotes"
	case reflect.Bool:
		return "true or false"
	case reflect.Slice:
		return "a list"
	}
	return "a whole number"
}

// payloadReader reads the data of an event into the struct of its type. Names
// are taken exactly as written, and a member that is not known or stands twice
// is refused, at any depth: a misspelt amount must not be dropped.
type payloadReader struct {
	reader
	// gate is true where an event comes in: every member without omitempty must
	// be given, and null is no value. What is in the log passed the gate of its
	// day, so that it is read even if the gate is narrower now.
	gate bool
}

func readPayload(data []byte, f *field, into Payload, gate bool) error {
	if len(data) == 0 {
		if gate {
			return Refuse("", nil, "it must be given")
		}
		return nil
	}
	r, err := newReader(data)
	if err != nil {
		return err
	}
	p := payloadReader{reader: r, gate: gate}
	if err := p.value(f, reflect.ValueOf(into).Elem()); err != nil {
		return err
	}
	return p.end()
}

func (p *payloadReader) object(s *shape, into reflect.Value) error {
	var seen uint64
	err := p.reader.object(func(name []byte) error {
		i, ok := s.index[string(name)]
		if !ok {
			return Refuse(fieldName(name), nil, "this type of event has no such member")
		}
		if seen&(1<<i) != 0 {
			return twice(s.fields[i].name)
		}
		seen |= 1 << i
		if err := p.value(&s.fields[i], into.Field(i)); err != nil {
			return placed(s.fields[i].name, err)
		}
		return nil
	})
	if missing := s.required &^ seen; err == nil && p.gate && missing != 0 {
		return Refuse(s.fields[bits.TrailingZeros64(missing)].name, nil, "it must be given")
	}
	return err
}

func (p *payloadReader) value(f *field, into reflect.Value) error {
	first := p.next()
	if first == 'n' && !p.gate {
		return p.skip()
	}
	switch {
	case f.kind == reflect.String && first == '"':
		s, err := p.text()
		into.SetString(string(s))
		return err
	case f.kind == reflect.Bool && (first == 't' || first == 'f'):
		w, err := p.word()
		into.SetBool(w == "true")
		return err
	case f.kind == reflect.Slice && first == '[':
		return p.array(func(i int) error {
			into.Grow(1)
			into.SetLen(i + 1)
			if err := p.value(f.items, into.Index(i)); err != nil {
				return placed(index(i), err)
			}
			return nil
		})
	case f.kind == reflect.Struct && first == '{':
		return p.object(f.shape, into)
	case f.shape != nil && first == '{': // a pointer to an object
		into.Set(reflect.New(into.Type().Elem()))
		return p.object(f.shape, into.Elem())
	case f.whole() && (first == '-' || first >= '0' && first <= '9'):
		return p.whole(into)
	}
	value, err := p.raw()
	if err != nil {
		return err
	}
	return Refuse("", value, "%s is needed here", f.plain())
}

// whole reads a whole number into an int64, or into a pointer to one.
func (p *payloadReader) whole(into reflect.Value) error {
	raw, err := p.number()
	if err != nil {
		return err
	}
	n, err := strconv.ParseInt(string(raw), 10, 64)
	if err != nil || n > wholeMax || n < -wholeMax {
		return Refuse("", json.RawMessage(raw), "a whole number is needed here, written with digits only, up to 2^53-1")
	}
	if into.Kind() == reflect.Pointer {
		into.Set(reflect.ValueOf(&n))
	} else {
		into.SetInt(n)
	}
	return nil
}
