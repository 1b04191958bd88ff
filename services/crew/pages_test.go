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

	"daysheet/services/crew/phonetest"
	"daysheet/services/httpd"
	"daysheet/services/httpd/browsertest"
)

// small finds what is too small to tap on the phone.
const small = `[...document.querySelectorAll('body.phone :is(button, .button, select, summary, nav ul a, .back a, .choices span,' +
	'input:not([type=hidden], [type=radio], [type=checkbox]))')].filter((e) => e.getClientRects().length > 0 && e.getBoundingClientRect().height < 47.5).map((e) => e.outerHTML)`

// lookAt checks the page that is shown in each way: no finding of axe-core, no
// sideways scrolling, and nothing too small.
func lookAt(p *phonetest.Phone, name string) {
	p.T.Helper()
	for _, view := range browsertest.Views() {
		view.Set(p.T, p.Ctx)
		seen := fmt.Sprintf("%d-%s-%s", view.Width, view.Scheme, name)
		browsertest.Look(p.T, p.Ctx, seen)
		for _, e := range phonetest.Eval[[]string](p, small) {
			p.T.Errorf("%s: too small to tap: %s", seen, e)
		}
		keepPicture(p, view.Width, seen)
	}
	must(p.T, chromedp.Do(p.Ctx, chromedp.EmulateViewport(360, 800)))
}

// keepPicture keeps a picture of all that can be scrolled to. The content scrolls between
// the bars, so it needs a high window.
func keepPicture(p *phonetest.Phone, width int64, name string) {
	p.T.Helper()
	high := phonetest.Eval[int64](p, `(() => {
		const main = document.querySelector('main');
		return innerHeight + main.scrollHeight - main.clientHeight;
	})()`)
	must(p.T, chromedp.Do(p.Ctx, chromedp.EmulateViewport(width, high)))
	browsertest.KeepPicture(p.T, p.Ctx, name)
}

// quiet runs look and fails for every message on the console meanwhile.
func quiet(p *phonetest.Phone, look func()) {
	p.T.Helper()
	for _, message := range browsertest.Console(p.T, p.Ctx, look) {
		p.T.Errorf("on the console: %s", message)
	}
}

// TestPagesOfThePhone looks at each page with entries waiting, refused and sent.
func TestPagesOfThePhone(t *testing.T) {
	t.Parallel()
	s := newStack(t)
	p := ready(t, s)
	bookHours(p, "2:00")
	p.Tap("Lifted: Mask edge")
	p.Fill("quantity_milli", "99")
	p.Tap("Save")
	p.Wait(`(await count('rejected')) === 1 && (await count('done')) === 1`)
	for _, path := range phonePaths(p) {
		t.Run(path, func(t *testing.T) {
			p.T = t
			quiet(p, func() {
				open(p, path)
				lookAt(p, path)
			})
		})
	}
	p.T = t
	p.Open("/crew/jobs/" + flat + "#hours")
	p.Fill("minutes", "x")
	p.Tap("Save")
	p.Wait(`document.querySelector('.problem[data-of]') !== null`)
	lookAt(p, "wrong")
	s.line.Cut(true)
	p.Open("/crew")
	p.Wait(`document.querySelector('#notice-kept') !== null`)
	lookAt(p, "without-line")
	s.line.Cut(false)
	passwordInTheHelp(p, s)
}

// passwordInTheHelp: who signed in by name finds there where the password is changed, and
// the way out. A token has neither.
func passwordInTheHelp(p *phonetest.Phone, s *stack) {
	p.T.Helper()
	const way, known = `document.querySelector('main a[href="/password"]')`, `navigator.onLine &&
		(await (await fetch('/v1/crew/day')).json()).device === `
	p.Open("/crew/help")
	p.Wait(known + `"van-2"`)
	if !phonetest.Eval[bool](p, way+` === null`) {
		p.T.Error("the help leads a token to a password")
	}
	const password = "five invented words for them"
	must(p.T, s.people.Add(p.T.Context(), "tests", httpd.Person{Firm: "north", Name: "Bo", Role: httpd.RoleCrew},
		password, nil))
	secret, _, _, err := s.people.SignIn(p.T.Context(), "Bo", password, "127.0.0.1", false)
	must(p.T, err)
	p.SignIn(secret)
	p.Open("/crew/help")
	p.Wait(way + ` !== null`)
	lookAt(p, "help-by-name")
	must(p.T, chromedp.Do(p.Ctx, chromedp.Click(chromedp.CSS(`main a[href="/password"]`))))
	p.Wait(`document.querySelector('#current') !== null`)
	p.Open("/crew/help")
	p.Wait(way + ` !== null`)
	must(p.T, chromedp.Do(p.Ctx, chromedp.Click(chromedp.CSS(`main form[action="/sign-out"] button`))))
	p.Wait(`location.pathname === '/sign-in'`)
}

// TestKeyboardAlone records hours without a touch of the screen.
func TestKeyboardAlone(t *testing.T) {
	t.Parallel()
	s := newStack(t)
	p := ready(t, s)
	before := len(s.ledger(flat, 0))
	must(t, chromedp.Do(p.Ctx, chromedp.Focus(chromedp.CSS(`a[href="#hours"]`)), chromedp.KeyEvent("\r")))
	p.Wait(`document.querySelector('form') !== null && document.activeElement === document.querySelector('h1')`)
	must(t, chromedp.Do(p.Ctx, chromedp.Focus(chromedp.CSS(`input[name=task]`)), chromedp.KeyEvent(" "),
		chromedp.Focus(chromedp.CSS("#f-minutes")), chromedp.KeyEvent("3:15\r")))
	p.Sent()
	checkMinutes(t, s, before, 195)
}

// TestPairing makes a code in the office, reads it from the screen as a phone's camera
// would, pairs a phone once, and takes its access away.
func TestPairing(t *testing.T) {
	t.Parallel()
	s := newStack(t)
	tell(s)
	office := newPhone(t, s, "office")
	show := func(path string) { must(t, chromedp.Do(office.Ctx, chromedp.Navigate(s.address+path))) }
	submit := func(name string) {
		must(t, chromedp.Do(office.Ctx, chromedp.Clear(chromedp.CSS("#name")), chromedp.SendKeys(chromedp.CSS("#name"),
			name+"\r")))
	}
	show("/crew/pair")
	quiet(office, func() { lookAt(office, "phones") })
	submit("van-2")
	office.Wait(`document.querySelector('#name-problem') !== null`)
	lookAt(office, "phones-refused")
	submit("Phone of Bo")
	office.Wait(`document.querySelector('svg.code') !== null`)
	quiet(office, func() { lookAt(office, "phones-code") })
	link := phonetest.Eval[string](office, `document.querySelector('code').textContent`)
	if got := readCode(t, office.Ctx); got != link || !strings.HasPrefix(link, s.address+"/pair?code=") {
		t.Fatalf("the code says %q, the page %q", got, link)
	}

	phone, _ := phonetest.Start(t, s.address, s.line, t.TempDir())
	path := strings.TrimPrefix(link, s.address)
	must(t, chromedp.Do(phone.Ctx, chromedp.Navigate(link)))
	quiet(phone, func() { lookAt(phone, "pair") })
	if status, _, _ := s.request("GET", path, "van-2", ""); status != http.StatusOK {
		t.Errorf("looking at the link used it up: status %d", status)
	}
	must(t, chromedp.Do(phone.Ctx, chromedp.Click(chromedp.CSS("main button"))))
	s.wait(func() bool {
		address, err := chromedp.Run(phone.Ctx, chromedp.Location())
		return err == nil && address == s.address+"/crew"
	})
	phone.Wait(`document.querySelector('#main')?.dataset.shown === location.href && document.documentElement.dataset.kept === 'yes'`)
	phone.Open("/crew/jobs/" + flat)
	before := len(s.ledger(flat, 0))
	phone.Tap("Hours")
	phone.Tap("Bo")
	phone.Tap("Coat surface")
	phone.Fill("minutes", "4:00")
	phone.Tap("Save")
	phone.Sent()
	checkMinutes(t, s, before, 240)
	form := url.Values{"code": {strings.TrimPrefix(path, "/pair?code=")}}.Encode()
	if status, _, _ := s.request("POST", "/pair", "van-2", form, "Content-Type",
		"application/x-www-form-urlencoded"); status != http.StatusForbidden {
		t.Errorf("the link worked twice: status %d", status)
	}

	show("/crew/pair")
	office.Wait(`document.querySelector('main')?.innerText.includes('Phone of Bo')`)
	must(t, chromedp.Do(office.Ctx, chromedp.Click(chromedp.Search(`//section[h3="Phone of Bo"]//button`))))
	office.Wait(`document.querySelector('main')?.innerText.includes('Access taken away')`)
	phone.Tap("Hours")
	phone.Fill("minutes", "1:00")
	phone.Tap("Save")
	phone.Wait(`(await count('waiting')) === 1 && state().includes('no access')`)
	phone.Open("/crew/jobs/" + flat)
	phone.Wait(`document.querySelector('#notice-refused') !== null && !document.body.innerText.includes('four rooms')`)
	lookAt(phone, "without-access")
	if kept := phonetest.Eval[int](phone, `(await (await caches.open('daysheet-crew-lists')).keys()).length`); kept != 0 {
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
