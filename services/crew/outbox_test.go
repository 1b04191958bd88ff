package crew

import (
	"encoding/json"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"github.com/chromedp/chromedp"

	"daysheet/events"
)

// bookHours records hours from the page of the job.
func bookHours(p *phone, text string) {
	p.t.Helper()
	p.tap("Hours")
	p.fill("minutes", text)
	p.tap("Coat surface")
	p.tap("Save")
	p.wait(`document.querySelector('form') === null`)
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
			s.gate.set(func(g *gate) { g.cut = 2 }) // the browser itself may ask once more
		}
		book()
		s.gate.set(func(g *gate) { g.down = true })
		book()
		p.wait(`(await count('waiting')) > 0`)
		p.open("/crew/jobs/" + flat)
		if text := p.shown(); !strings.Contains(text, "Still down") {
			t.Fatalf("without a line the job shows\n%s", text)
		}
		book()
		p.open("/crew/outbox")
		p.open("/crew/jobs/" + flat)
		s.gate.set(func(g *gate) { g.cut = 0 })
		p.onLine()
		p.sent()
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
	s.gate.set(func(g *gate) { g.cut = 3 })
	bookHours(p, "3:00")
	p.sent()
	if got := eval[[]bool](p, `(await all('outbox')).map((i) => i.duplicate)`); len(got) != 1 || !got[0] {
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
	p, kill := startBrowser(t, s, profile)
	p.signIn("van-2")
	p.open("/crew/jobs/" + flat)
	before := len(s.ledger(flat, 0))
	s.gate.set(func(g *gate) { g.down = true })
	p.tap("Hours")
	p.tap("Una")
	p.tap("Coat surface")
	p.fill("minutes", "4:00")
	p.tap("Save")
	p.wait(`(await count('waiting')) === 1 && document.querySelector('form') === null`)
	p.tap("Damage") // half filled in when the phone goes out
	p.fill("item", "Window board")
	p.wait(`(await all('drafts')).some((d) => d.values.item === 'Window board')`)
	kill()

	p, _ = startBrowser(t, s, profile)
	p.open("/crew/jobs/" + flat)
	p.wait(`state().includes('1 waiting to be sent')`)
	p.tap("Damage")
	p.wait(`document.querySelector('#f-item')?.value === 'Window board'`)
	p.signIn("van-2") // browsers write cookies down only now and then
	p.onLine()
	p.wait(`(await count('waiting')) === 0 && (await count('done')) === 1`)
	checkMinutes(t, s, before, 240)
}

// TestTwoTabs records in two tabs without a line. When it is back one of them sends
// for both, each entry once.
func TestTwoTabs(t *testing.T) {
	t.Parallel()
	s := newStack(t)
	p := ready(t, s)
	q := p.tab()
	q.open("/crew/jobs/" + flat)
	before := len(s.ledger(flat, 0))
	s.gate.set(func(g *gate) { g.down = true })
	var want []int64
	for i := range 4 {
		for n, tab := range []*phone{p, q} {
			minutes := 100 + 10*i + n
			bookHours(tab, fmt.Sprintf("%d:%02d", minutes/60, minutes%60))
			want = append(want, int64(minutes))
		}
	}
	p.wait(`(await count('waiting')) === 8`)
	s.gate.set(func(g *gate) { g.down, g.posts = false, 0 })
	p.onLine()
	q.onLine()
	p.sent()
	q.sent()
	checkMinutes(t, s, before, want...)
	s.gate.set(func(g *gate) {
		if g.posts != len(want) {
			t.Errorf("%d entries were sent in %d requests", len(want), g.posts)
		}
	})
}

// TestRejectedIsMended sends what the ledger cannot take. It stays with the reason;
// what stands on it waits; it can be saved as a file, sent again, and changed.
func TestRejectedIsMended(t *testing.T) {
	t.Parallel()
	s := newStack(t)
	p := ready(t, s)
	before := len(s.ledger(flat, 0))
	p.tap("Lifted: Mask edge")
	p.fill("quantity_milli", "99")
	p.tap("Save")
	p.wait(`(await count('rejected')) === 1 && state().includes('1 not taken')`)
	bookHours(p, "2:30") // what comes after is not held up
	p.wait(`(await count('done')) === 1`)
	checkMinutes(t, s, before, 150)

	p.open("/crew/outbox")
	if text := p.shown(); !strings.Contains(text, "Not taken: How much: only 18.4 are still down") {
		t.Errorf("the outbox says\n%s", text)
	}
	eval[bool](p, `(() => { const make = URL.createObjectURL; URL.createObjectURL = (b) => { window.saved = b; return make(b); }; return true })()`)
	p.tap("Save as a file")
	var saved []map[string]any
	must(t, json.Unmarshal([]byte(eval[string](p, `await window.saved.text()`)), &saved))
	if len(saved) != 1 || saved[0]["type"] != string(events.ProtectionLifted) || saved[0]["specversion"] != "1.0" {
		t.Errorf("the file holds %v", saved)
	}
	p.tap("Send again")
	p.wait(`(await all('outbox')).some((i) => i.state === 'rejected' && i.tries > 0)`)
	p.tap("Change")
	p.wait(`document.querySelector('#f-quantity_milli')?.value === '99'`)
	p.fill("quantity_milli", "8.4")
	p.tap("Save")
	p.sent()
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
	p.tap("Lifted: Mask edge")
	p.fill("quantity_milli", "99")
	p.tap("Save")
	p.wait(`(await count('rejected')) === 1`)
	p.open("/crew/outbox")
	p.tap("Delete")
	p.tap("Really delete")
	p.wait(`(await all('outbox')).length === 0 && state() === 'Everything is sent.'`)
}

// TestLiftedWithoutALine lifts what was laid a moment ago, both still waiting, and
// takes care that the ledger gets them in their order.
func TestLiftedWithoutALine(t *testing.T) {
	t.Parallel()
	s := newStack(t)
	p := ready(t, s)
	before := len(s.ledger(flat, 0))
	s.gate.set(func(g *gate) { g.down = true })
	p.tap("Protection laid")
	p.tap("Protect floor")
	p.fill("quantity_milli", "20")
	p.tap("Save")
	p.wait(`document.querySelector('form') === null`)
	p.tap("Lifted: Protect floor, 20 m²")
	p.tap("Save")
	p.wait(`document.querySelector('form') === null && clickable('Lifted: Protect floor') === undefined`)
	p.onLine()
	p.sent()
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
	s.gate.set(func(g *gate) { g.down = true })
	right := p.shiftClock(-8 * 24 * time.Hour)
	p.open("/crew/jobs/" + flat)
	bookHours(p, "5:00")
	p.wait(`(await count('waiting')) === 1`)
	right()
	p.open("/crew/jobs/" + flat)
	p.wait(`document.querySelector('#notice-old') !== null`)
	p.onLine()
	p.sent()
	p.wait(`document.querySelector('#notice-old') === null`)
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
	before := len(s.ledger(flat, 0))
	p.shiftClock(3 * time.Hour)
	p.open("/crew/jobs/" + flat)
	bookHours(p, "5:00")
	p.sent()
	p.wait(`document.querySelector('#notice-clock')?.textContent.includes('180 minutes ahead')`)
	if e := s.ledger(flat, before)[0]; time.Until(e.OccurredAt()) < 2*time.Hour {
		t.Errorf("the entry is of %s", e.Time)
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
	old := eval[string](p, `document.querySelector('script').src`)
	p.tap("Damage")
	p.fill("location", "Bath")
	p.fill("finding", "cracked")
	p.wait(`(await all('drafts')).some((d) => d.values.finding === 'cracked')`)
	s.serveVersion(newVersion(t))
	eval[bool](p, `navigator.serviceWorker.getRegistration('/crew').then((r) => r.update()).then(() => true)`)
	p.wait(`document.querySelector('#use-version') !== null`)
	if got := eval[string](p, `document.querySelector('#f-finding').value`); got != "cracked" {
		t.Fatalf("the form holds %q", got)
	}
	p.tap("Use it now")
	s.wait(func() bool {
		// The page is loaded anew: until then there may be nothing to ask.
		script, err := chromedp.Run(p.ctx, chromedp.Evaluate[string](`document.querySelector('script')?.src ?? ''`))
		return err == nil && script != "" && script != old
	})
	p.wait(`document.querySelector('#f-finding')?.value === 'cracked' && document.querySelector('#f-location').value === 'Bath'`)
	p.fill("item", "Tile")
	p.tap("Save")
	p.sent()
}

// wait waits for a condition outside of the page.
func (s *stack) wait(condition func() bool) {
	s.t.Helper()
	limit := time.After(waitLimit)
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

// TestPhotoWaits takes a photo where the ledger does not take photos yet: it is made
// small and kept, its entry waits for it, what stands on the entry waits too, and
// what does not goes on.
func TestPhotoWaits(t *testing.T) {
	t.Parallel()
	s := newStack(t)
	p := ready(t, s)
	before := len(s.ledger(flat, 0))
	file := filepath.Join(t.TempDir(), "photo.png")
	writePhoto(t, file)
	p.tap("Damage")
	must(t, chromedp.Do(p.ctx, chromedp.SetUploadFiles(chromedp.CSS("#f-photos"), []string{file})))
	p.wait(`document.querySelectorAll('.photos img').length === 1 && (await all('photos')).length === 1`)
	photo := eval[struct {
		Longest, Bytes int
		Right          bool
	}](p, `(async () => {
		const { sha256, bytes, type } = (await all('photos'))[0];
		const picture = await createImageBitmap(new Blob([bytes], { type }));
		const sum = [...new Uint8Array(await crypto.subtle.digest('SHA-256',
			bytes))].map((b) => b.toString(16).padStart(2, '0')).join('');
		return { Longest: Math.max(picture.width, picture.height), Bytes: bytes.byteLength,
			Right: sum === sha256 && bytes instanceof ArrayBuffer };
	})()`)
	if photo.Longest != 1600 || photo.Bytes > 5<<20 || !photo.Right {
		t.Errorf("the photo that is kept: %+v", photo)
	}
	p.fill("location", "Hall")
	p.fill("item", "Mirror")
	p.fill("finding", "broken")
	p.wait(`(await all('drafts')).some((d) => d.values.finding === 'broken' && d.values.photos.length === 1)`)
	p.open("/crew/jobs/" + flat + "#damage")
	p.wait(`document.querySelectorAll('.photos img').length === 1`)
	p.tap("Save")
	p.wait(`document.querySelector('form') === null`)
	p.tap("Made good: broken")
	p.fill("work", "new glass")
	p.tap("Save")
	p.wait(`document.querySelector('form') === null`)
	bookHours(p, "1:30")
	p.wait(`(await count('done')) === 1 && (await count('waiting')) === 2 && state().includes('2 waiting')`)
	checkMinutes(t, s, before, 90)
}

// writePhoto writes an invented picture as large as a camera's.
func writePhoto(t *testing.T, file string) {
	t.Helper()
	picture := image.NewGray(image.Rect(0, 0, 3000, 2000))
	for y := range 2000 {
		for x := range 3000 {
			picture.SetGray(x, y, color.Gray{uint8(x*y/97 + x)})
		}
	}
	f, err := os.Create(file)
	must(t, err)
	must(t, png.Encode(f, picture))
	must(t, f.Close())
}
