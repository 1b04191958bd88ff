package office

import (
	"net/http"
	"net/url"
	"strings"
	"testing"

	"daysheet/events"
	"daysheet/services/httpd"
)

const settledPart = `"name":"Invented Decorators","currency":"EUR","time_zone":"Europe/Vienna","vat_basis_points":2000,
	"job_types":[{"job_type":"stairwell","name":"Stairwell and joinery"},{"job_type":"exterior","name":"Exterior"}],
	"tasks":[{"task":"paper-strip","family":"preparation","unit":"m2","name":"Strip paper"}],`

func TestSettingsPartByPart(t *testing.T) {
	s := newStack(t)
	s.settle("en-IE")
	locale := `"locale":"en-IE",`
	grades := `"grades":[{"grade":"painter","cost_per_hour_e4":384500},{"grade":"apprentice","cost_per_hour_e4":211000}],`
	s.sent("/office/settings/people", "people.2.name", "Tarn O.", "people.2.grade", "painter")
	people := `"people":[{"person":"una","name":"Una","grade":"painter"},{"person":"bo","name":"Bo","grade":"apprentice"},
		{"person":"tarn-o","name":"Tarn O.","grade":"painter"}]`
	s.is(s.last("firm"), events.FirmSettingsChanged, `{`+settledPart+locale+grades+people+`}`)

	r := s.fill("/office/settings/grades", "grades.1.grade", "", "grades.1.cost_per_hour_e4", "")
	if r.status != 422 || !strings.Contains(r.text(), "Bo works at the grade apprentice") {
		t.Fatalf("a grade that somebody has was dropped: status %d: %s", r.status, r.text())
	}
	s.sent("/office/settings/grades", "grades.0.cost_per_hour_e4", "39.20")
	grades = strings.Replace(grades, "384500", "392000", 1)
	s.is(s.last("firm"), events.FirmSettingsChanged, `{`+settledPart+locale+grades+people+`}`)

	s.sent("/office/settings/overhead", "overhead.per_hour_e4", "4.50", "overhead.material_basis_points", "7.5")
	s.sent("/office/settings/pricing", "pricing.method", "mark-up", "pricing.basis_points", "25", "pricing.add_ons.0.name",
		"Small items", "pricing.add_ons.0.basis_points", "2", "pricing.add_ons.0.compounded", "on")
	more := `,"overhead":{"per_hour_e4":45000,"material_basis_points":750},"pricing":{"method":"mark-up","basis_points":2500,
		"add_ons":[{"name":"Small items","basis_points":200,"compounded":true}]}`
	s.is(s.last("firm"), events.FirmSettingsChanged, `{`+settledPart+locale+grades+people+more+`}`)
	s.sent("/office/settings/firm", "locale", "de-AT")
	s.is(s.last("firm"), events.FirmSettingsChanged, `{`+settledPart+`"locale":"de-AT",`+grades+people+more+`}`)
	shown := s.get("owner", "/office/settings").text()
	for _, want := range []string{"Una (painter); Bo (apprentice); Tarn O. (painter)", "painter 39,20", "4,50", "7,5"} {
		if !strings.Contains(shown, want) {
			t.Errorf("the settings do not say %q: %s", want, shown)
		}
	}
	// Taken off a list.
	s.sent("/office/settings/people", "people.1.name", "", "people.1.person", "", "people.1.grade", "")
	if got := string(s.last("firm").Data); strings.Contains(got, `"bo"`) || !strings.Contains(got, `"tarn-o"`) {
		t.Errorf("the settings are %s", got)
	}
}

// TestTwoWhoChangeSettings: different parts go together; the same part is shown again
// to who comes second; and a second press changes nothing.
func TestTwoWhoChangeSettings(t *testing.T) {
	s := newStack(t)
	s.settle("en-IE")
	action, people := s.open("/office/settings/people")
	_, mine := s.open("/office/settings/people")
	s.sent("/office/settings/tasks", "tasks.1.name", "Hang lining paper", "tasks.1.family", "coating", "tasks.1.unit", "roll")
	people.Set("people.2.name", "Tarn")
	people.Set("people.2.grade", "painter")
	for range 2 {
		if r := s.post("owner", action, people); r.status != http.StatusSeeOther {
			t.Fatalf("status %d: %s", r.status, r.text())
		}
	}
	if got := string(s.last("firm").Data); !strings.Contains(got, "hang-lining-paper") || !strings.Contains(got, "tarn") ||
		len(s.all("firm")) != 5 {
		t.Errorf("%d records, the last is %s", len(s.all("firm")), got)
	}
	mine.Set("people.2.name", "Ida")
	mine.Set("people.2.grade", "painter")
	r := s.post("owner", action, mine)
	if r.status != http.StatusConflict || !strings.Contains(r.text(), "Somebody changed this part") {
		t.Fatalf("status %d: %s", r.status, r.text())
	}
	if _, again := formOf(t, r.page); again.Get("people.2.name") != "Ida" {
		t.Errorf("what was typed is lost: %v", again)
	} else if r := s.post("owner", action, again); r.status != http.StatusSeeOther {
		t.Errorf("sent once more: status %d: %s", r.status, r.text())
	}
}

func TestFirstSettings(t *testing.T) {
	s := newStack(t)
	if r := s.get("owner", "/office/settings"); r.at != "/office/settings/first" {
		t.Fatalf("led to %q", r.at)
	}
	if r := s.fill("/office/settings/first", "name", "Invented", "currency", "euro", "time_zone", "Mars"); r.status != 422 ||
		!strings.Contains(r.problems()["job_types"]+r.text(), "Fill in at least one row") {
		t.Errorf("status %d: %v", r.status, r.problems())
	}
	s.sent("/office/settings/first", "name", "Invented", "currency", "EUR", "time_zone", "UTC", "job_types.0.name", "Exterior work",
		"grades.0.grade", "Lead painter", "grades.0.cost_per_hour_e4", "28")
	s.is(s.last("firm"), events.FirmSettingsChanged, `{"name":"Invented","currency":"EUR","time_zone":"UTC","job_types":[
		{"job_type":"exterior-work","name":"Exterior work"}],"grades":[{"grade":"lead-painter","cost_per_hour_e4":280000}]}`)
}

func TestTokensFromTheBrowser(t *testing.T) {
	s := newStack(t)
	s.settle("en-IE")
	if r := s.get("clerk", "/office/tokens"); r.status != http.StatusForbidden {
		t.Errorf("a clerk sees tokens: status %d", r.status)
	}
	action, values := s.open("/office/tokens")
	values.Set("name", "Spreadsheet")
	values["scopes"] = []string{"read"}
	values.Set("expires", "2027-12-31")
	r := s.post("owner", action, values)
	secret := ""
	for _, word := range strings.Fields(r.text()) {
		if strings.HasPrefix(word, "ds_") {
			secret = word
		}
	}
	caller, err := s.tokens.Authenticate(secret)
	if r.status != http.StatusOK || err != nil || caller.Name != "Spreadsheet" || caller.Firm != "north" || !caller.May(httpd.ScopeRead) ||
		caller.May(httpd.ScopeRecord) {
		t.Fatalf("status %d, the secret is of %+v, %v: %s", r.status, caller, err, r.text())
	}
	if shown := s.get("owner", "/office/tokens"); strings.Contains(shown.body, secret) ||
		!strings.Contains(shown.text(), "to 31 Dec 2027") {
		t.Errorf("the list is %s", shown.text())
	}
	if again := s.post("owner", action, values); again.status != 422 || !strings.Contains(again.problems()["name"], "choose another") {
		t.Errorf("sent again: status %d, %v", again.status, again.problems())
	}
	values["scopes"], values["name"] = nil, []string{"Nothing"}
	if r := s.post("owner", action, values); r.status != 422 ||
		!strings.Contains(r.text(), "Give at least one of read, record, admin") {
		t.Errorf("without a scope: status %d: %s", r.status, r.text())
	}
	if r := s.post("owner", "/office/tokens/revoke", url.Values{"name": {"Spreadsheet"}}); r.status != http.StatusSeeOther ||
		!strings.Contains(s.get("owner", r.at).text(), "Revoked: Spreadsheet") {
		t.Errorf("revoking: status %d: %s", r.status, r.text())
	}
	if _, err := s.tokens.Authenticate(secret); err == nil {
		t.Error("the revoked token is let in")
	}
	if r := s.post("owner", "/office/tokens/revoke", url.Values{"name": {"owner"}}); r.status != 422 ||
		!strings.Contains(r.text(), "sign in with another token first") {
		t.Errorf("the own token: status %d: %s", r.status, r.text())
	}
	if r := s.post("owner", "/office/tokens/revoke", url.Values{"name": {"nobody"}}); r.status != http.StatusNotFound {
		t.Errorf("no such token: status %d", r.status)
	}
}
