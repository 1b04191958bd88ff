package main

import (
	"bytes"
	"encoding/json"
	"image"
	"image/color"
	"image/jpeg"
	"maps"
	"net/http/httptest"
	"slices"
	"strings"
	"testing"
	"time"

	"daysheet/events"
	"daysheet/services/crew/phonetest"
	"daysheet/services/httpd"
)

// site is a ledger with one running job, at the end of a line that can be cut.
type site struct {
	t       *testing.T
	app     *app
	line    *phonetest.Line
	address string
	secret  string // of the phone
	told    int    // events that were there before the day began
}

const siteJob = "flat-2"

// openSite invents a firm and a job for it.
func openSite(t *testing.T) *site {
	t.Helper()
	s := &site{t: t, app: mustOpen(t, t.TempDir()), line: &phonetest.Line{}}
	t.Cleanup(func() { mustClose(t, s.app) })
	morning := time.Now().Add(-24 * time.Hour).UTC().Format(time.RFC3339)
	record := func(job string, happened map[events.Type]any, order ...events.Type) {
		var list []events.Event
		for _, kind := range order {
			data, err := json.Marshal(happened[kind])
			if err != nil {
				t.Fatal(err)
			}
			list = append(list, events.Event{ID: "told-" + strings.ReplaceAll(string(kind), ".", "-"), Source: "/tests",
				Type: kind, Subject: job, Time: morning, Data: data})
		}
		if _, err := s.app.log.Record(t.Context(), demoFirm, job, "office", list); err != nil {
			t.Fatal(err)
		}
	}
	record(events.FirmJob, map[events.Type]any{
		events.FirmSettingsChanged: events.Settings{Name: "Invented Decorators", Currency: "EUR", TimeZone: "UTC",
			Locale: "en-IE", JobTypes: []events.JobType{{JobType: "occupied", Name: "Occupied redecoration"}},
			Grades: []events.Grade{{Grade: "painter", CostPerHourE4: 384500}},
			People: []events.FirmPerson{{Person: "una", Name: "Una", Grade: "painter"}, {Person: "bo", Name: "Bo",
				Grade: "painter"}}},
		events.ProductListed: events.Product{Product: "wall-matt", Name: "Wall paint, matt", Unit: events.Litre,
			PriceE4: 97300},
	}, events.FirmSettingsChanged, events.ProductListed)
	record(siteJob, map[events.Type]any{
		events.JobOpened: events.Opening{JobType: "occupied", Title: "Flat, four rooms, in use"},
		events.EstimateIssued: events.Estimate{PriceE4: 18_000_000,
			Lines: []events.EstimateLine{
				{Task: "protect-floor", QuantityMilli: 60_000, Unit: events.SquareMetre, Minutes: 240},
				{Task: "coat", Surface: "wall", QuantityMilli: 180_000, Unit: events.SquareMetre, Minutes: 1080}},
			Materials: []events.EstimateMaterial{{Product: "wall-matt", QuantityMilli: 20_000, Unit: events.Litre}}},
		events.EstimateAccepted: events.Acceptance{Estimate: "told-daysheet-estimate-issued-v1"},
	}, events.JobOpened, events.EstimateIssued, events.EstimateAccepted)
	s.told = len(s.ledger())
	var err error
	s.secret, err = s.app.tokens.Add(t.Context(), "tests", httpd.Token{Firm: demoFirm, Name: "Van 2", Scopes: []httpd.Scope{httpd.ScopeRecord}})
	if err != nil {
		t.Fatal(err)
	}
	s.line.Serve(s.app.server.Engine)
	server := httptest.NewServer(s.line)
	t.Cleanup(server.Close)
	s.address = server.URL
	return s
}

// ledger returns what was recorded on the job.
func (s *site) ledger() []events.Event {
	s.t.Helper()
	stored, err := s.app.log.Commits(s.t.Context(), demoFirm, siteJob, 0)
	if err != nil {
		s.t.Fatal(err)
	}
	var list []events.Event
	for _, c := range stored {
		commit, err := events.DecodeCommit(c.Raw)
		if err != nil {
			s.t.Fatal(err)
		}
		list = append(list, commit.Events...)
	}
	return list[s.told:]
}

// phone opens the job on a phone with the profile.
func (s *site) phone(profile string) (p *phonetest.Phone, kill func()) {
	s.t.Helper()
	p, kill = phonetest.Start(s.t, s.address, s.line, profile)
	p.SignIn(s.secret)
	p.Open("/crew/jobs/" + siteJob)
	return p, kill
}

// picture returns an invented photo, each n another.
func picture(t *testing.T, n int) []byte {
	t.Helper()
	drawn := image.NewGray(image.Rect(0, 0, 800, 600))
	for y := range 600 {
		for x := range 800 {
			drawn.SetGray(x, y, color.Gray{uint8(x*y/900 + 40*n)})
		}
	}
	var b bytes.Buffer
	if err := jpeg.Encode(&b, drawn, nil); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// TestDayOnSite plays a day through on a phone against the whole program. The line
// is cut five times, in five ways, and once the phone goes out with it. In the end
// the ledger has everything that was saved, once.
func TestDayOnSite(t *testing.T) {
	s := openSite(t)
	profile := t.TempDir()
	p, kill := s.phone(profile)

	p.Tap("Condition before")
	p.Photograph("photos", picture(t, 1))
	p.Fill("location", "Hall")
	p.Fill("finding", "scratched skirting")
	p.Save()
	s.line.Lose(2) // first cut: the answers are lost
	p.Tap("Protection laid")
	p.Fill("quantity_milli", "42,5")
	p.Tap("Protect floor")
	p.Save()
	p.Sent()

	s.line.Cut(true) // second cut: nothing gets through, and the page is loaded anew
	p.Tap("Hours")
	p.Tap("Una")
	p.Tap("Coat surface")
	p.Fill("minutes", "3:45")
	p.Save()
	p.Open("/crew/jobs/" + siteJob)
	p.Tap("Checked: Protect floor")
	p.Tap("In order")
	p.Save()
	p.OnLine()
	p.Sent()

	p.Tap("Damage")
	p.Photograph("photos", picture(t, 2))
	p.Fill("location", "Hall")
	p.Fill("item", "Mirror")
	p.Fill("finding", "corner broken")
	s.line.Lose(3) // third cut: of the photo, and of its entry
	p.Save()
	p.Sent()
	p.Tap("Coat")
	p.Fill("quantity_milli", "60")
	p.Tap("Coat surface")
	p.Save()

	s.line.Cut(true) // fourth cut: the phone goes out with entries on it
	p.Tap("Snag")
	p.Photograph("photos", picture(t, 3))
	p.Fill("location", "Kitchen")
	p.Fill("finding", "edge not straight")
	p.Save()
	p.Tap("Material used")
	p.Tap("Wall paint, matt")
	p.Fill("quantity_milli", "0,5")
	p.Save()
	kill()
	p, _ = phonetest.Start(t, s.address, s.line, profile)
	p.Open("/crew/jobs/" + siteJob)
	p.Tap("Hours")
	p.Tap("Bo")
	p.Tap("Coat surface")
	p.Fill("minutes", "7:30")
	p.Save()
	p.SignIn(s.secret) // browsers write cookies down only now and then
	p.OnLine()
	p.Sent()

	s.line.Cut(true) // fifth cut: it comes back and loses answers
	p.Tap("Lifted: Protect floor")
	p.Fill("quantity_milli", "40")
	p.Save()
	p.Tap("Take back: 7:30 hours")
	p.Tap("Wrong amount")
	p.Tap("Take back")
	p.Wait(`document.querySelector('form') === null`)
	s.line.Lose(2)
	p.OnLine()
	p.Sent()
	s.compare(p, 11)
}

// compare checks that the ledger has exactly what the phone saved, each once, and the
// photos that it names.
func (s *site) compare(p *phonetest.Phone, n int) {
	s.t.Helper()
	saved := phonetest.Eval[[]string](p, `(await all('outbox')).map((i) => i.event.id)`)
	times := map[string]int{}
	var photos []string
	for _, e := range s.ledger() {
		times[e.ID]++
		var named struct{ Photos []string }
		if err := json.Unmarshal(e.Data, &named); err != nil {
			s.t.Fatal(err)
		}
		photos = append(photos, named.Photos...)
	}
	doubled, lost := 0, 0
	for _, id := range saved {
		if times[id] == 0 {
			lost++
		}
		doubled += max(0, times[id]-1)
	}
	s.t.Logf("%d saved, %d in the ledger, %d lost, %d doubled; %d answers lost on the way", len(saved), len(times),
		lost, doubled,
		s.line.Lost())
	slices.Sort(saved)
	if lost+doubled > 0 || len(saved) != n || !slices.Equal(saved, slices.Sorted(maps.Keys(times))) {
		s.t.Errorf("the phone saved %q, the ledger has %v", saved, times)
	}
	for _, digest := range photos {
		if _, err := s.app.photos.Stat(s.t.Context(), demoFirm, digest); err != nil {
			s.t.Error(err)
		}
	}
	if len(photos) != 3 || s.line.Lost() < 5 {
		s.t.Errorf("%d photos, %d answers lost", len(photos), s.line.Lost())
	}
}
