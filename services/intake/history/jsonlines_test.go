package history

import (
	"encoding/json"
	"errors"
	"strings"
	"testing"

	"daysheet/events"
)

// lines writes a plan's events as JSON lines.
func lines(t *testing.T, plan Plan) string {
	t.Helper()
	var b strings.Builder
	for _, batch := range plan.Batches {
		for _, e := range batch.Events {
			raw, err := json.Marshal(e)
			if err != nil {
				t.Fatal(err)
			}
			b.Write(append(raw, '\n'))
		}
	}
	return b.String()
}

func TestReadEvents(t *testing.T) {
	plan := readPastJobs(t, Options{SkipBad: true, ListNew: true})
	text := lines(t, plan)
	first, _, _ := strings.Cut(text, "\n")
	batches, err := ReadEvents(strings.NewReader(text + "\n" + first)) // a blank line and a repeated event
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for i, batch := range batches {
		if len(batch) > batchMax {
			t.Errorf("a batch of %d", len(batch))
		}
		for _, e := range batch {
			if e.Subject != batch[0].Subject {
				t.Errorf("batch %d has events of %s and %s", i, e.Subject, batch[0].Subject)
			}
		}
		n += len(batch)
	}
	if n != plan.Summary.Events {
		t.Errorf("%d events; want %d", n, plan.Summary.Events)
	}
}

// TestReadEventsErrors: every bad line is told, and nothing is read.
func TestReadEventsErrors(t *testing.T) {
	good := `{"specversion":"1.0","id":"00000001","source":"/x","type":"daysheet.hours.booked.v1","subject":"a",` +
		`"time":"2025-03-04T12:00:00Z","data":{"person":"quen","task":"wash","minutes":60}}`
	bad := func(old, new string) string { return strings.Replace(good, old, new, 1) }
	text := strings.Join([]string{
		good,
		"",
		`{"specversion":`,
		`[1]`,
		bad(`"minutes":60`, `"minutes":-1`),
		bad(`hours.booked`, `hours.guessed`),
		bad(`"minutes":60`, `"minutes":61`), // the id of line 1, with other content
		`"` + strings.Repeat("x", events.EventBytesMax) + `"`,
		good,
	}, "\n")
	batches, err := ReadEvents(strings.NewReader(text))
	var rows RowErrors
	if !errors.As(err, &rows) || batches != nil {
		t.Fatalf("%d batches, error %v", len(batches), err)
	}
	want := []struct {
		line   int
		column string
		value  string
	}{{3, "", ""}, {4, "", ""}, {5, "data.minutes", "-1"}, {6, "type", "daysheet.hours.guessed.v1"}, {7, "id",
		"00000001"}, {8, "", ""}}
	if len(rows) != len(want) {
		t.Fatalf("errors:\n%v", rows)
	}
	for i, w := range want {
		if r := rows[i]; r.Line != w.line || r.Column != w.column || r.Value != w.value || r.Rule == "" {
			t.Errorf("%+v; want %+v", r, w)
		}
	}
}
