package reporting

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"

	"daysheet/events"
)

// browse starts a browser with a fresh profile that is signed in as the office.
func browse(t *testing.T, s *stack) context.Context {
	t.Helper()
	options := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.NoSandbox, chromedp.DisableGPU,
		chromedp.UserDataDir(t.TempDir()), chromedp.Flag("disable-quic",
			true), chromedp.Flag("disable-component-update", true))
	allocator, stop := chromedp.NewExecAllocator(context.Background(), options...)
	t.Cleanup(stop)
	ctx, _ := chromedp.NewContext(allocator)
	t.Cleanup(func() {
		if err := chromedp.Cancel(ctx); err != nil {
			t.Errorf("close browser: %v", err)
		}
	})
	cookie := network.SetCookieParams{Name: "daysheet", Value: s.tokens["north"], URL: s.address}
	_, err := chromedp.Call(ctx, network.SetCookie, cookie)
	must(t, err)
	return ctx
}

// browserPages are the pages that are looked at.
func browserPages() []string {
	return []string{
		"/", "/?state=closed", "/jobs/stair-1", "/jobs/flat-2", "/jobs/hall-4", "/jobs/nowhere", "/help", "/licences",
		"/reports/job-summary", "/reports/job-summary?job=stair-1", "/reports/estimate-vs-actual?job=stair-1",
		"/reports", "/quotes", "/quotes?grade=painter&task=coat&surface=wall&method=roller&of=quantity&quantity=40&coats=2",
		"/reports/job-costing?job=stair-1", "/reports/cost-differences?job=stair-1", "/reports/earned-value?job=stair-1",
		"/reports/job-spread", "/reports/stock", "/reports/material-use", "/reports/protection", "/reports/payback",
		"/reports/coats?job=stair-1", "/reports/rates", "/reports/rate-proposals", "/reports/backtest", "/reports/rate-drift",
		"/reports/job-types", "/reports/consumables", "/reports/consumables?from=2031-01-01",
		"/explain?job=stair-1&kind=labour&side=actual&of=minutes",
	}
}

// endOfPage is written to the console when everything was looked at, so that
// messages before it can be counted without waiting for a time.
const endOfPage = "end of page"

// TestPagesInABrowser opens each page wide and narrow, light and dark: nothing
// on the console (where breaches of the content policy would stand), no sideways
// scrolling, charts drawn, no finding of axe-core.
func TestPagesInABrowser(t *testing.T) {
	axe, err := os.ReadFile("web/node_modules/axe-core/axe.min.js")
	if err != nil {
		t.Fatalf("run npm ci in web first: %v", err)
	}
	s := newStack(t)
	tell(s)
	ctx := browse(t, s)
	for _, view := range []struct {
		width  int64
		scheme string
	}{{1280, "light"}, {1280, "dark"}, {360, "light"}, {360, "dark"}} {
		_, err := chromedp.Call(ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
			Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: view.scheme}}})
		must(t, err)
		must(t, chromedp.Do(ctx, chromedp.EmulateViewport(view.width, 800)))
		for _, path := range browserPages() {
			t.Run(fmt.Sprintf("%d %s %s", view.width, view.scheme, path), func(t *testing.T) {
				lookAt(t, ctx, s.address+path, string(axe), path)
				keepPicture(t, ctx, fmt.Sprintf("%d-%s-%s", view.width, view.scheme, path))
			})
		}
	}
}

// seen is what a page looks like from within.
type seen struct {
	Width, Inner  int
	Charts, Drawn int
	Violations    []string
}

// look waits for the charts and measures the page.
const look = `(async () => {
	const charts = document.querySelectorAll('.chart[data-src]');
	const done = () => document.documentElement.dataset.charts === 'drawn';
	while (charts.length > 0 && !done()) await new Promise((again) => requestAnimationFrame(again));
	const result = await axe.run(document, {
		runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice'],
	});
	return {
		Width: document.documentElement.scrollWidth, Inner: window.innerWidth,
		Charts: charts.length, Drawn: document.querySelectorAll('.chart svg path').length === 0
			? 0 : document.querySelectorAll('.chart svg').length,
		Violations: result.violations.map((v) => v.id + ': ' + v.help + ': ' + v.nodes.map((n) => n.html).join(' | ')),
	};
})()`

func lookAt(t *testing.T, ctx context.Context, address, axe, path string) {
	t.Helper()
	console := chromedp.Console(ctx)
	must(t, chromedp.Do(ctx, chromedp.Navigate(address), chromedp.Evaluate[chromedp.Void](axe)))
	got, err := chromedp.Run(ctx, chromedp.Evaluate[seen](look, chromedp.EvalAwaitPromise))
	must(t, err)
	must(t, chromedp.Do(ctx, chromedp.Evaluate[chromedp.Void](`console.debug("`+endOfPage+`")`)))
	for message, err := range console {
		must(t, err)
		if strings.Contains(message.Text, endOfPage) {
			break
		}
		// The browser itself writes down that a page is not there.
		if path != "/jobs/nowhere" || !strings.Contains(message.Text, "404") {
			t.Errorf("on the console: %s", message)
		}
	}
	if got.Width > got.Inner {
		t.Errorf("the page is %d wide in a window of %d", got.Width, got.Inner)
	}
	for _, v := range got.Violations {
		t.Errorf("axe-core: %s", v)
	}
	if got.Charts != got.Drawn {
		t.Errorf("%d of %d charts were drawn", got.Drawn, got.Charts)
	}
	wanted := strings.HasPrefix(path, "/reports/job-types") || strings.HasSuffix(path, "stair-1")
	if wanted && got.Charts == 0 {
		t.Error("no chart on the page: run npm run assets in web, and build again")
	}
}

// keepPicture writes a picture of the page into the folder that SCREENSHOTS
// names, for people to look at.
func keepPicture(t *testing.T, ctx context.Context, name string) {
	t.Helper()
	dir := os.Getenv("SCREENSHOTS")
	if dir == "" {
		return
	}
	picture, err := chromedp.Run(ctx, chromedp.FullScreenshot(100))
	must(t, err)
	name = strings.NewReplacer("/", "_", "?", "_", "&", "_", "=", "_").Replace(name)
	must(t, os.WriteFile(filepath.Join(dir, name+".png"), picture, 0o600))
}

// TestNewRecordsAreAnnounced leaves a page open while something is recorded.
func TestNewRecordsAreAnnounced(t *testing.T) {
	s := newStack(t)
	tell(s)
	ctx := browse(t, s)
	must(t, chromedp.Do(ctx, chromedp.Navigate(s.address+"/jobs/flat-2")))
	// The stream is open once the browser has the answer; a record that comes
	// before would not be told of. So record until the page says something.
	said := make(chan error, 1)
	go func() { said <- chromedp.Do(ctx, chromedp.WaitVisible(chromedp.CSS(".live"))) }()
	for waiting := true; waiting; {
		select {
		case err := <-said:
			must(t, err)
			waiting = false
		default:
			s.record("north", "flat-2", s.act(events.HoursBooked, "2026-06-18", events.Hours{Person: "una", Task: "coat",
				Minutes: 10}))
		}
	}
	text, err := chromedp.Run(ctx, chromedp.Text(chromedp.CSS(".live")))
	must(t, err)
	if !strings.Contains(text, "New records have come in.") {
		t.Errorf("the page says %q", text)
	}
}
