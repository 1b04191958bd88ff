package main

import (
	"encoding/json"
	"io"
	"net/http"
	"strings"
	"testing"

	"daysheet/events"
	"daysheet/services/eventlog"
	"daysheet/services/httpd"
)

// TestRequestsThatCannotBeTaken: what is refused before any event is read is a
// problem that names field, value and rule too, and nothing is stored.
func TestRequestsThatCannotBeTaken(t *testing.T) {
	a := mustOpen(t, t.TempDir())
	defer mustClose(t, a)
	reader := httpd.Caller{Firm: demoFirm, Name: "reader", Scopes: []httpd.Scope{httpd.ScopeRead}}
	recorder := httpd.Caller{Firm: demoFirm, Name: "phone", Scopes: []httpd.Scope{httpd.ScopeRecord}}
	for _, c := range []struct {
		name, media, body  string
		caller             httpd.Caller
		status             int
		field, value, rule string
	}{
		{"malformed JSON", "application/json", `{"id": oops}`, recorder, 400, "body", "oops}", "one JSON value"},
		{"wrong scope", "application/json", `{}`, reader, 403, "scope", "read", "a token with the scope record"},
		{"body over the limit", "application/json", `"` + strings.Repeat("x", 2<<20) + `"`, recorder, 413, "body",
			"more than that", "at most 1048576 bytes are taken"},
		{"another content type", "text/plain", `{}`, recorder, 415, "Content-Type", "text/plain",
			"send application/cloudevents+json, application/cloudevents-batch+json or application/json"},
	} {
		t.Run(c.name, func(t *testing.T) {
			r, err := http.NewRequestWithContext(t.Context(), http.MethodPost, "http://in-process/v1/events", strings.NewReader(c.body))
			if err != nil {
				t.Fatal(err)
			}
			r.Header.Set("Content-Type", c.media)
			answer, err := a.inProcess(c.caller).http.Do(r)
			if err != nil {
				t.Fatal(err)
			}
			defer answer.Body.Close()
			raw, err := io.ReadAll(answer.Body)
			if err != nil {
				t.Fatal(err)
			}
			var p struct{ Field, Value, Rule string }
			if err := json.Unmarshal(raw, &p); err != nil {
				t.Fatalf("%v in %s", err, raw)
			}
			if answer.StatusCode != c.status || p.Field != c.field || p.Value != c.value || p.Rule != c.rule {
				t.Errorf("status %d and %+v, want %d and %s, %s, %s", answer.StatusCode, p, c.status, c.field, c.value, c.rule)
			}
			if got := answer.Header.Get("Content-Type"); got != "application/problem+json" {
				t.Errorf("content type %s", got)
			}
		})
	}
	if last, err := a.log.Last(t.Context(), eventlog.Partition(demoFirm)); err != nil || last != 0 {
		t.Errorf("the log stands at %d (%v)", last, err)
	}
}

// TestReportsShowWhatWasJustRecorded: who has recorded something and looks for it
// at once finds it.
func TestReportsShowWhatWasJustRecorded(t *testing.T) {
	a := mustOpen(t, t.TempDir())
	defer mustClose(t, a)
	c := owner(a)
	for _, kind := range []string{"job.opened", "hours.booked", "hours.booked"} {
		set := map[string]string{"person": "anna", "task": "sand", "minutes": "30"}
		if kind == "job.opened" {
			set = map[string]string{"job_type": "stairwell", "title": "Invented"}
		}
		e, err := (&RecordCmd{Type: kind, Job: "stair-12", Set: set}).event(today)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := c.record(t.Context(), []events.Event{e}); err != nil {
			t.Fatal(err)
		}
		mustGet(t, c, "/v1/jobs/stair-12")
	}
	rows := mustReport(t, c, "/v1/reports/estimate-vs-actual?job=stair-12").rows(t, "tasks")
	if len(rows) != 1 || whole(rows[0], "actual_minutes") != 60 {
		t.Errorf("the report shows %v after 60 minutes were booked", rows)
	}
}
