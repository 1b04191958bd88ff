package reporting

import (
	"context"
	"slices"
	"strings"
	"testing"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/services/httpd"
)

// TestPageOfAJobLeadsToItsOwnReports: those that set jobs beside each other say nothing of
// one alone, so that they are not offered there; what needs a look stands on the page too.
func TestPageOfAJobLeadsToItsOwnReports(t *testing.T) {
	s := newStack(t)
	tell(s)
	body := s.get("north", "/jobs/flat-2", "Accept", browser).body
	for _, d := range reports.Definitions() {
		offered := strings.Contains(body, `href="/reports/`+d.Name+`?job=flat-2"`)
		if wanted := !d.Compares && !d.WholeFirm; offered != wanted {
			t.Errorf("%s is offered: %t", d.Name, offered)
		}
	}
	if said := textOf(s.page("/jobs/flat-2")); !strings.Contains(said, "Snags open: 1") {
		t.Errorf("the page of the job does not say what needs a look: %s", said)
	}
	report := s.get("north", "/reports/job-costing?job=stair-1", "Accept", browser).body
	if !strings.Contains(report, `<a href="/jobs/stair-1">Stairwell, two floors</a>`) {
		t.Errorf("the way back calls the job by its key: %s", report)
	}
}

// TestLinesOfAFigure: the page of what a figure is made of leads back to its job, says in
// words which jobs were asked for, and has no column that says the same in each row.
func TestLinesOfAFigure(t *testing.T) {
	s := newStack(t)
	tell(s)
	for path, c := range map[string]struct{ has, lacks string }{
		"/explain?job=flat-2&kind=labour&of=minutes":                                {`<a href="/jobs/flat-2">`, "Effect"},
		"/explain?job=flat-2&kind=labour&side=actual&of=minutes":                    {`>Day<`, `<th scope="col">Side</th>`},
		"/explain?finished_from=" + string(reports.FirstDay) + "&kind=labour":       {"whenever", "1 Jan 1970"},
		"/explain?finished_from=2026-01-01&kind=labour&side=actual&side=estimate":   {"1 Jan 2026", "whenever"},
		"/explain?job=stair-1&kind=labour&side=actual&task=coat&of=minutes&limit=9": {"takes back", `<th scope="col">Job</th>`},
	} {
		body := s.get("owner", path, "Accept", browser).body
		if !strings.Contains(body, c.has) || strings.Contains(body, c.lacks) {
			t.Errorf("%s: has %q %t, has %q %t", path, c.has, strings.Contains(body, c.has), c.lacks, strings.Contains(body,
				c.lacks))
		}
	}
}

// TestCustomersAreCalledByName: the office knows its customers by name, and follows it.
func TestCustomersAreCalledByName(t *testing.T) {
	s := newStackWith(t, func(server *httpd.Server, deps Deps) error {
		deps.Customer = func(_ context.Context, _, customer string) (string, error) {
			return map[string]string{"customer-1": "Una Invented"}[customer], nil
		}
		return Mount(server, deps)
	})
	tell(s)
	s.compare()
	body := s.get("north", "/reports/job-spread", "Accept", browser).body
	if !strings.Contains(body, `<a href="/customers/customer-1">Una Invented</a> <span class="word">customer-1</span>`) ||
		!strings.Contains(body, ">customer-2<") {
		t.Errorf("customers are shown as %s", body)
	}
	if csv := s.get("north", "/v1/reports/job-spread?format=csv&table=customers").body; strings.Contains(csv, "Una") {
		t.Errorf("a file has the name: %s", csv)
	}
}

// TestUsualGrade: a quote begins with the grade that most people have.
func TestUsualGrade(t *testing.T) {
	grades := []events.Grade{{Grade: "foreman"}, {Grade: "painter"}, {Grade: "apprentice"}}
	for want, people := range map[string][]string{
		"": nil, "painter": {"foreman", "painter", "apprentice", "painter"}, "foreman": {"painter", "foreman"},
	} {
		s := &events.Settings{Grades: grades}
		for _, g := range people {
			s.People = append(s.People, events.FirmPerson{Grade: g})
		}
		if got := usualGrade(s); got != want {
			t.Errorf("of %v the usual grade is %q, want %q", people, got, want)
		}
	}
}

// TestSurfacesAreReadOut: keys that are made of words are shown as words.
func TestSurfacesAreReadOut(t *testing.T) {
	s := newStack(t)
	s.record("north", "loft", s.act(events.JobOpened, "2026-06-01", events.Opening{JobType: "exterior", Title: "Loft"}),
		s.act(events.ProtectionLaid, "2026-06-02", events.Protection{Task: "protect-floor", Surface: "wood-floor",
			Location: "Hall", QuantityMilli: 5_000, Unit: events.SquareMetre}))
	said := strings.Fields(textOf(s.page("/jobs/loft")))
	if slices.ContainsFunc(said, func(word string) bool { return strings.Contains(word, "wood-floor") }) {
		t.Errorf("the page says wood-floor: %q", said)
	}
}
