package reporting

import (
	"context"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/services/httpd/browsertest"
)

// translatedPages are pages that say everything in the language of the firm.
func translatedPages() []string {
	pages := []string{"/", "/?state=finished", "/?state=running", "/reports", "/jobs/stair-1", "/jobs/stair-1/records",
		"/explain?job=stair-1&kind=labour&of=minutes", "/quotes", "/help"}
	for _, d := range reports.Definitions() {
		pages = append(pages, "/reports/"+d.Name)
		if !d.WholeFirm {
			pages = append(pages, "/reports/"+d.Name+"?job=stair-1")
		}
	}
	return pages
}

// sameInBoth are quantities with a unit that both languages write alike, and ids.
var sameInBoth = regexp.MustCompile(`^([+−]?[0-9]+\x{00a0}(m²|m|l|kg)|event-[0-9]+)$`)

// firmsWords are words of the invented firm, and those that English and German share.
func firmsWords() []string {
	return []string{"daysheet", "north", "Stairwell and joinery", "Occupied redecoration", "Exterior", "h:mm", "EUR",
		"JSON",
		"Wall paint, matt", "=Tape, 30 mm", "Floor board, reusable", "apprentice", "painter", "filler", "rope-access",
		"wall", "stranger", "floor", "roller", "customer-17", "Ground floor, doors", "Kitchen", "painter, wall, roller",
		"B-2207", "Wall paint, matt (l)", "=Tape, 30 mm (roll)", "Floor board, reusable (sheet)", "Exterior (1)",
		"Stairwell and joinery (1)", "Material", "Median", "Index"}
}

// speakGerman changes the firm's locale.
func (s *stack) speakGerman() {
	s.record("north", events.FirmJob, s.act(events.FirmSettingsChanged, "2026-06-29", events.Settings{
		Name: "Invented Decorators", Currency: "EUR", TimeZone: "Europe/Vienna", Locale: "de-AT",
		JobTypes: []events.JobType{{JobType: "stairwell", Name: "Stairwell and joinery"},
			{JobType: "occupied", Name: "Occupied redecoration"}, {JobType: "exterior", Name: "Exterior"}},
		Grades: []events.Grade{{Grade: "painter", CostPerHourE4: 384500}, {Grade: "apprentice", CostPerHourE4: 211000}},
	}))
}

// TestPagesInGerman compares each translated page with itself in English: what is the
// same in both comes from the firm, or was forgotten.
func TestPagesInGerman(t *testing.T) {
	s := newStack(t)
	tell(s)
	english := map[string][]string{}
	for _, path := range translatedPages() {
		english[path] = browsertest.Words(t, s.get("north", path, "Accept", "text/html").body)
	}
	s.speakGerman()
	firms := firmsWords()
	var rows struct{ Jobs []struct{ Job, Title string } }
	s.read("north", "/v1/jobs", &rows)
	for _, r := range rows.Jobs {
		firms = append(firms, r.Job, r.Title, r.Title+" · daysheet", r.Title+" ("+r.Job+")")
	}
	for _, path := range translatedPages() {
		a := s.get("north", path, "Accept", "text/html")
		german := browsertest.Words(t, a.body)
		if a.status != 200 || !strings.Contains(a.body, `<html lang="de">`) || strings.Contains(a.body, ` lang="en"`) ||
			!slices.Contains(german, "Aufträge") {
			t.Errorf("%s: %d in another language", path, a.status)
		}
		for _, word := range german {
			if slices.Contains(english[path], word) && !slices.Contains(firms, word) && !sameInBoth.MatchString(word) {
				t.Errorf("%s says %q in both languages", path, word)
			}
		}
	}
	if body := s.get("north", "/jobs/nowhere", "Accept", "text/html").body; strings.Contains(body, ` lang="en"`) ||
		!strings.Contains(body, "Einen solchen Auftrag gibt es nicht.") {
		t.Errorf("a problem in German: %s", body)
	}
	if a := s.get("south", "/", "Accept", "text/html"); !strings.Contains(a.body, `<html lang="en">`) {
		t.Error("another firm's page is in German")
	}
}

// TestTemplatesSayNothingThemselves: what is read on a translated page stands in
// package texts, but for the name of the program.
func TestTemplatesSayNothingThemselves(t *testing.T) {
	action := regexp.MustCompile(`\{\{.*?\}\}`)
	for _, name := range []string{"../pages/templates/layout.html", "../pages/templates/parts.html",
		"templates/board.html", "templates/reports.html",
		"templates/job.html", "templates/records.html", "templates/parts/timeline.html", "templates/report.html",
		"templates/explain.html",
		"templates/quote.html", "templates/help.html", "templates/licences.html",
		"../photos/templates/photos-add.html"} {
		raw, err := os.ReadFile(name)
		must(t, err)
		for _, word := range browsertest.Words(t, action.ReplaceAllString(string(raw), "")) {
			if strings.Trim(word, " ·") != "daysheet" {
				t.Errorf("%s says %q itself", name, word)
			}
		}
	}
}

// TestGermanInABrowser: nothing that axe-core minds, of the language neither.
func TestGermanInABrowser(t *testing.T) {
	s := newStack(t)
	tell(s)
	s.speakGerman()
	ctx := browse(t, s)
	for _, view := range []browsertest.View{{Width: 1280, Scheme: "light"}, {Width: 360, Scheme: "dark"}} {
		view.Set(t, ctx)
		for _, path := range []string{"/", "/reports", "/jobs/stair-1"} {
			lookAt(t, ctx, s.address+path, path)
			browsertest.KeepPicture(t, ctx, strings.Join([]string{"german", view.Scheme, path}, "-"))
		}
	}
	said := announced(t, ctx, s)
	if !strings.HasPrefix(said, "Um ") || !strings.Contains(said, " auf den neuen Stand gebracht: ") {
		t.Errorf("the page says %q", said)
	}
}

// announced records until the page in the browser says that something new came in.
func announced(t *testing.T, ctx context.Context, s *stack) string {
	t.Helper()
	must(t, chromedp.Do(ctx, chromedp.Navigate(s.address+"/")))
	said := make(chan error, 1)
	go func() { said <- chromedp.Do(ctx, chromedp.WaitVisible(chromedp.CSS(".live"))) }()
	for {
		select {
		case err := <-said:
			must(t, err)
			text, err := chromedp.Run(ctx, chromedp.Text(chromedp.CSS(".live [data-say]")))
			must(t, err)
			return text
		default:
			s.record("north", "flat-2", s.act(events.HoursBooked, "2026-06-18", events.Hours{Person: "una", Task: "coat",
				Minutes: 10}))
		}
	}
}
