package main

import (
	"bytes"
	"encoding/json"
	"io"
	"net/http"
	"strings"
	"testing"

	"daysheet/events"
)

// mustPost sends JSON and reads the answer into v.
func mustPost(t *testing.T, c *client, path string, body, v any) {
	t.Helper()
	raw, err := json.Marshal(body)
	if err != nil {
		t.Fatal(err)
	}
	answer, err := c.request(t.Context(), http.MethodPost, path, "application/json", bytes.NewReader(raw))
	if err != nil {
		t.Fatalf("%s: %v", path, err)
	}
	defer answer.Body.Close()
	if raw, err = io.ReadAll(answer.Body); err != nil {
		t.Fatalf("%s: %v", path, err)
	}
	if err := json.Unmarshal(raw, v); err != nil {
		t.Fatalf("%s: %v in %s", path, err, raw)
	}
}

type rateKeyed struct {
	Task     string `json:"task"`
	Surface  string `json:"surface,omitempty"`
	Method   string `json:"method,omitempty"`
	Proposed int64  `json:"proposed_minutes_per_unit_milli,omitempty"`
	Rejected string `json:"rejected,omitempty"`
}

type proposed struct {
	Evidence  int64       `json:"evidence"`
	RateBook  string      `json:"rate_book"`
	Proposals []rateKeyed `json:"proposals"`
}

type priced struct {
	RateBook string `json:"rate_book"`
	Minutes  struct {
		Typical, Expected, Safe80, Safe90 int64
	} `json:"minutes"`
	Cost struct {
		NetE4 int64 `json:"net_e4"`
	} `json:"cost"`
	Lines []struct {
		Task      string `json:"task"`
		RateMilli int64  `json:"rate_minutes_per_unit_milli"`
		BookMilli int64  `json:"book_minutes_per_unit_milli"`
	} `json:"lines"`
}

// TestTheCircleOfRates goes once round: history, proposal, acceptance, quote, job,
// report, and the next proposal.
func TestTheCircleOfRates(t *testing.T) {
	a := mustOpen(t, t.TempDir())
	defer mustClose(t, a)
	c := mustInvent(t, a, 30)
	var first proposed
	if err := json.Unmarshal(mustGet(t, c, "/v1/rates/proposals"), &first); err != nil {
		t.Fatal(err)
	}
	if len(first.Proposals) < 5 || first.Evidence == 0 || first.RateBook != "r2" {
		t.Fatalf("%d proposals at %d against %q", len(first.Proposals), first.Evidence, first.RateBook)
	}
	off := map[string]any{"grade": "painter", "lines": []map[string]any{
		{"task": "coat", "surface": "plaster", "method": "roller", "quantity_milli": 80_000},
		{"task": "protect-floor", "surface": "wood-floor", "quantity_milli": 25_000}}}
	var before priced
	mustPost(t, c, "/v1/quotes", off, &before)

	turnedDown := first.Proposals[0]
	var decided struct{ Taken int }
	mustPost(t, c, "/v1/rates/proposals/reject", map[string]any{"task": turnedDown.Task, "surface": turnedDown.Surface,
		"method": turnedDown.Method, "evidence": first.Evidence, "reason": "two of them were done by a trainee"}, &decided)
	mustPost(t, c, "/v1/rates/proposals/accept", map[string]any{"evidence": first.Evidence, "revision": "r3"}, &decided)
	if decided.Taken != len(first.Proposals)-1 {
		t.Errorf("%d rates taken over, want all of %d but the one turned down", decided.Taken, len(first.Proposals))
	}
	mustCatchUp(t, a)

	var second proposed
	if err := json.Unmarshal(mustGet(t, c, "/v1/rates/proposals"), &second); err != nil {
		t.Fatal(err)
	}
	if second.RateBook != "r3" || len(second.Proposals) >= len(first.Proposals)/2 {
		t.Errorf("after taking all over, %d of %d are proposed again against %q", len(second.Proposals), len(first.Proposals),
			second.RateBook)
	}
	var after priced
	mustPost(t, c, "/v1/quotes", off, &after)
	if after.RateBook != "r3" || after.Minutes.Safe80 <= after.Minutes.Expected || after.Cost.NetE4 == 0 {
		t.Errorf("the quote after is %+v", after)
	}
	for i, l := range after.Lines {
		// The book moved to where history was: the quote hardly does. It moves a
		// little, because similar work is now measured against a better book too.
		if off := l.RateMilli - before.Lines[i].RateMilli; max(off, -off)*100 > 10*before.Lines[i].RateMilli {
			t.Errorf("%s: rate %d before and %d after", l.Task, before.Lines[i].RateMilli, l.RateMilli)
		}
	}
	issueAndReport(t, a, c, off, after)
}

// issueAndReport issues the quote on a new job and finds it in the job's report.
func issueAndReport(t *testing.T, a *app, c *client, off map[string]any, quoted priced) {
	t.Helper()
	opening := events.Event{ID: "circle-opened-1", Source: "/tests", Type: events.JobOpened, Subject: "circle",
		Time: today.Format("2006-01-02T15:04:05Z07:00"),
		Data: []byte(`{"job_type":"occupied-redecoration","title":"Flat for the circle"}`)}
	if _, err := c.record(t.Context(), []events.Event{opening}); err != nil {
		t.Fatal(err)
	}
	var issued struct {
		Receipt struct{ Sequence uint64 } `json:"receipt"`
		Quote   priced                    `json:"quote"`
	}
	mustPost(t, c, "/v1/quotes/issue", map[string]any{"job": "circle", "take_off": off}, &issued)
	mustCatchUp(t, a)
	if issued.Quote.Cost.NetE4 != quoted.Cost.NetE4 || issued.Receipt.Sequence == 0 {
		t.Errorf("issued at %d, quoted at %d", issued.Quote.Cost.NetE4, quoted.Cost.NetE4)
	}
	raw := string(mustGet(t, c, "/v1/reports/job-costing?job=circle"))
	if !strings.Contains(raw, `"with variations"`) || !strings.Contains(raw, "Flat for the circle") {
		t.Errorf("the report of the job does not show the estimate: %s", raw)
	}
}
