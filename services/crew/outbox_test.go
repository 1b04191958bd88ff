package crew

import (
	"encoding/json"
	"fmt"
	"io/fs"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"github.com/chromedp/chromedp"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/services/crew/phonetest"
)

// bookHours records hours from the page of the job.
func bookHours(p *phonetest.Phone, text string) {
	p.T.Helper()
	p.Tap("Hours")
	p.Fill("minutes", text)
	p.Tap("Coat surface")
	p.Save()
}

// checkMinutes checks that the ledger has exactly these bookings, each once.
func checkMinutes(t *testing.T, s *stack, n int, want ...int64) {
	t.Helper()
	got := map[int64]int{}
	for _, e := range s.ledger(flat, n) {
		payload, err := e.Payload()
		must(t, err)
		if h, ok := payload.(*events.Hours); ok {
			got[h.Minutes]++
		}
	}
	for _, minutes := range want {
		if got[minutes] != 1 {
			t.Errorf("%d minutes stand %d times in the ledger", minutes, got[minutes])
		}
	}
	if len(got) != len(want) {
		t.Errorf("the ledger has %v, not %v", got, want)
	}
}

// TestDayOfCuts records through a day on which the line is cut five times: the answer
// is lost after the ledger took the entry, or nothing gets through, and the page is
// loaded anew while entries wait. Nothing is lost and nothing counted twice.
func TestDayOfCuts(t *testing.T) {
	t.Parallel()
	s := newStack(t)
	p := ready(t, s)
	before := len(s.ledger(flat, 0))
	var want []int64
	minutes := 60
	book := func() {
		minutes++
		bookHours(p, fmt.Sprintf("%d:%02d", minutes/60, minutes%60))
		want = append(want, int64(minutes))
	}
	for cut := range 5 {
		book()
		if cut%2 == 0 {
			s.line.Lose(2) // the browser itself may ask once more
		}
		book()
		s.line.Cut(true)
		book()
		p.Wait(`(await count('waiting')) > 0`)
		p.Open("/crew/jobs/" + flat)
		if text := p.Shown(); !strings.Contains(text, "Still down") {
			t.Fatalf("without a line the job shows\n%s", text)
		}
		book()
		p.Open("/crew/outbox")
		p.Open("/crew/jobs/" + flat)
		s.line.Lose(0)
		p.OnLine()
		p.Sent()
	}
	checkMinutes(t, s, before, want...)
}

// TestCutAnswer loses the answer of a recording that the ledger took: the phone sends
// it again and learns that it was there.
func TestCutAnswer(t *testing.T) {
	t.Parallel()
	s := newStack(t)
	p := ready(t, s)
	before := len(s.ledger(flat, 0))
	s.line.Lose(3)
	bookHours(p, "3:00")
	p.Sent()
	if got := phonetest.Eval[[]bool](p, `(await all('outbox')).map((i) => i.duplicate)`); len(got) != 1 || !got[0] {
		t.Errorf("the receipt says duplicate: %v", got)
	}
	checkMinutes(t, s, before, 180)
}

// TestKilledWhileWaiting ends the browser without a warning while entries wait and the
// line is down, and starts it again, still without a line.
func TestKilledWhileWaiting(t *testing.T) {
	t.Parallel()
	s := newStack(t)
	tell(s)
	profile := t.TempDir()
	p, kill := phonetest.Start(t, s.address, s.line, profile)
	p.SignIn(s.secrets["van-2"])
	p.Open("/crew/jobs/" + flat)
	before := len(s.ledger(flat, 0))
	s.line.Cut(true)
	p.Tap("Hours")
	p.Tap("Una")
	p.Tap("Coat surface")
	p.Fill("minutes", "4:00")
	p.Tap("Save")
	p.Wait(`(await count('waiting')) === 1 && document.querySelector('form') === null`)
	p.Tap("Damage") // half filled in when the phone goes out
	p.Fill("item", "Window board")
	p.Wait(`(await all('drafts')).some((d) => d.values.item === 'Window board')`)
	kill()

	p, _ = phonetest.Start(t, s.address, s.line, profile)
	p.Open("/crew/jobs/" + flat)
	p.Wait(`state().includes('1 waiting to be sent')`)
	p.Tap("Damage")
	p.Wait(`document.querySelector('#f-item')?.value === 'Window board'`)
	p.SignIn(s.secrets["van-2"]) // browsers write cookies down only now and then
	p.OnLine()
	p.Wait(`(await count('waiting')) === 0 && (await count('done')) === 1`)
	checkMinutes(t, s, before, 240)
}

// TestTwoTabs records in two tabs without a line. When it is back one of them sends
// for both, each entry once.
func TestTwoTabs(t *testing.T) {
	t.Parallel()
	s := newStack(t)
	p := ready(t, s)
	q := p.Tab()
	q.Open("/crew/jobs/" + flat)
	before := len(s.ledger(flat, 0))
	s.line.Cut(true)
	var want []int64
	for i := range 4 {
		for n, tab := range []*phonetest.Phone{p, q} {
			minutes := 100 + 10*i + n
			bookHours(tab, fmt.Sprintf("%d:%02d", minutes/60, minutes%60))
			want = append(want, int64(minutes))
		}
	}
	p.Wait(`(await count('waiting')) === 8`)
	posts := s.line.Posts()
	s.line.Cut(false)
	p.OnLine()
	q.OnLine()
	p.Sent()
	q.Sent()
	checkMinutes(t, s, before, want...)
	if got := s.line.Posts() - posts; got != len(want) {
		t.Errorf("%d entries were sent in %d requests", len(want), got)
	}
}

// TestRejectedIsMended sends what the ledger cannot take. It stays with the reason;
// what stands on it waits; it can be saved as a file, sent again, and changed.
func TestRejectedIsMended(t *testing.T) {
	t.Parallel()
	s := newStack(t)
	p := ready(t, s)
	before := len(s.ledger(flat, 0))
	p.Tap("Lifted: Mask edge")
	p.Fill("quantity_milli", "99")
	p.Tap("Save")
	p.Wait(`(await count('rejected')) === 1 && state().includes('1 not taken')`)
	bookHours(p, "2:30") // what comes after is not held up
	p.Wait(`(await count('done')) === 1`)
	checkMinutes(t, s, before, 150)

	p.Open("/crew/outbox")
	if text := p.Shown(); !strings.Contains(text, "Not taken: How much: only 18.4 are still down") {
		t.Errorf("the outbox says\n%s", text)
	}
	phonetest.Eval[bool](p, `(() => { const make = URL.createObjectURL; URL.createObjectURL = (b) => { window.saved = b; return make(b); }; return true })()`)
	p.Tap("Save as a file")
	var saved []map[string]any
	must(t, json.Unmarshal([]byte(phonetest.Eval[string](p, `await window.saved.text()`)), &saved))
	if len(saved) != 1 || saved[0]["type"] != string(events.ProtectionLifted) || saved[0]["specversion"] != "1.0" {
		t.Errorf("the file holds %v", saved)
	}
	p.Tap("Send again")
	p.Wait(`(await all('outbox')).some((i) => i.state === 'rejected' && i.tries > 0)`)
	p.Tap("Change")
	p.Wait(`document.querySelector('#f-quantity_milli')?.value === '99'`)
	p.Fill("quantity_milli", "8.4")
	p.Tap("Save")
	p.Sent()
	var lifted *events.Lifting
	for _, e := range s.ledger(flat, before) {
		if payload, err := e.Payload(); err != nil {
			t.Error(err)
		} else if l, ok := payload.(*events.Lifting); ok {
			lifted = l
			if e.ID != saved[0]["id"] || e.Time != saved[0]["time"] {
				t.Errorf("the entry changed its id or its time: %s at %s", e.ID, e.Time)
			}
		}
	}
	if lifted == nil || lifted.QuantityMilli != 8400 {
		t.Errorf("lifted: %+v", lifted)
	}
}

// TestRejectedIsDeleted takes two taps.
func TestRejectedIsDeleted(t *testing.T) {
	t.Parallel()
	s := newStack(t)
	p := ready(t, s)
	p.Tap("Lifted: Mask edge")
	p.Fill("quantity_milli", "99")
	p.Tap("Save")
	p.Wait(`(await count('rejected')) === 1`)
	p.Open("/crew/outbox")
	p.Tap("Delete")
	p.Tap("Really delete")
	p.Wait(`(await all('outbox')).length === 0 && state() === 'Everything is sent.'`)
}

// TestLiftedWithoutALine lifts what was laid a moment ago, both still waiting, and
// takes care that the ledger gets them in their order.
func TestLiftedWithoutALine(t *testing.T) {
	t.Parallel()
	s := newStack(t)
	p := ready(t, s)
	before := len(s.ledger(flat, 0))
	s.line.Cut(true)
	p.Tap("Protection laid")
	p.Tap("Protect floor")
	p.Fill("quantity_milli", "20")
	p.Save()
	p.Tap("Lifted: Protect floor, 20 m²")
	p.Tap("Save")
	p.Wait(`document.querySelector('form') === null && clickable('Lifted: Protect floor') === undefined`)
	p.OnLine()
	p.Sent()
	if got := s.payloads(before); len(got) != 2 || !strings.HasPrefix(got[0],
		"protection.laid") || !strings.HasPrefix(got[1], "protection.lifted") {
		t.Errorf("the ledger has %q", got)
	}
}

// TestWeekWithoutALine records eight days ago and comes back today: the entry has the
// time at which it was made, and the page says that it waited long.
func TestWeekWithoutALine(t *testing.T) {
	t.Parallel()
	s := newStack(t)
	p := ready(t, s)
	before := len(s.ledger(flat, 0))
	s.line.Cut(true)
	right := p.ShiftClock(-8 * 24 * time.Hour)
	p.Open("/crew/jobs/" + flat)
	bookHours(p, "5:00")
	p.Wait(`(await count('waiting')) === 1`)
	right()
	p.Open("/crew/jobs/" + flat)
	p.Wait(`document.querySelector('#notice-old') !== null`)
	p.OnLine()
	p.Sent()
	p.Wait(`document.querySelector('#notice-old') === null`)
	checkMinutes(t, s, before, 300)
	if e := s.ledger(flat, before)[0]; time.Since(e.OccurredAt()) < 7*24*time.Hour {
		t.Errorf("the entry is of %s", e.Time)
	}
}

// TestWrongClock sends the phone's own time, and tells who holds it.
func TestWrongClock(t *testing.T) {
	t.Parallel()
	s := newStack(t)
	p := ready(t, s)
	p.ShiftClock(3 * time.Hour)
	p.Open("/crew/jobs/" + flat)
	bookHours(p, "5:00")
	p.Sent()
	p.Wait(`document.querySelector('#notice-clock')?.textContent.includes('180 minutes ahead')`)
	stored, err := s.log.Commits(t.Context(), "north", flat, 0)
	must(t, err)
	commit, err := events.DecodeCommit(stored[len(stored)-1].Raw)
	must(t, err)
	if ahead := commit.Events[0].OccurredAt().Sub(commit.RecordedAt); ahead < 2*time.Hour || ahead > 4*time.Hour {
		t.Errorf("the phone's time is %s, the ledger's %s", commit.Events[0].Time, commit.RecordedAt)
	}
	if !slices.Contains(s.marks(flat), string(reports.MarkClockAhead)) {
		t.Errorf("the office is shown %q", s.marks(flat))
	}
}

// newVersion returns the files of the pages with something changed in each script.
func newVersion(t *testing.T) fs.FS {
	t.Helper()
	changed := fstest.MapFS{}
	must(t, fs.WalkDir(embedded, ".", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		raw, err := fs.ReadFile(embedded, name)
		if filepath.Ext(name) == ".js" {
			raw = append(raw, "\n// version two\n"...)
		}
		changed[name] = &fstest.MapFile{Data: raw}
		return err
	}))
	return changed
}

// TestNewVersionKeepsTheForm brings a new version while a form is half filled in: it
// is offered and not forced, and what was typed is there again after it.
func TestNewVersionKeepsTheForm(t *testing.T) {
	t.Parallel()
	s := newStack(t)
	p := ready(t, s)
	old := phonetest.Eval[string](p, `document.querySelector('script').src`)
	p.Tap("Damage")
	p.Fill("location", "Bath")
	p.Fill("finding", "cracked")
	p.Wait(`(await all('drafts')).some((d) => d.values.finding === 'cracked')`)
	s.serveVersion(newVersion(t))
	phonetest.Eval[bool](p, `navigator.serviceWorker.getRegistration('/crew').then((r) => r.update()).then(() => true)`)
	p.Wait(`document.querySelector('#use-version') !== null`)
	if got := phonetest.Eval[string](p, `document.querySelector('#f-finding').value`); got != "cracked" {
		t.Fatalf("the form holds %q", got)
	}
	p.Tap("Use it now")
	s.wait(func() bool {
		// The page is loaded anew: until then there may be nothing to ask.
		script, err := chromedp.Run(p.Ctx, chromedp.Evaluate[string](`document.querySelector('script')?.src ?? ''`))
		return err == nil && script != "" && script != old
	})
	p.Wait(`document.querySelector('#f-finding')?.value === 'cracked' && document.querySelector('#f-location').value === 'Bath'`)
	p.Fill("item", "Tile")
	p.Tap("Save")
	p.Sent()
}

// wait waits for a condition outside of the page.
func (s *stack) wait(condition func() bool) {
	s.t.Helper()
	limit := time.After(time.Minute)
	tick := time.NewTicker(5 * time.Millisecond)
	defer tick.Stop()
	for !condition() {
		select {
		case <-tick.C:
		case <-limit:
			s.t.Fatal("it never came to be")
		}
	}
}

// TestSendingIsTriedLessAndLess watches the pauses between tries while the line is
// down: each about twice as long as the one before it, up to a minute; and a change
// of what is kept is on disk before the reader is told of it.
func TestSendingIsTriedLessAndLess(t *testing.T) {
	t.Parallel()
	s := newStack(t)
	p := ready(t, s)
	before := len(s.ledger(flat, 0))
	s.line.Cut(true)
	// What would wait for seconds is run at once and written down.
	phonetest.Eval[bool](p, `(() => {
		window.pauses = [];
		window.changes = [];
		const wait = window.setTimeout;
		window.setTimeout = (run, after, ...more) => {
			if (after >= 1000) window.pauses.push(after);
			return wait(run, after >= 1000 ? 0 : after, ...more);
		};
		const begin = IDBDatabase.prototype.transaction;
		IDBDatabase.prototype.transaction = function (...given) {
			const begun = begin.apply(this, given);
			if (begun.mode === 'readwrite') window.changes.push(begun.durability);
			return begun;
		};
		return true;
	})()`)
	bookHours(p, "2:00")
	p.Wait(`window.pauses.length >= 9`)
	pauses := phonetest.Eval[[]float64](p, `window.pauses.slice(0, 9)`)
	for n, pause := range pauses {
		about := min(60_000, 2_000*float64(int(1)<<n))
		if pause < 0.75*about || pause > 1.25*about {
			t.Errorf("pause %d was %v ms, not about %v", n, pause, about)
		}
	}
	changes := phonetest.Eval[[]string](p, `window.changes`)
	if len(changes) == 0 || slices.ContainsFunc(changes, func(c string) bool { return c != "strict" }) {
		t.Errorf("changes were kept with durability %q", changes)
	}
	p.OnLine()
	p.Sent()
	checkMinutes(t, s, before, 120)
}
