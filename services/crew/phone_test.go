package crew

import (
	"context"
	"encoding/json"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"daysheet/services/httpd/browsertest"
)

// phone is a browser with a profile of its own, or one of its tabs.
type phone struct {
	t    *testing.T
	s    *stack
	ctx  context.Context
	taps int
}

// waitLimit is how long a test waits for what never comes.
const waitLimit = 45 * time.Second

// startBrowser starts a browser as wide as a phone on a profile. kill ends it as a
// phone ends that is switched off.
func startBrowser(t *testing.T, s *stack, profile string) (p *phone, kill func()) {
	t.Helper()
	ctx, kill := browsertest.OpenProfile(t, profile)
	must(t, chromedp.Do(ctx, chromedp.EmulateViewport(360, 800)))
	return &phone{t: t, s: s, ctx: ctx}, kill
}

// newPhone starts a browser that is signed in with a token.
func newPhone(t *testing.T, s *stack, token string) *phone {
	t.Helper()
	p, _ := startBrowser(t, s, t.TempDir())
	p.signIn(token)
	return p
}

func (p *phone) signIn(token string) {
	p.t.Helper()
	cookie := network.SetCookieParams{Name: "daysheet", Value: p.s.secrets[token], URL: p.s.address}
	_, err := chromedp.Call(p.ctx, network.SetCookie, cookie)
	must(p.t, err)
}

// tab opens another tab of the same browser.
func (p *phone) tab() *phone {
	p.t.Helper()
	ctx, _ := chromedp.NewContext(p.ctx)
	must(p.t, chromedp.Do(ctx, chromedp.EmulateViewport(360, 800)))
	return &phone{t: p.t, s: p.s, ctx: ctx}
}

// open goes to a page and waits until it is drawn and the worker keeps it.
func (p *phone) open(path string) {
	p.t.Helper()
	must(p.t, chromedp.Do(p.ctx, chromedp.Navigate("about:blank"), chromedp.Navigate(p.s.address+path)))
	p.wait(`document.querySelector('#main').dataset.shown === location.href && document.documentElement.dataset.kept === 'yes'`)
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
const clickable = (text) => [...document.querySelectorAll(
	'main a, main button, main .choices label, main label.tick, nav a, header button')].filter((e) => e.getClientRects().length > 0)
	.find((e) => e.textContent.trim().startsWith(text));
`

// eval evaluates an expression in the page; it may wait.
func eval[T any](p *phone, expression string) T {
	p.t.Helper()
	got, err := chromedp.Run(p.ctx, chromedp.Evaluate[T](`(async () => {`+inPage+`return `+expression+`})()`,
		chromedp.EvalAwaitPromise))
	if err != nil {
		p.t.Fatalf("%s: %v", expression, err)
	}
	return got
}

// wait waits for a condition in the page.
func (p *phone) wait(condition string) {
	p.t.Helper()
	loop := `(async () => {` + inPage + `
		for (;;) {
			const holds = await (async () => ` + condition + `)();
			if (holds) return true;
			await new Promise((again) => { setTimeout(again, 5); });
		}
	})()`
	limited, release := context.WithTimeout(p.ctx, waitLimit)
	defer release()
	for {
		_, err := chromedp.Run(limited, chromedp.Evaluate[bool](loop, chromedp.EvalAwaitPromise))
		if err == nil {
			return
		}
		if limited.Err() != nil || !strings.Contains(err.Error(), "navigated") {
			text, _ := chromedp.Run(p.ctx, chromedp.Evaluate[string](`document.body.innerText`))
			p.t.Fatalf("it never came to be that %s: %v\n%s", condition, err, text)
		}
	}
}

// tap taps what is called so, if it is what a thumb would meet where it stands. Looking
// and tapping are one step, so that a page that is drawn anew cannot come between.
func (p *phone) tap(text string) {
	p.t.Helper()
	p.wait(fmt.Sprintf(`clickable(%q) !== undefined`, text))
	at := eval[struct {
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
		p.t.Fatalf("where %q stands a thumb meets %s", text, at.Met)
	}
	// WCAG 2.2 asks for 24 px (2.5.8), and for 44 px at level AAA (2.5.5); gloves ask for more.
	if at.Height < 47.5 || at.Width < 47.5 {
		p.t.Errorf("%q is %v by %v: too small for a thumb", text, at.Width, at.Height)
	}
	p.taps++
}

// fill types into a field, which needs no tap where the keyboard goes on to it.
func (p *phone) fill(field, text string) {
	p.t.Helper()
	p.wait(fmt.Sprintf(`document.querySelector('#f-%s') !== null`, field))
	eval[bool](p, fmt.Sprintf(`(() => {
		const e = document.querySelector('#f-%s');
		e.closest('details')?.setAttribute('open', '');
		e.focus();
		e.select();
		return true;
	})()`, field))
	if text == "" {
		text = kb.Backspace
	}
	must(p.t, chromedp.Do(p.ctx, chromedp.KeyEvent(text)))
}

// sent waits until the form is left and everything is in the ledger.
func (p *phone) sent() {
	p.t.Helper()
	p.wait(`document.querySelector('form') === null && (await count('waiting')) === 0 && state().includes('Everything is sent')`)
}

// shown returns the text of the page's content.
func (p *phone) shown() string { return eval[string](p, `document.querySelector('main').innerText`) }

// onLine brings the line back and lets the phone know, as its system would.
func (p *phone) onLine() {
	p.s.gate.set(func(g *gate) { g.down = false })
	eval[bool](p, `window.dispatchEvent(new Event('online'))`)
}

// shiftClock sets the clock of every page that is opened from now on. It returns how
// to set it right again.
func (p *phone) shiftClock(by time.Duration) (right func()) {
	p.t.Helper()
	script := fmt.Sprintf(`(() => { const Real = Date; const off = %d;
		globalThis.Date = class extends Real {
			constructor(...given) { if (given.length === 0) super(Real.now() + off); else super(...given); }
			static now() { return Real.now() + off; }
		}; })()`, by.Milliseconds())
	added, err := chromedp.Call(p.ctx, page.AddScriptToEvaluateOnNewDocument,
		page.AddScriptToEvaluateOnNewDocumentParams{Source: script})
	must(p.t, err)
	return func() {
		p.t.Helper()
		_, err := chromedp.Call(p.ctx, page.RemoveScriptToEvaluateOnNewDocument,
			page.RemoveScriptToEvaluateOnNewDocumentParams(added))
		must(p.t, err)
	}
}

// payloads returns the payloads of a job's new events as JSON, with their types.
func (s *stack) payloads(n int) []string {
	s.t.Helper()
	var list []string
	seen := map[string]bool{}
	for _, e := range s.ledger(flat, n) {
		if seen[e.ID] {
			s.t.Errorf("event %s stands twice in the ledger", e.ID)
		}
		seen[e.ID] = true
		var data map[string]any
		must(s.t, json.Unmarshal(e.Data, &data))
		raw, err := json.Marshal(data) // members in one order
		must(s.t, err)
		name := strings.TrimSuffix(strings.TrimPrefix(string(e.Type), "daysheet."), ".v1")
		list = append(list, name+" "+string(raw))
	}
	return list
}
