package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"

	"daysheet/events"
)

const eventsDir = "../../events"

func TestCommittedSchemasAreWhatTheStructsSay(t *testing.T) {
	if err := run(eventsDir, true); err != nil {
		t.Errorf("%v\nwrite them with: go run ./scripts/schema", err)
	}
}

func TestDifferencesAreNamed(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "schema")
	files := map[string][]byte{"a.json": []byte("a"), "b.json": []byte("b"), "c.json": []byte("c")}
	want := func(text string) {
		t.Helper()
		err := differences(dir, files)
		if got := strings.ReplaceAll(fmt.Sprint(err), "\n", ", "); got != text {
			t.Errorf("got %q, want %q", got, text)
		}
	}
	want("a.json is missing, b.json is missing, c.json is missing")
	if err := os.Mkdir(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	for name, content := range map[string]string{"a.json": "a", "b.json": "old", "d.json": "d"} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(content), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want("b.json differs from the Go structs, c.json is missing, d.json belongs to no event type")
}

func TestGeneratedFiles(t *testing.T) {
	files, err := generate(eventsDir)
	if err != nil {
		t.Fatal(err)
	}
	again, err := generate(eventsDir)
	if err != nil {
		t.Fatal(err)
	}
	for _, kind := range events.Types() {
		content := files[string(kind)+".json"]
		if !bytes.Equal(content, again[string(kind)+".json"]) {
			t.Errorf("%s: generated twice, the files differ", kind)
		}
		if !bytes.HasSuffix(content, []byte("}\n")) {
			t.Errorf("%s: the file does not end in a newline", kind)
		}
		var root struct {
			Description string
			Properties  struct {
				Type struct{ Const string }
				Data map[string]any
			}
			Defs map[string]map[string]any `json:"$defs"`
		}
		if err := json.Unmarshal(content, &root); err != nil {
			t.Fatal(err)
		}
		if root.Properties.Type.Const != string(kind) || root.Description == "" {
			t.Errorf("%s: the type is %q, described as %q", kind, root.Properties.Type.Const, root.Description)
		}
		requireDescribed(t, string(kind), root.Properties.Data)
		if root.Properties.Data["required"] == nil {
			t.Errorf("%s: none of its members must be given", kind)
		}
		for name, part := range root.Defs {
			requireDescribed(t, string(kind)+" "+name, part)
		}
	}
	if len(files) != len(events.Types()) {
		t.Errorf("%d files for %d types", len(files), len(events.Types()))
	}
}

// requireDescribed wants an object that lets nothing unknown in and says what
// each of its members is.
func requireDescribed(t *testing.T, name string, object map[string]any) {
	t.Helper()
	if object["additionalProperties"] != false || object["description"] == "" {
		t.Errorf("%s: %v", name, object)
	}
	for member, p := range object["properties"].(map[string]any) {
		if p.(map[string]any)["description"] == nil {
			t.Errorf("%s: %s is not described", name, member)
		}
	}
}

// compiled returns the committed schema of an event type.
func compiled(t *testing.T, kind events.Type) *jsonschema.Schema {
	t.Helper()
	c := jsonschema.NewCompiler()
	c.AssertFormat()
	s, err := c.Compile(filepath.Join(eventsDir, "schema", string(kind)+".json"))
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func golden(t *testing.T, kind events.Type) []byte {
	t.Helper()
	raw, err := os.ReadFile(filepath.Join(eventsDir, "testdata", "v1", string(kind)+".json"))
	if err != nil {
		t.Fatal(err)
	}
	return raw
}

// accepts reports what the schema and the ledger say about an event.
func accepts(t *testing.T, s *jsonschema.Schema, raw []byte) (bySchema, byLedger error) {
	t.Helper()
	value, err := jsonschema.UnmarshalJSON(bytes.NewReader(raw))
	if err != nil {
		t.Fatal(err)
	}
	var e events.Event
	if byLedger = e.UnmarshalJSON(raw); byLedger == nil {
		byLedger = e.Validate()
	}
	return s.Validate(value), byLedger
}

// TestSchemasAndLedgerAgree alters one member of each golden event at a time, in
// every way below, and asks both. Where they differ, there must be a reason.
func TestSchemasAndLedgerAgree(t *testing.T) {
	for _, kind := range events.Types() {
		t.Run(string(kind), func(t *testing.T) {
			s, raw := compiled(t, kind), golden(t, kind)
			if bySchema, byLedger := accepts(t, s, raw); bySchema != nil || byLedger != nil {
				t.Fatalf("the golden event: schema %v, ledger %v", bySchema, byLedger)
			}
			refusals, tried := 0, 0
			for _, path := range members(t, raw) {
				for _, value := range trials() {
					altered := alter(t, raw, path, value)
					bySchema, byLedger := accepts(t, s, altered)
					tried++
					if bySchema != nil {
						refusals++
					}
					if (bySchema == nil) != (byLedger == nil) && !mayDiffer(path, value, byLedger) {
						t.Errorf("%s %s: schema %v, ledger %v", path, value, bySchema, byLedger)
					}
				}
			}
			if refusals < tried/2 {
				t.Errorf("the schema refused %d of %d: the trials prove little", refusals, tried)
			}
		})
	}
}

// mayDiffer lists what the schema says more strictly (byLedger is nil), and what
// it cannot say.
func mayDiffer(path, value string, byLedger error) bool {
	if byLedger == nil {
		// The schema asks to leave out what has no value; the ledger takes it as left out.
		return value == `""` || value == `null` && (path == "datacontenttype" || path == "dataschema")
	}
	ledger := byLedger.Error()
	says := func(text string) bool { return strings.Contains(ledger, text) }
	if says("an IANA time zone") || says("one of the grades in this list") {
		return true
	}
	switch value {
	case `7.0`: // a whole number to JSON Schema
		return says("digits only") || says("an attribute is a string")
	case `"  "`:
		return says("it must be given")
	case `"a\u0000b"`:
		return says("without control characters")
	case absent:
		return says("use one of m2, m") || says("say which product") || // where there is a quantity
			says("say whose name")
	case `1`:
		return says("built is 1")
	}
	return false
}
