package crew

import (
	"context"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"daysheet/events"
	"daysheet/services/crew/phonetest"
	"daysheet/services/httpd/browsertest"
)

// speakGerman changes the locale of the firm.
func (s *stack) speakGerman() {
	s.record("north", events.FirmJob, "office", s.act(events.FirmSettingsChanged, 1, events.Settings{
		Name: "Invented Decorators", Currency: "EUR", TimeZone: "UTC", Locale: "de-AT",
		JobTypes: []events.JobType{{JobType: "occupied", Name: "Occupied redecoration"}},
		Grades:   []events.Grade{{Grade: "painter", CostPerHourE4: 384500}},
		Tasks: []events.FirmTask{{Task: "paper-strip", Family: events.FamilyPreparation, Unit: events.SquareMetre,
			Name: "Strip paper"}},
		People: []events.FirmPerson{{Person: "una", Name: "Una", Grade: "painter"}, {Person: "bo", Name: "Bo",
			Grade: "painter"}},
	}))
}

// readable finds what is read or read out on the page that is shown, but for what says
// itself that it is English.
const readable = `(() => {
	const found = [document.title];
	const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT | NodeFilter.SHOW_ELEMENT);
	for (let node = walker.nextNode(); node; node = walker.nextNode()) {
		if (node.nodeType === Node.ELEMENT_NODE) {
			for (const name of ['aria-label', 'alt', 'title', 'placeholder']) found.push(node.getAttribute(name) ?? '');
		} else if (!node.parentElement.closest('[lang=en], noscript')) found.push(node.data);
	}
	return found.map((text) => text.trim()).filter((text) => /\p{L}/u.test(text));
})()`

// phonePaths are the pages of the phone, each of its forms among them.
func phonePaths(p *phonetest.Phone) []string {
	seq := phonetest.Eval[int](p, `(await all('outbox')).find((i) => i.state === 'rejected').seq`)
	paths := []string{"/crew", "/crew/jobs/" + flat, "/crew/jobs/nowhere", "/crew/outbox", "/crew/help",
		fmt.Sprintf("/crew/outbox#edit=%d", seq)}
	for _, kind := range []string{"hours", "coat", "laid", "lifted", "checked", "prepared", "material", "returned",
		"damage", "good", "snag", "cleared", "condition", "note", "photo", "again=" + hoursID, "void=" + hoursID} {
		paths = append(paths, "/crew/jobs/"+flat+"#"+kind)
	}
	return paths
}

// open opens a page of the phone with everything in it unfolded.
func open(p *phonetest.Phone, path string) {
	p.T.Helper()
	if page, form, found := strings.Cut(path, "#"); found && phonetest.Eval[bool](p, fmt.Sprintf(`location.pathname === %q`, page)) {
		phonetest.Eval[string](p, fmt.Sprintf(`(location.hash = %q)`, form))
		p.Wait(`document.querySelector('#main').dataset.shown === location.href`)
	} else {
		p.Open(path)
	}
	if strings.Contains(path, "#") {
		p.Wait(`document.querySelector('form') !== null`)
		phonetest.Eval[bool](p, `(document.querySelectorAll('details').forEach((d) => { d.open = true; }), true)`)
	}
}

// TestPhoneInGerman changes the firm's language while a phone is in use: it is offered
// the words like any new version, has them without a line, and then says nothing in
// English but what comes from the firm.
func TestPhoneInGerman(t *testing.T) {
	t.Parallel()
	s := newStack(t)
	p := ready(t, s)
	bookHours(p, "2:00")
	p.Tap("Lifted: Mask edge")
	p.Fill("quantity_milli", "99")
	p.Tap("Save")
	p.Wait(`(await count('rejected')) === 1 && (await count('done')) === 1`)
	english := map[string][]string{}
	for _, path := range phonePaths(p) {
		open(p, path)
		english[path] = phonetest.Eval[[]string](p, readable)
	}
	s.speakGerman()
	s.deps.Position("north") // until the store has it
	p.Open("/crew")
	phonetest.Eval[bool](p, `navigator.serviceWorker.getRegistration('/crew').then((r) => r.update()).then(() => true)`)
	p.Tap("Use it now")
	s.wait(func() bool {
		language, err := chromedp.Run(p.Ctx, chromedp.Evaluate[string](`document.documentElement.lang`))
		return err == nil && language == "de"
	})
	s.line.Cut(true)
	p.Open("/crew")
	p.Wait(`document.querySelector('#notice-kept').textContent.startsWith('Keine Verbindung')`)
	p.OnLine()
	firms := []string{"daysheet", "Una", "Bo", "Kitchen", "Hall", "<b>Hall</b>", "run on the door frame, Hall",
		"scratch", "Strip paper",
		"Flat, four rooms, in use", "Flat, four rooms, in use · daysheet", "Stairs", "Wall paint, matt", "Tape, 30 mm",
		"handrail, scratch, Hall", "km", "m", "m²", "kg", "window-frame"}
	browsertest.View{Width: 360, Scheme: "light"}.Set(t, p.Ctx)
	for _, path := range phonePaths(p) {
		open(p, path)
		for _, word := range phonetest.Eval[[]string](p, readable) {
			if slices.Contains(english[path], word) && !slices.Contains(firms, word) {
				t.Errorf("%s says %q in both languages", path, word)
			}
		}
		if wide := phonetest.Eval[int](p, `document.querySelector('main').scrollWidth - document.querySelector('main').clientWidth`); wide > 0 {
			t.Errorf("%s is %d pixels too wide", path, wide)
		}
		keepPicture(p, 360, "german-"+path)
	}
	lookAt(p, "german")
}

// TestNumbersInGerman: the comma is what stands before decimals, a point may be, and what
// could be a thousand is asked about; letters of German become letters of keys.
func TestNumbersInGerman(t *testing.T) {
	t.Parallel()
	s := newStack(t)
	tell(s)
	s.speakGerman()
	p := newPhone(t, s, "van-2")
	p.Open("/crew/jobs/" + flat)
	before := len(s.ledger(flat, 0))
	p.Tap("Anstrich")
	p.Tap("Fläche streichen")
	p.Fill("quantity_milli", "1.250")
	p.Fill("surface", "Türblatt außen")
	p.Tap("Speichern")
	p.Wait(`document.querySelector('.problem[data-of]')?.textContent === 'Das lässt sich auf zwei Arten lesen: 1250 oder 1,250 schreiben.'`)
	p.Fill("quantity_milli", "1250,5")
	p.Tap("Speichern")
	p.Wait(`document.querySelector('form') === null && (await count('done')) === 1`)
	if got := s.payloads(before); len(got) != 1 ||
		got[0] != `coat.applied {"coat":1,"quantity_milli":1250500,"surface":"tuerblatt-aussen","task":"coat","unit":"m2"}` {
		t.Errorf("the ledger has %q", got)
	}
	if text := p.Shown(); !strings.Contains(text, "1. Anstrich, Fläche streichen, 1\u00a0250,5 m²") {
		t.Errorf("the job shows\n%s", text)
	}
	p.Tap("Stunden")
	p.Fill("minutes", "7.33")
	p.Tap("Speichern")
	p.Wait(`document.querySelector('#f-minutes-problem')?.textContent === 'Stunden wie 7:30 oder 7,5 schreiben.'`)
}

// TestOfficeInGerman looks at the office's page of phones.
func TestOfficeInGerman(t *testing.T) {
	t.Parallel()
	s := newStack(t)
	tell(s)
	s.deps.Frame.Speak(func(ctx context.Context, firm string) (string, error) {
		names, err := s.deps.Names(ctx, firm)
		return names.Locale, err
	})
	ask := func() string {
		status, _, body := s.request("POST", "/crew/pair", "office", "name=Wagen+9", "Content-Type",
			"application/x-www-form-urlencoded",
			"Accept", "text/html")
		if status != http.StatusOK {
			t.Fatalf("status %d: %s", status, body)
		}
		return body
	}
	english := browsertest.Words(t, ask())
	s.speakGerman()
	s.deps.Position("north")
	body := ask()
	for _, word := range browsertest.Words(t, body) {
		if slices.Contains(english, word) && !slices.Contains([]string{"daysheet", "north", "van-2"}, word) {
			t.Errorf("the page of phones says %q in both languages", word)
		}
	}
	if !strings.Contains(body, `<html lang="de">`) || strings.Contains(body, ` lang="en"`) {
		t.Error("the page is in another language")
	}
}
