package intake

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"strings"
	"testing"

	"daysheet/events"
)

func TestOneEvent(t *testing.T) {
	b := newBench(t, nil)
	for _, contentType := range []string{typeEvent, typeJSON, typeJSON + "; charset=utf-8"} {
		job := fmt.Sprint("job-", len(contentType))
		a := b.send(t, request{contentType: contentType, body: opened("open-"+job, job)})
		if a.status != http.StatusCreated || len(a.Receipts) != 1 || a.kind != "application/json" {
			t.Fatalf("%s: %d %s %s", contentType, a.status, a.kind, a.raw)
		}
		if r := a.Receipts[0]; r.ID != "open-"+job || r.Job != job || r.Sequence == 0 || r.Duplicate {
			t.Errorf("%s: receipt %+v", contentType, r)
		}
	}
}

func TestBatchOfSeveralJobs(t *testing.T) {
	b := newBench(t, nil)
	settings := event("settings-1", "product.listed", "firm", `{"product":"tape","name":"Tape","unit":"roll","price_e4":32000}`)
	list := []string{opened("open-0001", "job-a"), opened("open-0002", "job-b"), hours("hours-001", "job-a"), settings,
		hours("hours-002", "job-b"), hours("hours-003", "job-a")}
	first := b.send(t, request{contentType: typeBatch, body: batch(list...)})
	if first.status != http.StatusCreated || len(first.Receipts) != len(list) {
		t.Fatalf("%d %s", first.status, first.raw)
	}
	want := []struct {
		id, job  string
		sequence uint64
	}{
		{"open-0001", "job-a", 2}, {"open-0002", "job-b", 3}, {"hours-001", "job-a", 2}, {"settings-1", "firm", 1},
		{"hours-002", "job-b", 3}, {"hours-003", "job-a", 2},
	}
	for i, w := range want {
		if r := first.Receipts[i]; r.ID != w.id || r.Job != w.job || r.Sequence != w.sequence || r.Duplicate {
			t.Errorf("receipt %d is %+v, want %+v", i, r, w)
		}
	}

	before := b.last(t)
	second := b.send(t, request{contentType: typeJSON, body: batch(list...)})
	if second.status != http.StatusOK || b.last(t) != before {
		t.Errorf("sent again: status %d, log %s after %s", second.status, b.last(t), before)
	}
	for i, r := range second.Receipts {
		if !r.Duplicate || r.Sequence != first.Receipts[i].Sequence || r.ID != first.Receipts[i].ID {
			t.Errorf("receipt %d of the second time is %+v after %+v", i, r, first.Receipts[i])
		}
	}

	mixed := b.send(t, request{contentType: typeBatch, body: batch(list[2], hours("hours-004", "job-a"))})
	if mixed.status != http.StatusCreated || !mixed.Receipts[0].Duplicate || mixed.Receipts[1].Duplicate {
		t.Errorf("old and new together: %d %s", mixed.status, mixed.raw)
	}
}

func TestExtensionsAndCredentialAreKept(t *testing.T) {
	b := newBench(t, nil)
	e := strings.Replace(opened("open-0001", "job-a"), `"specversion"`, `"traceparent":"00-ab-cd-01","retries":3,"offline":true,"specversion"`, 1)
	b.take(t, "", e)
	stored := b.stored(t, north, "job-a")
	for _, want := range []string{`"traceparent":"00-ab-cd-01"`, `"retries":3`, `"offline":true`, `"recorded_by":"office"`, `"firm":"` + north + `"`} {
		if !strings.Contains(stored, want) {
			t.Errorf("the log lacks %s:\n%s", want, stored)
		}
	}
}

// TestFirmsNeverMeet uses the same job key in two firms.
func TestFirmsNeverMeet(t *testing.T) {
	b := newBench(t, nil)
	b.take(t, "office", opened("open-0001", "job-a"))
	before := b.last(t)
	a := b.send(t, request{token: "south", contentType: typeEvent, body: hours("hours-001", "job-a")})
	if a.status != http.StatusNotFound || b.last(t) != before {
		t.Errorf("another firm's job: %d %s; log %s after %s", a.status, a.raw, b.last(t), before)
	}
	// A firm in the body is an extension like any other, and decides nothing.
	b.take(t, "south", strings.Replace(opened("open-0001", "job-a"), `"specversion"`, `"firm":"`+north+`","specversion"`, 1))
	if got := b.stored(t, north, "job-a"); strings.Contains(got, `"recorded_by":"south"`) {
		t.Errorf("a firm in the body reached the other firm:\n%s", got)
	}
	if got := b.stored(t, south, "job-a"); !strings.Contains(got, `"firm":"`+south+`"`) {
		t.Errorf("the event is not in the sender's firm:\n%s", got)
	}
}

func TestMetrics(t *testing.T) {
	b := newBench(t, nil)
	for range 2 { // the second time all are duplicates, which do not count
		b.send(t, request{contentType: typeBatch, body: batch(opened("open-0001", "job-a"), hours("hours-001", "job-a"), hours("hours-002", "job-a"))})
	}
	families, err := b.server.Registry.Gather()
	must(t, err)
	got := map[string]float64{}
	for _, f := range families {
		if f.GetName() == "ledger_events_appended_total" {
			for _, m := range f.GetMetric() {
				got[m.GetLabel()[0].GetValue()] = m.GetCounter().GetValue()
			}
		}
	}
	if got["daysheet.job.opened.v1"] != 1 || got["daysheet.hours.booked.v1"] != 2 || got["daysheet.coat.applied.v1"] != 0 ||
		len(got) != len(events.Types()) {
		t.Errorf("counted %v", got)
	}
}

func TestMountedOnce(t *testing.T) {
	b := newBench(t, nil)
	if err := Mount(b.server, b.log, b.log.Commits); err == nil {
		t.Error("the intake was mounted twice")
	}
}

// failing refuses one job and passes the others on.
type failing struct {
	Recorder
	job string
	err error
}

func (f *failing) Record(ctx context.Context, firm, job, by string, list []events.Event) ([]events.Receipt, error) {
	if job == f.job && f.err != nil {
		return nil, f.err
	}
	return f.Recorder.Record(ctx, firm, job, by, list)
}

// TestPartlyRecorded checks that an answer tells the truth where the log takes
// only part of a request.
func TestPartlyRecorded(t *testing.T) {
	var log *failing
	b := newBench(t, func(r Recorder) Recorder {
		log = &failing{Recorder: r, job: "job-b"}
		return log
	})
	list := []string{opened("open-000c", "job-c"), opened("open-000b", "job-b"), opened("open-000a", "job-a"), hours("hours-00c", "job-c")}
	for _, c := range []struct {
		code    events.Code
		status  int
		missing string // ids that were not recorded
		unknown string
	}{
		{events.Conflict, 409, "open-000b open-000a", ""},
		{events.Unavailable, 503, "open-000a", "open-000b"},
	} {
		log.err = fmt.Errorf("record: %w", &events.Error{Code: c.code, EventID: "open-000b", Field: "id", Rule: "invented"})
		a := b.send(t, request{contentType: typeBatch, body: batch(list...)})
		if a.status != c.status || len(a.Recorded) != 2 || a.Recorded[0].ID != "open-000c" || a.Recorded[1].ID != "hours-00c" ||
			strings.Join(a.NotRecorded, " ") != c.missing || strings.Join(a.Unknown, " ") != c.unknown || a.Event != "open-000b" {
			t.Errorf("%s: %d %s", c.code, a.status, a.raw)
		}
		if got := b.stored(t, north, "job-a"); got != "" {
			t.Errorf("%s: what was said not to be recorded is in the log:\n%s", c.code, got)
		}
	}
	log.err = nil
	again := b.send(t, request{contentType: typeBatch, body: batch(list...)})
	var duplicates []bool
	for _, r := range again.Receipts {
		duplicates = append(duplicates, r.Duplicate)
	}
	if again.status != http.StatusCreated || fmt.Sprint(duplicates) != "[true false false true]" {
		t.Errorf("sent again: %d %s", again.status, again.raw)
	}
}

// TestDescription checks the description of the intake: each type of event with
// its payload, and a scope for every operation.
func TestDescription(t *testing.T) {
	b := newBench(t, nil)
	a := b.send(t, request{method: http.MethodGet, url: "/openapi.json", token: "reader"})
	var doc struct {
		Paths map[string]map[string]struct {
			Security    []map[string][]string
			RequestBody struct {
				Content map[string]struct{ Schema json.RawMessage }
			}
			Responses map[string]json.RawMessage
		}
		Components struct{ Schemas map[string]json.RawMessage }
	}
	must(t, json.Unmarshal([]byte(a.raw), &doc))
	for address, operations := range doc.Paths {
		for method, op := range operations {
			if len(op.Security) == 0 || len(op.Security[0]["token"]) == 0 {
				t.Errorf("%s %s has no scope", method, address)
			}
		}
	}
	op := doc.Paths[path]["post"]
	if len(op.RequestBody.Content) != 3 || !strings.Contains(string(op.RequestBody.Content[typeJSON].Schema), "oneOf") {
		t.Errorf("request body is described as %v", op.RequestBody.Content)
	}
	for _, status := range []string{"200", "201", "400", "401", "403", "404", "409", "413", "415", "422", "429", "500", "503"} {
		if op.Responses[status] == nil {
			t.Errorf("answer %s is not described", status)
		}
	}
	schema := string(doc.Components.Schemas["Event"])
	for _, kind := range events.Types() {
		if !strings.Contains(schema, fmt.Sprintf("%q", kind)) {
			t.Errorf("the schema of an event lacks %s", kind)
		}
	}
	for _, reference := range strings.Split(a.raw, `"$ref":"#/components/schemas/`)[1:] {
		name, _, _ := strings.Cut(reference, `"`)
		if doc.Components.Schemas[name] == nil {
			t.Errorf("the schema %s is referred to and not there", name)
		}
	}
}
