package crew

import (
	"bytes"
	"context"
	"fmt"
	"image/png"
	"net/http"
	"net/url"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	qr "github.com/piglig/go-qr"

	"daysheet/services/httpd/browsertest"
)

// small finds what is too small to tap.
const small = `[...document.querySelectorAll('button, .button, input:not([type=hidden], [type=radio], [type=checkbox]), select, summary, nav ul a, .choices span')]
	.filter((e) => e.getClientRects().length > 0 && e.getBoundingClientRect().height < 47.5).map((e) => e.outerHTML)`

// lookAt checks the page that is shown in each way: no finding of axe-core, no
// sideways scrolling, and nothing too small.
func (p *phone) lookAt(name string) {
	p.t.Helper()
	for _, view := range browsertest.Views() {
		view.Set(p.t, p.ctx)
		seen := fmt.Sprintf("%d-%s-%s", view.Width, view.Scheme, name)
		browsertest.Look(p.t, p.ctx, seen)
		for _, e := range eval[[]string](p, small) {
			p.t.Errorf("%s: too small to tap: %s", seen, e)
		}
		// The content scrolls between the bars, so a picture of all of it needs a high window.
		high := eval[int64](p, `(() => { const main = document.querySelector('main'); return innerHeight + main.scrollHeight - main.clientHeight })()`)
		must(p.t, chromedp.Do(p.ctx, chromedp.EmulateViewport(view.Width, high)))
		browsertest.KeepPicture(p.t, p.ctx, seen)
	}
	must(p.t, chromedp.Do(p.ctx, chromedp.EmulateViewport(360, 800)))
}

// quiet runs look and fails for every message on the console meanwhile.
func (p *phone) quiet(look func()) {
	p.t.Helper()
	for _, message := range browsertest.Console(p.t, p.ctx, look) {
		p.t.Errorf("on the console: %s", message)
	}
}

// TestPagesOfThePhone looks at each page with entries waiting, refused and sent.
func TestPagesOfThePhone(t *testing.T) {
	t.Parallel()
	s := newStack(t)
	p := ready(t, s)
	bookHours(p, "2:00")
	p.tap("Lifted: Mask edge")
	p.fill("quantity_milli", "99")
	p.tap("Save")
	p.wait(`(await count('rejected')) === 1 && (await count('done')) === 1`)
	seq := eval[int](p, `(await all('outbox')).find((i) => i.state === 'rejected').seq`)
	paths := []string{"/crew", "/crew/jobs/" + flat, "/crew/jobs/nowhere", "/crew/outbox", "/crew/help",
		fmt.Sprintf("/crew/outbox#edit=%d", seq), "/crew/jobs/" + flat + "#void=" + hoursID}
	for _, kind := range []string{"hours", "coat", "laid", "lifted", "prepared", "material", "damage", "good", "snag",
		"cleared", "condition", "note", "again=" + hoursID} {
		paths = append(paths, "/crew/jobs/"+flat+"#"+kind)
	}
	for _, path := range paths {
		t.Run(path, func(t *testing.T) {
			p.t = t
			p.quiet(func() {
				p.open(path)
				if strings.Contains(path, "#") {
					p.wait(`document.querySelector('form') !== null`)
					eval[bool](p, `(document.querySelectorAll('details').forEach((d) => { d.open = true; }), true)`)
				}
				p.lookAt(path)
			})
		})
	}
	p.t = t
	p.open("/crew/jobs/" + flat + "#hours")
	p.fill("minutes", "x")
	p.tap("Save")
	p.wait(`document.querySelector('.problem[data-of]') !== null`)
	p.lookAt("wrong")
}

// TestKeyboardAlone records hours without a touch of the screen.
func TestKeyboardAlone(t *testing.T) {
	t.Parallel()
	s := newStack(t)
	p := ready(t, s)
	before := len(s.ledger(flat, 0))
	must(t, chromedp.Do(p.ctx, chromedp.Focus(chromedp.CSS(`a[href="#hours"]`)), chromedp.KeyEvent("\r")))
	p.wait(`document.querySelector('form') !== null && document.activeElement === document.querySelector('h1')`)
	must(t, chromedp.Do(p.ctx, chromedp.Focus(chromedp.CSS(`input[name=task]`)), chromedp.KeyEvent(" "),
		chromedp.Focus(chromedp.CSS("#f-minutes")), chromedp.KeyEvent("3:15\r")))
	p.sent()
	checkMinutes(t, s, before, 195)
}

// TestPairing makes a code in the office, reads it from the screen as a phone's camera
// would, pairs a phone once, and takes its access away.
func TestPairing(t *testing.T) {
	t.Parallel()
	s := newStack(t)
	tell(s)
	office := newPhone(t, s, "office")
	show := func(path string) { must(t, chromedp.Do(office.ctx, chromedp.Navigate(s.address+path))) }
	submit := func(name string) {
		must(t, chromedp.Do(office.ctx, chromedp.Clear(chromedp.CSS("#name")), chromedp.SendKeys(chromedp.CSS("#name"),
			name+"\r")))
	}
	show("/crew/pair")
	office.quiet(func() { office.lookAt("phones") })
	submit("van-2")
	office.wait(`document.querySelector('#name-problem') !== null`)
	office.lookAt("phones-refused")
	submit("Phone of Bo")
	office.wait(`document.querySelector('svg.code') !== null`)
	office.quiet(func() { office.lookAt("phones-code") })
	link := eval[string](office, `document.querySelector('code').textContent`)
	if got := readCode(t, office.ctx); got != link || !strings.HasPrefix(link, s.address+"/pair?code=") {
		t.Fatalf("the code says %q, the page %q", got, link)
	}

	phone, _ := startBrowser(t, s, t.TempDir())
	path := strings.TrimPrefix(link, s.address)
	must(t, chromedp.Do(phone.ctx, chromedp.Navigate(link)))
	phone.quiet(func() { phone.lookAt("pair") })
	if status, _, _ := s.request("GET", path, "van-2", ""); status != http.StatusOK {
		t.Errorf("looking at the link used it up: status %d", status)
	}
	must(t, chromedp.Do(phone.ctx, chromedp.Click(chromedp.CSS("main button"))))
	s.wait(func() bool {
		address, err := chromedp.Run(phone.ctx, chromedp.Location())
		return err == nil && address == s.address+"/crew"
	})
	phone.wait(`document.querySelector('#main').dataset.shown === location.href && document.documentElement.dataset.kept === 'yes'`)
	phone.open("/crew/jobs/" + flat)
	before := len(s.ledger(flat, 0))
	phone.tap("Hours")
	phone.tap("Bo")
	phone.tap("Coat surface")
	phone.fill("minutes", "4:00")
	phone.tap("Save")
	phone.sent()
	checkMinutes(t, s, before, 240)
	form := url.Values{"code": {strings.TrimPrefix(path, "/pair?code=")}}.Encode()
	if status, _, _ := s.request("POST", "/pair", "van-2", form, "Content-Type",
		"application/x-www-form-urlencoded"); status != http.StatusForbidden {
		t.Errorf("the link worked twice: status %d", status)
	}

	show("/crew/pair")
	office.wait(`document.querySelector('main')?.innerText.includes('Phone of Bo')`)
	office.tap("Take access away from Phone of Bo")
	office.wait(`document.querySelector('main')?.innerText.includes('Access taken away')`)
	phone.tap("Hours")
	phone.fill("minutes", "1:00")
	phone.tap("Save")
	phone.wait(`(await count('waiting')) === 1 && state().includes('no access')`)
	phone.open("/crew/jobs/" + flat)
	phone.wait(`document.querySelector('#notice-refused') !== null && !document.body.innerText.includes('four rooms')`)
	if kept := eval[int](phone, `(await (await caches.open('daysheet-crew-lists')).keys()).length`); kept != 0 {
		t.Error("the phone still keeps the list")
	}
	checkMinutes(t, s, before, 240)
}

// readCode reads the code from a picture of the screen.
func readCode(t *testing.T, ctx context.Context) string {
	t.Helper()
	raw, err := chromedp.Run(ctx, chromedp.Screenshot(chromedp.CSS("svg.code")))
	must(t, err)
	picture, err := png.Decode(bytes.NewReader(raw))
	must(t, err)
	text, err := qr.Decode(picture)
	must(t, err)
	return text
}
