package office

import (
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"

	"daysheet/events"
	"daysheet/services/httpd"
	"daysheet/services/httpd/browsertest"
	"daysheet/services/intake/history"
)

// TestEveryFieldHasItsTexts: a form, a field or a choice without a text in some language
// fails here, and so does a text that nobody says. Load has found every key of English in
// the other languages.
func TestEveryFieldHasItsTexts(t *testing.T) {
	say := inEnglish(t)
	said := map[string]bool{}
	mark := func(key string) {
		said[key] = said[key] || say.Say(key) != ""
	}
	optional := func(key string) {
		if say.Has(key) {
			mark(key)
		}
	}
	var look func(fields []field)
	look = func(fields []field) {
		for _, d := range fields {
			if d.kind == kindUntyped {
				continue
			}
			own := say.Has(d.ownKey())
			if own {
				mark(d.ownKey())
			} else {
				mark(d.commonKey())
				optional(d.commonKey() + ".help")
			}
			optional(d.ownKey() + ".help")
			for _, key := range d.enum {
				mark("choice." + d.name + "." + key)
			}
			look(d.inner)
		}
	}
	forms := append(newForms(), newDaySheet())
	for _, s := range newSections() {
		forms = append(forms, s.form)
	}
	for i := range forms {
		f := &forms[i]
		for _, key := range []string{"form." + f.slug(), "form." + f.slug() + ".about"} {
			mark(key)
		}
		optional("form." + f.slug() + ".button")
		look(f.fields)
	}
	look(tokenFields())
	look(personFields())
	look([]field{keyField()})
	for list, keys := range map[string][]string{"methods": {"brush", "roller", "spray"}, "places": {"store", "van-1", "van-2"}} {
		for _, key := range keys {
			mark("choice." + list + "." + key)
		}
	}
	for _, table := range importTables(nil) {
		for _, c := range table.Columns {
			mark(columnKey(table.Key, c))
			if got := say.Say(columnKey(table.Key, c)); got != c.Meaning {
				t.Errorf("column %s of %s is %q, the reader of tables says %q", c.Name, table.Key, got, c.Meaning)
			}
		}
	}
	for _, c := range history.CustomerColumns() { // package customers says them
		mark("column.customers." + c.Name)
		if got := say.Say("column.customers." + c.Name); got != c.Meaning {
			t.Errorf("column %s of customers is %q, the reader of tables says %q", c.Name, got, c.Meaning)
		}
	}
	must(t, say.Err)
	for _, key := range say.Keys() {
		prefix, _, _ := strings.Cut(key, ".")
		if slices.Contains([]string{"form", "field", "choice", "column"}, prefix) && !said[key] {
			t.Errorf("nobody says %s", key)
		}
	}
}

// TestEverySettingIsOnAPage: what no page shows could never be changed.
func TestEverySettingIsOnAPage(t *testing.T) {
	shown := map[string]bool{}
	for _, s := range newSections() {
		for _, member := range s.members {
			shown[member] = s.slug != firstSection || shown[member]
		}
	}
	for _, d := range formKinds()[events.FirmSettingsChanged].fields {
		if !shown[d.name] {
			t.Errorf("no page of the settings shows %s", d.name)
		}
	}
}

// translated are the pages of the office, each of which says everything in the language
// of the firm.
func translated(laid string) []string {
	all := []string{"/office", "/office/firm", "/office/settings", "/office/tokens", "/office/people", "/office/import",
		"/office/record/hours-booked", "/office/record/event-voided?job=hall&event=" + laid}
	for _, f := range append(newForms(), newDaySheet()) {
		if path := f.path; !f.kind.OfFirm() && f.kind != events.JobOpened {
			all = append(all, path+"?job=hall")
		} else {
			all = append(all, path)
		}
	}
	for _, s := range newSections() {
		all = append(all, s.path)
	}
	return append(all, "/office/record/job-opened?job=hall")
}

// TestOfficeInGerman compares each page with itself in English: what is the same in both
// comes from the firm, or was forgotten.
func TestOfficeInGerman(t *testing.T) {
	s := newStack(t)
	s.settle("en-IE")
	s.put("hall", events.JobOpened, events.Opening{JobType: "exterior", Title: "Hall and landing"})
	laid := s.put("hall", events.ProtectionLaid, events.Protection{Task: "protect-floor", QuantityMilli: 38_500,
		Unit: events.SquareMetre, Location: "Hall", RemoveBy: "2026-06-25"})
	for _, name := range []string{"Olga", "Anna"} {
		must(t, s.people.Add(t.Context(), "office", httpd.Person{Firm: "north", Name: name, Role: httpd.RoleOwner}, "seven invented words", nil))
	}
	must(t, s.people.Disable(t.Context(), "office", "north", "Anna", true))
	english := map[string][]string{}
	for _, path := range translated(laid) {
		english[path] = browsertest.Words(t, s.get("owner", path).body)
	}
	s.sent("/office/settings/firm", "locale", "de-AT")
	for _, path := range translated(laid) {
		r := s.get("owner", path)
		if r.status != 200 || !strings.Contains(r.body, `<html lang="de">`) || strings.Contains(r.body, ` lang="en"`) {
			t.Errorf("%s: %d in another language", path, r.status)
		}
		for _, word := range browsertest.Words(t, r.body) {
			if slices.Contains(english[path], word) && !slices.Contains(firms(), word) {
				t.Errorf("%s says %q in both languages", path, word)
			}
		}
	}
	refused := s.fill("/office/record/hours-booked?job=hall", "minutes", "seven", "person", "", "task", "").text()
	for _, want := range []string{"3 Felder lassen sich so nicht annehmen", "Etwas auswählen.", "Stunden wie 1:30, 1,5 h oder 90 min."} {
		if !strings.Contains(refused, want) {
			t.Errorf("a form that was not taken does not say %q: %s", want, refused)
		}
	}
	if r := s.fill("/office/record/job-opened", "title", strings.Repeat("x", 300), "key", "hall-2", "job_type", "exterior"); r.status != 422 ||
		!strings.Contains(r.text(), "Höchstens 120 Bytes.") {
		t.Errorf("a rule of the ledger: status %d: %s", r.status, r.text())
	}
}

// firms are words that come from the firm, or that are spelled alike; and the names of the
// columns, as they stand in files.
func firms() []string {
	var columns []string
	for _, table := range importTables(nil) {
		for _, c := range table.Columns {
			columns = append(columns, c.Name)
		}
	}
	return append(columns, "daysheet", "north", "Hall and landing", "Hall and landing (hall)", "Exterior", "Stairwell and joinery",
		"Name", "Matt", "h:mm", "EUR", "m²", "°C", "µm", "l", "m²/l", "Una", "Bo", "Painter", "Apprentice", "Strip paper",
		"Wall paint, matt", "Floor board", "Invented Decorators", "Europe/Vienna", "m", "kg", "board", "wall-matt",
		"owner", "clerk", "reader", "Olga", "Anna", "c-17", "Ida Invented", "10\u00a0l", "Stairwell and joinery; Exterior",
		"Una (painter); Bo (apprentice)")
}

// TestTemplatesSayNothingThemselves: what is read on a page stands in package texts.
func TestTemplatesSayNothingThemselves(t *testing.T) {
	action := regexp.MustCompile(`(?s)\{\{.*?\}\}`)
	for _, pattern := range []string{"templates", "templates/parts"} {
		entries, err := os.ReadDir(pattern)
		must(t, err)
		for _, e := range entries {
			if e.IsDir() {
				continue
			}
			raw, err := os.ReadFile(pattern + "/" + e.Name())
			must(t, err)
			for _, word := range browsertest.Words(t, action.ReplaceAllString(string(raw), "")) {
				if !strings.HasPrefix(word, "required aria-") { // attributes in a part of their own
					t.Errorf("%s says %q itself", e.Name(), word)
				}
			}
		}
	}
}

// TestSettingsNotShownAreKept: a page of the settings changes its own members and leaves
// every other one as it is.
func TestSettingsNotShownAreKept(t *testing.T) {
	s := newStack(t)
	whole := events.Settings{Name: "Invented Decorators", Currency: "EUR", TimeZone: "Europe/Vienna", Locale: "en-IE",
		VATBasisPoints: 2_000, MeasuredBy: events.MeasureNet, Warranty: "Two years on our work.",
		JobTypes: []events.JobType{{JobType: "exterior", Name: "Exterior"}},
		Grades:   []events.Grade{{Grade: "painter", CostPerHourE4: 384_500}},
		Tasks:    []events.FirmTask{{Task: "strip", Family: events.FamilyPreparation, Unit: events.SquareMetre, Name: "Strip paper"}},
		People:   []events.FirmPerson{{Person: "una", Name: "Una", Grade: "painter"}},
		Overhead: &events.Overhead{PerHourE4: 45_000},
		Pricing:  &events.Pricing{Method: events.PricingMarkUp, BasisPoints: 2_500}}
	s.put(events.FirmJob, events.FirmSettingsChanged, whole)
	before, err := events.Canonical(s.last("firm").Data)
	must(t, err)
	for _, section := range newSections() {
		s.sent(section.path)
		s.is(s.last("firm"), events.FirmSettingsChanged, string(before))
	}
	s.sent("/office/settings/warranty", "warranty", "Five years on our work.")
	s.is(s.last("firm"), events.FirmSettingsChanged, strings.Replace(string(before), "Two years", "Five years", 1))
	if shown := s.get("owner", "/office/settings").text(); !strings.Contains(shown, "Five years on our work.") {
		t.Errorf("the settings are %s", shown)
	}
}
