package main

import (
	"bytes"
	"encoding/json"
	"maps"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"

	"daysheet/events"
)

// described is what the test reads of an OpenAPI 3.1 document.
type described struct {
	OpenAPI    string
	Info       struct{ Title, Version string }
	Paths      map[string]map[string]operation
	Components struct{ Schemas map[string]any }
}

type operation struct {
	OperationID string
	Summary     string
	Parameters  []struct {
		Name, In string
		Required bool
		Schema   any
	}
	RequestBody *struct{ Content map[string]media }
	Responses   map[string]struct {
		Description string
		Content     map[string]media
	}
}

type media struct{ Schema, Example any }

const schemas = "https://daysheet.invalid/schemas"

// TestOpenAPIHolds reads the description of the whole program. Schemas of OpenAPI
// 3.1 are those of JSON Schema 2020-12 (OpenAPI 3.1.0, section 4.8.24), so that a
// validator of that says whether they are any; what else is asked stands in
// sections 4.8.9 to 4.8.17.
func TestOpenAPIHolds(t *testing.T) {
	a := mustOpen(t, t.TempDir())
	defer mustClose(t, a)
	raw := mustGet(t, owner(a), "/openapi.json")
	var d described
	if err := json.Unmarshal(raw, &d); err != nil {
		t.Fatal(err)
	}
	if !strings.HasPrefix(d.OpenAPI, "3.1.") || d.Info.Title == "" || d.Info.Version == "" || len(d.Paths) < 20 {
		t.Errorf("the document is %q of %+v with %d paths", d.OpenAPI, d.Info, len(d.Paths))
	}
	compiler := jsonschema.NewCompiler()
	compiler.DefaultDraft(jsonschema.Draft2020)
	document, err := jsonschema.UnmarshalJSON(bytes.NewReader(raw))
	if err != nil {
		t.Fatal(err)
	}
	if err := compiler.AddResource(schemas, document); err != nil {
		t.Fatal(err)
	}
	for name := range d.Components.Schemas {
		if _, err := compiler.Compile(schemas + "#/components/schemas/" + name); err != nil {
			t.Errorf("schema %s: %v", name, err)
		}
	}
	ids := map[string]string{}
	for path, operations := range d.Paths {
		for method, op := range operations {
			where := strings.ToUpper(method) + " " + path
			if other := ids[op.OperationID]; op.OperationID == "" || op.Summary == "" || other != "" {
				t.Errorf("%s is called %q, %q; so is %q", where, op.OperationID, op.Summary, other)
			}
			ids[op.OperationID] = where
			checkParameters(t, where, path, op)
			checkAnswers(t, compiler, where, path, method, op)
		}
	}
}

// checkParameters: what stands in braces in a path is described, and needed.
func checkParameters(t *testing.T, where, path string, op operation) {
	t.Helper()
	var inPath []string
	for _, p := range op.Parameters {
		if p.Schema == nil {
			t.Errorf("%s: parameter %s has no schema", where, p.Name)
		}
		if p.In == "path" {
			inPath = append(inPath, "{"+p.Name+"}")
			if !p.Required {
				t.Errorf("%s: parameter %s of the path is not required", where, p.Name)
			}
		}
	}
	if named := regexp.MustCompile(`\{[a-z_]+\}`).FindAllString(path, -1); !slices.Equal(named, inPath) {
		t.Errorf("%s: parameters of the path are %v", where, inPath)
	}
}

// checkAnswers: a success with its content type, errors as problems, and examples
// that are of their schemas.
func checkAnswers(t *testing.T, compiler *jsonschema.Compiler, where, path, method string, op operation) {
	t.Helper()
	at := schemas + "#/paths/" + pointer(path) + "/" + method
	if op.RequestBody != nil {
		for kind, m := range op.RequestBody.Content {
			checkMedia(t, compiler, where+" takes "+kind, at+"/requestBody/content/"+pointer(kind), m)
		}
	}
	statuses := []string{"401", "403", "429", "500"}
	if len(op.Parameters) > 0 || op.RequestBody != nil {
		statuses = append(statuses, "422")
	}
	for _, status := range statuses {
		if op.Responses[status].Content["application/problem+json"].Schema == nil {
			t.Errorf("%s: %s is not described as a problem: %v", where, status, slices.Sorted(maps.Keys(op.Responses)))
		}
	}
	for status, answer := range op.Responses {
		if answer.Description == "" {
			t.Errorf("%s: %s has no description", where, status)
		}
		if len(answer.Content) == 0 && status != "304" && status != "204" {
			t.Errorf("%s: %s has no content type", where, status)
		}
		for kind, m := range answer.Content {
			checkMedia(t, compiler, where+" answers "+status+" "+kind,
				at+"/responses/"+status+"/content/"+pointer(kind), m)
		}
	}
}

func checkMedia(t *testing.T, compiler *jsonschema.Compiler, where, at string, m media) {
	t.Helper()
	if m.Schema == nil {
		t.Errorf("%s without a schema", where)
		return
	}
	schema, err := compiler.Compile(at + "/schema")
	if err != nil {
		t.Errorf("%s: %v", where, err)
		return
	}
	if m.Example == nil {
		return
	}
	raw, err := json.Marshal(m.Example)
	if err != nil {
		t.Fatal(err)
	}
	example, err := jsonschema.UnmarshalJSON(bytes.NewReader(raw))
	if err != nil {
		t.Fatal(err)
	}
	if err := schema.Validate(example); err != nil {
		t.Errorf("%s: the example is not of the schema: %v", where, err)
	}
}

// pointer writes a key as a part of a JSON pointer in an address (RFC 6901).
func pointer(key string) string {
	return strings.NewReplacer("~", "~0", "/", "~1", "{", "%7B", "}", "%7D", "+", "%2B").Replace(key)
}

// TestExamplesAreEvents: the examples of what is sent and exported would be taken.
func TestExamplesAreEvents(t *testing.T) {
	a := mustOpen(t, t.TempDir())
	defer mustClose(t, a)
	var d described
	if err := json.Unmarshal(mustGet(t, owner(a), "/openapi.json"), &d); err != nil {
		t.Fatal(err)
	}
	both := d.Paths["/v1/events"]
	sent := both["post"].RequestBody.Content["application/cloudevents+json"].Example
	raw, err := json.Marshal(sent)
	if err != nil {
		t.Fatal(err)
	}
	exported, ok := both["get"].Responses["200"].Content["application/x-ndjson"].Example.(string)
	if !ok || strings.Count(exported, "\n") != 2 {
		t.Fatalf("the export has the example %q", exported)
	}
	for line := range strings.Lines(string(raw) + "\n" + exported) {
		var e events.Event
		err := json.Unmarshal([]byte(line), &e)
		if err == nil {
			err = e.Validate()
		}
		if err != nil {
			t.Errorf("%s: %v", line, err)
		}
	}
	if d.Paths["/v1/firm"]["get"].Responses["200"].Content["application/json"].Example == nil {
		t.Error("the firm has no example")
	}
}
