// Package phonetest drives the crew's pages in a browser, as a phone with a thumb on
// it, over a line that can be cut. It is for tests, and part of no program.
package phonetest

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"daysheet/services/httpd/browsertest"
)

// Phone is a browser as wide as a phone, with a profile of its own, or one of its
// tabs. Everything that goes wrong fails T, which subtests put themselves into.
type Phone struct {
	T       *testing.T
	Ctx     context.Context
	Address string // of the ledger
	Line    *Line
	Taps    int // so far
}

// waitLimit is how long a test waits for what never comes.
const waitLimit = 45 * time.Second

// The window of the phone.
const width, height = 360, 800

// Start starts a browser on the folder of a profile. kill ends it as a phone ends that
// is switched off; it ends with the test at the latest.
func Start(t *testing.T, address string, line *Line, profile string) (p *Phone, kill func()) {
	t.Helper()
	ctx, kill := browsertest.OpenProfile(t, profile)
	must(t, chromedp.Do(ctx, chromedp.EmulateViewport(width, height)))
	return &Phone{T: t, Ctx: ctx, Address: address, Line: line}, kill
}

// SignIn gives the phone the secret of a token.
func (p *Phone) SignIn(secret string) {
	p.T.Helper()
	cookie := network.SetCookieParams{Name: "daysheet", Value: secret, URL: p.Address}
	_, err := chromedp.Call(p.Ctx, network.SetCookie, cookie)
	must(p.T, err)
}

// Tab opens another tab of the same browser.
func (p *Phone) Tab() *Phone {
	p.T.Helper()
	ctx, _ := chromedp.NewContext(p.Ctx)
	must(p.T, chromedp.Do(ctx, chromedp.EmulateViewport(width, height)))
	return &Phone{T: p.T, Ctx: ctx, Address: p.Address, Line: p.Line}
}

// Open goes to a page and waits until it is drawn and the worker keeps it.
func (p *Phone) Open(path string) {
	p.T.Helper()
	must(p.T, chromedp.Do(p.Ctx, chromedp.Navigate("about:blank"), chromedp.Navigate(p.Address+path)))
	p.Wait(`document.querySelector('#main')?.dataset.shown === location.href &&
		document.documentElement.dataset.kept === 'yes'`)
}

// inPage is what the conditions of the tests are made of.
const inPage = `
const all = (store) => new Promise((resolve, reject) => {
	const opening = indexedDB.open('daysheet-crew');
	opening.onerror = () => reject(opening.error);
	opening.onsuccess = () => {
		const asked = opening.result.transaction(store).objectStore(store).getAll();
		asked.onsuccess = () => { opening.result.close(); resolve(asked.result); };
	};
});
const count = async (state) => (await all('outbox')).filter((i) => i.state === state).length;
const state = () => document.querySelector('#state').textContent;
const tappable = 'main a, main button, main .choices label, main label.tick, nav a, header button';
const clickable = (text) => [...document.querySelectorAll(tappable)]
	.filter((e) => e.getClientRects().length > 0).find((e) => e.textContent.trim().startsWith(text));
`

// Eval evaluates an expression in the page; it may wait.
func Eval[T any](p *Phone, expression string) T {
	p.T.Helper()
	got, err := chromedp.Run(p.Ctx, chromedp.Evaluate[T](`(async () => {`+inPage+`return `+expression+`})()`,
		chromedp.EvalAwaitPromise))
	if err != nil {
		p.T.Fatalf("%s: %v", expression, err)
	}
	return got
}

// Wait waits for a condition in the page.
func (p *Phone) Wait(condition string) {
	p.T.Helper()
	loop := `(async () => {` + inPage + `
		for (;;) {
			const holds = await (async () => ` + condition + `)();
			if (holds) return true;
			await new Promise((again) => { setTimeout(again, 5); });
		}
	})()`
	limited, release := context.WithTimeout(p.Ctx, waitLimit)
	defer release()
	for {
		_, err := chromedp.Run(limited, chromedp.Evaluate[bool](loop, chromedp.EvalAwaitPromise))
		if err == nil {
			return
		}
		if limited.Err() != nil || !strings.Contains(err.Error(), "navigated") {
			text, _ := chromedp.Run(p.Ctx, chromedp.Evaluate[string](`document.body.innerText`))
			p.T.Fatalf("it never came to be that %s: %v\n%s", condition, err, text)
		}
	}
}

// Tap taps what is called so, if it is what a thumb would meet where it stands. Looking
// and tapping are one step, so that a page that is drawn anew cannot come between.
func (p *Phone) Tap(text string) {
	p.T.Helper()
	p.Wait(fmt.Sprintf(`clickable(%q) !== undefined`, text))
	at := Eval[struct {
		Width, Height float64
		Met           string
	}](p, fmt.Sprintf(`(() => {
		const e = clickable(%q);
		e.scrollIntoView({ block: 'center', behavior: 'instant' });
		const r = e.getBoundingClientRect();
		const met = document.elementFromPoint(r.x + r.width / 2, r.y + r.height / 2);
		if (e.contains(met)) met.click();
		return { Width: r.width, Height: r.height, Met: e.contains(met) ? '' : (met?.outerHTML ?? 'nothing') };
	})()`, text))
	if at.Met != "" {
		p.T.Fatalf("where %q stands a thumb meets %s", text, at.Met)
	}
	// WCAG 2.2 asks for 24 px (2.5.8), and for 44 px at level AAA (2.5.5); gloves ask for more.
	if at.Height < 47.5 || at.Width < 47.5 {
		p.T.Errorf("%q is %v by %v: too small for a thumb", text, at.Width, at.Height)
	}
	p.Taps++
}

// Fill types into a field, which needs no tap where the keyboard goes on to it.
func (p *Phone) Fill(field, text string) {
	p.T.Helper()
	p.Wait(fmt.Sprintf(`document.querySelector('#f-%s') !== null`, field))
	Eval[bool](p, fmt.Sprintf(`(() => {
		const e = document.querySelector('#f-%s');
		e.closest('details')?.setAttribute('open', '');
		e.focus();
		e.select();
		return true;
	})()`, field))
	if text == "" {
		text = kb.Backspace
	}
	must(p.T, chromedp.Do(p.Ctx, chromedp.KeyEvent(text)))
}

// Photograph puts a picture into a form's field of photos, as the camera would.
func (p *Phone) Photograph(field string, picture []byte) {
	p.T.Helper()
	file := filepath.Join(p.T.TempDir(), "camera.jpg")
	must(p.T, os.WriteFile(file, picture, 0o600))
	p.Wait(fmt.Sprintf(`document.querySelector('#f-%s') !== null`, field))
	must(p.T, chromedp.Do(p.Ctx, chromedp.SetUploadFiles(chromedp.CSS("#f-"+field), []string{file})))
	p.Wait(`[...document.querySelectorAll('.photos img')].filter((i) => i.complete && i.naturalWidth > 0).length === 1`)
}

// Save saves the form and waits until it is left.
func (p *Phone) Save() {
	p.T.Helper()
	p.Tap("Save")
	p.Wait(`document.querySelector('form') === null`)
}

// Sent waits until the form is left and everything is in the ledger.
func (p *Phone) Sent() {
	p.T.Helper()
	p.Wait(`document.querySelector('form') === null && (await count('waiting')) === 0 &&
		state().includes('Everything is sent')`)
}

// Shown returns the text of the page's content.
func (p *Phone) Shown() string { return Eval[string](p, `document.querySelector('main').innerText`) }

// OnLine brings the line back and lets the phone know, as its system would.
func (p *Phone) OnLine() {
	p.Line.Cut(false)
	Eval[bool](p, `window.dispatchEvent(new Event('online'))`)
}

// ShiftClock sets the clock of every page that is opened from now on. It returns how
// to set it right again.
func (p *Phone) ShiftClock(by time.Duration) (right func()) {
	p.T.Helper()
	script := fmt.Sprintf(`(() => { const Real = Date; const off = %d;
		globalThis.Date = class extends Real {
			constructor(...given) { if (given.length === 0) super(Real.now() + off); else super(...given); }
			static now() { return Real.now() + off; }
		}; })()`, by.Milliseconds())
	added, err := chromedp.Call(p.Ctx, page.AddScriptToEvaluateOnNewDocument,
		page.AddScriptToEvaluateOnNewDocumentParams{Source: script})
	must(p.T, err)
	return func() {
		p.T.Helper()
		_, err := chromedp.Call(p.Ctx, page.RemoveScriptToEvaluateOnNewDocument,
			page.RemoveScriptToEvaluateOnNewDocumentParams(added))
		must(p.T, err)
	}
}

func must(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}
