package events

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"
)

// golden reads the golden event of type t. Its content is invented. A golden
// file is only ever added: what it holds must be read for ever.
func golden(tb testing.TB, t Type) Event {
	tb.Helper()
	raw, err := os.ReadFile(filepath.Join("testdata", "v1", string(t)+".json"))
	if err != nil {
		tb.Fatal(err)
	}
	var e Event
	if err := json.Unmarshal(raw, &e); err != nil {
		tb.Fatalf("%s: %v", t, err)
	}
	if e.Type != t {
		tb.Fatalf("%s: the golden event has the type %s", t, e.Type)
	}
	return e
}

func TestEveryTypeHasOneGoldenEventAndOneSchema(t *testing.T) {
	var want []string
	for _, kind := range Types() {
		want = append(want, string(kind)+".json")
	}
	slices.Sort(want)
	for _, dir := range []string{filepath.Join("testdata", "v1"), "schema"} {
		files, err := os.ReadDir(dir)
		if err != nil {
			t.Fatal(err)
		}
		var names []string
		for _, f := range files {
			names = append(names, f.Name())
		}
		if !slices.Equal(names, want) {
			t.Errorf("%s holds\n%v\nwant\n%v", dir, names, want)
		}
	}
}

func TestGoldenEventsRoundTrip(t *testing.T) {
	for _, kind := range Types() {
		t.Run(string(kind), func(t *testing.T) {
			e := golden(t, kind)
			if err := e.Validate(); err != nil {
				t.Fatal(err)
			}
			file, err := os.ReadFile(filepath.Join("testdata", "v1", string(kind)+".json"))
			if err != nil {
				t.Fatal(err)
			}
			canonical, err := Canonical(file)
			if err != nil {
				t.Fatal(err)
			}
			written, err := json.Marshal(e)
			if err != nil {
				t.Fatal(err)
			}
			if !bytes.Equal(written, canonical) {
				t.Errorf("written as\n%s\nwant the file in canonical form\n%s", written, canonical)
			}
			sameAgain(t, written)
		})
	}
}

// sameAgain requires that an event in canonical form is read and written as it is.
func sameAgain(t *testing.T, canonical []byte) {
	t.Helper()
	var first, second Event
	if err := first.UnmarshalJSON(canonical); err != nil {
		t.Fatal(err)
	}
	again, err := first.MarshalJSON()
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(again, canonical) {
		t.Fatalf("read and written again as\n%s\nwant\n%s", again, canonical)
	}
	if err := second.UnmarshalJSON(again); err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(first, second) {
		t.Fatalf("read again as %+v, want %+v", second, first)
	}
}

// TestGoldenEventsUseEveryMember keeps the golden files whole: a new optional
// member must be added to its golden event.
func TestGoldenEventsUseEveryMember(t *testing.T) {
	for _, kind := range Types() {
		var data any
		if err := json.Unmarshal(golden(t, kind).Data, &data); err != nil {
			t.Fatal(err)
		}
		s := kinds[kind].shape
		for _, path := range leaves(&s, "") {
			if _, ok := lookUp(data, path); !ok {
				t.Errorf("%s: the golden event does not use %s", kind, path)
			}
		}
	}
}

// TestPayloadsAreReadAsEncodingJSONReadsThem checks the payload reader against
// the standard library on every golden event and its minimal form.
func TestPayloadsAreReadAsEncodingJSONReadsThem(t *testing.T) {
	for _, kind := range Types() {
		full := golden(t, kind)
		for name, e := range map[string]Event{"full": full, "minimal": minimal(t, full)} {
			if err := e.Validate(); err != nil {
				t.Errorf("%s event: %v", name, err)
				continue
			}
			got, err := e.Payload()
			if err != nil {
				t.Fatal(err)
			}
			want := NewPayload(kind)
			if err := json.Unmarshal(e.Data, want); err != nil {
				t.Fatal(err)
			}
			if !reflect.DeepEqual(got, want) {
				t.Errorf("%s %s: read %+v, want %+v", name, kind, got, want)
			}
		}
	}
}

// minimal returns e with the members that must be given and no others.
func minimal(t *testing.T, e Event) Event {
	t.Helper()
	var data any
	if err := json.Unmarshal(e.Data, &data); err != nil {
		t.Fatal(err)
	}
	s := kinds[e.Type].shape
	e.Data = marshal(t, onlyRequired(&s, data))
	e.Extensions, e.DataContentType, e.DataSchema = nil, "", ""
	return e
}

func onlyRequired(f *field, value any) any {
	switch v := value.(type) {
	case []any:
		return []any{onlyRequired(f.items, v[0])}
	case map[string]any:
		kept := map[string]any{}
		for i, m := range f.shape.fields {
			if f.shape.required&(1<<i) != 0 {
				kept[m.name] = onlyRequired(&m, v[m.name])
			}
		}
		return kept
	}
	return value
}

func marshal(t *testing.T, value any) json.RawMessage {
	t.Helper()
	raw, err := json.Marshal(value)
	if err != nil {
		t.Fatal(err)
	}
	return raw
}

// leaves returns the path of every member of f that holds no other member, with
// the first item standing for the items of a list.
func leaves(f *field, at string) []string {
	switch f.kind {
	case reflect.Slice:
		return leaves(f.items, at+"[0]")
	case reflect.Struct, reflect.Pointer:
		if f.shape == nil {
			return []string{at}
		}
		var paths []string
		for i := range f.shape.fields {
			m := &f.shape.fields[i]
			paths = append(paths, leaves(m, strings.TrimPrefix(at+"."+m.name, "."))...)
		}
		return paths
	}
	return []string{at}
}

// steps splits a path such as lines[0].minutes into lines, 0 and minutes.
func steps(path string) []string {
	return strings.FieldsFunc(path, func(r rune) bool { return r == '.' || r == '[' || r == ']' })
}

// lookUp returns the value at the path in decoded JSON.
func lookUp(value any, path string) (any, bool) {
	for _, step := range steps(path) {
		switch v := value.(type) {
		case []any:
			if len(v) == 0 {
				return nil, false
			}
			value = v[0]
		case map[string]any:
			inner, ok := v[step]
			if !ok {
				return nil, false
			}
			value = inner
		default:
			return nil, false
		}
	}
	return value, true
}
