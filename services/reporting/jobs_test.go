package reporting

import (
	"encoding/json"
	"fmt"
	"net/http"
	"regexp"
	"slices"
	"strings"
	"testing"

	"daysheet/events"
)

func TestListJobs(t *testing.T) {
	s := newStack(t)
	tell(s)
	for _, c := range []struct {
		query string
		want  []string
	}{
		{"", []string{"flat-2", "front-3", "hall-4", "stair-1"}},
		{"?state=running", []string{"flat-2"}},
		{"?state=closed&state=signed-off", []string{"front-3", "stair-1"}},
		{"?job_type=occupied", []string{"flat-2", "hall-4"}},
		{"?job_type=occupied&state=opened", []string{"hall-4"}},
		{"?job_type=none", nil},
	} {
		var body jobsBody
		s.read("north", "/v1/jobs"+c.query, &body)
		var got []string
		for _, j := range body.Jobs {
			got = append(got, j.Job)
		}
		if !slices.Equal(got, c.want) {
			t.Errorf("jobs%s: %v, not %v", c.query, got, c.want)
		}
	}
}

var nextLink = regexp.MustCompile(`^<(/[^>]*)>; rel="next"$`) // RFC 8288

// TestPages follows the links of a list while new records come in: the list
// stays as it was when its first page was read.
func TestPages(t *testing.T) {
	s := newStack(t)
	s.settle("north")
	var want []string
	open := func(key string) {
		s.record("north", key, s.act(events.JobOpened, "2026-06-01", events.Opening{JobType: "exterior", Title: key}))
	}
	for i := range 7 {
		key := fmt.Sprintf("job-%d", i)
		open(key)
		want = append(want, key)
	}
	var got []string
	for next := "/v1/jobs?limit=3"; next != ""; {
		var body jobsBody
		a := s.read("north", next, &body)
		for _, j := range body.Jobs {
			got = append(got, j.Job)
		}
		next = body.Next
		if link := a.header.Get("Link"); next == "" && link != "" || next != "" &&
			nextLink.FindStringSubmatch(link)[1] != next {
			t.Errorf("Link is %q, next is %q", link, next)
		}
		open(fmt.Sprintf("job-6-later-%d", len(got)))
	}
	if !slices.Equal(got, want) {
		t.Errorf("pages held %v, not %v", got, want)
	}
	var body jobsBody
	s.read("north", "/v1/jobs?limit=3", &body)
	if a := s.get("north", body.Next+"&state=running"); a.status != http.StatusUnprocessableEntity {
		t.Errorf("a cursor of another question was taken: %d", a.status)
	}
}

func TestJobDetail(t *testing.T) {
	s := newStack(t)
	tell(s)
	var flat jobDetailBody
	a := s.read("north", "/v1/jobs/flat-2", &flat)
	if flat.State != "running" || flat.OpenSnags != 1 || flat.OpenDamage != 0 || len(flat.ProtectionDown) != 2 {
		t.Errorf("flat-2: %+v", flat)
	}
	if down := flat.ProtectionDown[0]; down.QuantityMilli != 18_400 || down.Unit != "m" ||
		down.RemoveBy != "2026-06-22" {
		t.Errorf("first protection still down: %+v", down)
	}
	if want := fmt.Sprintf("%q", fmt.Sprint(flat.Sequence)); a.header.Get("ETag") != want {
		t.Errorf("ETag is %s, not %s", a.header.Get("ETag"), want)
	}
	var stair jobDetailBody
	s.read("north", "/v1/jobs/stair-1", &stair)
	if stair.State != "closed" || stair.OpenSnags != 1 || stair.OpenDamage != 0 || len(stair.ProtectionDown) != 1 {
		t.Errorf("stair-1: %+v", stair)
	}
	var south jobDetailBody
	s.read("south", "/v1/jobs/hall-4", &south)
	if south.Title != "Secret of the south" {
		t.Errorf("the south reads %q of its own job", south.Title)
	}
	var north jobDetailBody
	s.read("north", "/v1/jobs/hall-4", &north)
	if north.Title != "Hall and landing" {
		t.Errorf("the north reads %q under the key that both firms use", north.Title)
	}
}

func TestVoidedClearanceOpensItsSnag(t *testing.T) {
	s := newStack(t)
	s.settle("north")
	snag := s.act(events.SnagRaised, "2026-06-02", events.Snag{Location: "Hall", Finding: "thin at the corner",
		RaisedBy: "firm"})
	cleared := s.act(events.SnagCleared, "2026-06-03", events.SnagClearance{Snag: snag.ID})
	open := func() int {
		var body jobDetailBody
		s.read("north", "/v1/jobs/one", &body)
		return body.OpenSnags
	}
	s.record("north", "one", s.act(events.JobOpened, "2026-06-01", events.Opening{JobType: "exterior",
		Title: "One"}), snag)
	if open() != 1 {
		t.Errorf("%d open snags after one was raised", open())
	}
	s.record("north", "one", cleared)
	if open() != 0 {
		t.Errorf("%d open snags after it was cleared", open())
	}
	s.record("north", "one", s.act(events.EventVoided, "2026-06-04", events.Void{Event: cleared.ID,
		Reason: "wrong corner"}))
	if open() != 1 {
		t.Errorf("%d open snags after the clearance was voided", open())
	}
}

// TestRecords reads a job's events back and compares them with what was sent.
func TestRecords(t *testing.T) {
	s := newStack(t)
	tell(s)
	var all []recordBody
	for next := "/v1/jobs/stair-1/events?limit=5"; next != ""; {
		var body recordsBody
		s.read("north", next, &body)
		if len(body.Events) > 5 {
			t.Errorf("a page of 5 holds %d", len(body.Events))
		}
		all = append(all, body.Events...)
		next = body.Next
	}
	voided := 0
	for i, r := range all {
		var e events.Event
		must(t, json.Unmarshal(r.Event, &e))
		if e.Subject != "stair-1" || r.RecordedBy != "van-1" || r.RecordedAt != today() || r.Sequence == 0 {
			t.Errorf("event %d: %+v", i, r)
		}
		if i > 0 && r.Sequence < all[i-1].Sequence {
			t.Errorf("event %d comes before its predecessor", i)
		}
		if r.Voided {
			voided++
			if !strings.Contains(string(r.Event), `"minutes":960`) || r.VoidedBy == "" {
				t.Errorf("voided: %s by %q", r.Event, r.VoidedBy)
			}
		}
	}
	if len(all) != 30 || voided != 1 {
		t.Errorf("%d events, %d voided; 30 were recorded, 1 voided", len(all), voided)
	}
	var firm recordsBody
	s.read("north", "/v1/jobs/firm/events", &firm)
	if len(firm.Events) != 5 {
		t.Errorf("%d events of the firm, 5 were recorded", len(firm.Events))
	}
}

// TestEveryReportIsDescribed reads the description of the API as a client would.
func TestEveryReportIsDescribed(t *testing.T) {
	s := newStack(t)
	var d struct {
		Paths map[string]map[string]struct {
			Parameters []struct{ Name string }
			Responses  map[string]struct{ Content map[string]any }
		}
	}
	s.read("north", "/openapi.json", &d)
	for path, want := range map[string]struct{ parameter, media string }{
		"/v1/reports/job-summary": {"as_of", "text/csv"}, "/v1/reports/estimate-vs-actual": {"job", "text/html"},
		"/v1/reports/job-types": {"job_type", "application/json"}, "/v1/reports/consumables": {"to", "text/csv"},
		"/v1/explain": {"product", "text/csv"}, "/v1/watch": {"Last-Event-ID", "text/event-stream"},
		"/v1/jobs": {"after", "application/json"}, "/v1/jobs/{job}": {"job", "application/json"},
		"/v1/jobs/{job}/events": {"limit", "application/json"},
	} {
		get := d.Paths[path]["get"]
		if !slices.ContainsFunc(get.Parameters, func(p struct{ Name string }) bool { return p.Name == want.parameter }) {
			t.Errorf("%s: parameter %s is not described", path, want.parameter)
		}
		if get.Responses["200"].Content[want.media] == nil {
			t.Errorf("%s: %s is not described", path, want.media)
		}
	}
}
