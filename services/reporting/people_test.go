package reporting

import (
	"net/http"
	"strings"
	"testing"

	"daysheet/services/httpd"
)

// TestHoursOfPeopleAreForTheOffice: who may only read is not shown the report about
// people, not told of it, and refused in each way of asking.
func TestHoursOfPeopleAreForTheOffice(t *testing.T) {
	t.Parallel()
	s := newStack(t)
	tell(s)
	const at = "/reports/hours-by-person"
	if text := textOf(s.page(at + "?job=stair-1")); !strings.Contains(text, "They are no measure to compare people by.") ||
		!strings.Contains(text, "Una") {
		t.Errorf("the office is shown %s", text)
	}
	for _, path := range []string{"/reports", "/reports/estimate-vs-actual?job=stair-1"} {
		if a := s.get("north", path); a.status != http.StatusOK || path == "/reports" && !strings.Contains(a.body, at) {
			t.Errorf("%s: status %d, and no way to %s", path, a.status, at)
		}
	}
	for _, path := range []string{at, "/v1" + at, "/v1" + at + ".csv", "/v1" + at + ".json",
		"/explain?person=una", "/v1/explain?person=una", "/v1/explain?kind=labour&person=una&format=csv"} {
		if a := s.get("south", path); a.status != http.StatusForbidden ||
			!strings.Contains(a.body, "about people") && !strings.Contains(a.body, string(httpd.Office)) {
			t.Errorf("%s lets in who may only read: status %d", path, a.status)
		}
	}
	if a := s.get("south", "/v1/explain?job=south-only"); a.status != http.StatusOK || !strings.Contains(a.body, `"person":"una"`) {
		t.Errorf("who may read is not shown the records of a job: status %d", a.status)
	}
	if a := s.get("south", "/reports"); strings.Contains(a.body, at) {
		t.Error("who may not see the report is led to it")
	}
}

// TestNamesLeadToTheirRecords follows the names of a report: of a job type to its jobs, of
// a person, a grade, a task and a product to what was recorded of it.
func TestNamesLeadToTheirRecords(t *testing.T) {
	t.Parallel()
	s := newStack(t)
	tell(s)
	for path, wanted := range map[string][]string{
		"/reports/job-types":               {"/reports/job-summary?job_type=stairwell"},
		"/reports/consumables?job=stair-1": {"product=wall-matt"},
		"/reports/hours-by-person?job=stair-1": {"/explain?kind=labour&amp;of=minutes&amp;person=una&amp;side=actual",
			"/explain?grade=painter&amp;kind=labour", "task=coat"},
	} {
		body := s.get("north", path).body
		for _, want := range wanted {
			if !strings.Contains(body, want) {
				t.Errorf("%s does not lead to %s", path, want)
			}
		}
	}
	if text := textOf(s.page("/explain?kind=labour&of=minutes&person=una&side=actual")); !strings.Contains(text, "Una") {
		t.Errorf("the records of Una say %s", text)
	}
}
