// Package browsertest looks at pages with a browser, for the tests of the packages
// that serve them. It is part of no program.
package browsertest

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
)

// Open starts a browser with a fresh profile, which ends with the test.
func Open(t *testing.T) context.Context {
	t.Helper()
	ctx, _ := OpenProfile(t, t.TempDir())
	return ctx
}

// OpenProfile starts a browser on the folder of a profile. It ends with the test, or
// before it by kill: without a warning, as a phone ends that is switched off.
func OpenProfile(t *testing.T, profile string) (ctx context.Context, kill func()) {
	t.Helper()
	options := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.NoSandbox, chromedp.DisableGPU,
		chromedp.UserDataDir(profile), chromedp.Flag("disable-quic", true),
		chromedp.Flag("disable-component-update", true))
	allocator, stop := chromedp.NewExecAllocator(context.Background(), options...)
	t.Cleanup(stop)
	ctx, _ = chromedp.NewContext(allocator)
	killed := false
	t.Cleanup(func() {
		if killed {
			return
		}
		if err := chromedp.Cancel(ctx); err != nil {
			t.Errorf("close browser: %v", err)
		}
	})
	return ctx, func() {
		killed = true
		if err := chromedp.FromContext(ctx).Browser.Process().Kill(); err != nil {
			t.Errorf("kill browser: %v", err)
		}
		stop()
	}
}

// View is how a page is looked at.
type View struct {
	Width  int64  // of the window
	Scheme string // light or dark
}

// Views returns how every page is looked at: wide and narrow, light and dark.
func Views() []View { return []View{{1280, "light"}, {1280, "dark"}, {360, "light"}, {360, "dark"}} }

// Set makes the window so, for this page and those that come after it.
func (v View) Set(t *testing.T, ctx context.Context) {
	t.Helper()
	_, err := chromedp.Call(ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
		Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: v.Scheme}}})
	must(t, err)
	must(t, chromedp.Do(ctx, chromedp.EmulateViewport(v.Width, 800)))
}

// Seen is what a page is like from within.
type Seen struct {
	Width, Inner  int      // of the page and of the window
	Ground        string   // colour behind the page: none if the style sheet was kept out
	Charts, Drawn int      // charts on the page, and those of them that were drawn
	Violations    []string // what axe-core found
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
		Ground: getComputedStyle(document.body).backgroundColor,
		Charts: charts.length,
		Drawn: [...charts].filter((chart) => chart.querySelector('svg path')).length,
		Violations: result.violations.map((v) => v.id + ': ' + v.help + ': ' + v.nodes.map((n) => n.html).join(' | ')),
	};
})()`

// Look measures the page that the browser shows, and fails the test where it is
// wider than the window or where axe-core finds anything.
func Look(t *testing.T, ctx context.Context, page string) Seen {
	t.Helper()
	known, err := chromedp.Run(ctx, chromedp.Evaluate[bool](`typeof axe !== 'undefined'`))
	must(t, err)
	if !known {
		must(t, chromedp.Do(ctx, chromedp.Evaluate[chromedp.Void](axe(t))))
	}
	got, err := chromedp.Run(ctx, chromedp.Evaluate[Seen](look, chromedp.EvalAwaitPromise))
	must(t, err)
	if got.Width > got.Inner {
		t.Errorf("%s is %d wide in a window of %d", page, got.Width, got.Inner)
	}
	for _, v := range got.Violations {
		t.Errorf("%s: axe-core: %s", page, v)
	}
	return got
}

// endOfLook is written to the console when everything was looked at, so that messages
// before it can be counted without waiting for a time.
const endOfLook = "end of the look"

// Console returns what is written to the console while look runs. Breaches of the
// content policy stand there too.
func Console(t *testing.T, ctx context.Context, look func()) []string {
	t.Helper()
	var said []string
	console := chromedp.Console(ctx)
	look()
	must(t, chromedp.Do(ctx, chromedp.Evaluate[chromedp.Void](`console.debug("`+endOfLook+`")`)))
	for message, err := range console {
		must(t, err)
		if strings.Contains(message.Text, endOfLook) {
			break
		}
		said = append(said, message.String())
	}
	return said
}

// KeepPicture writes a picture of the page into the folder that SCREENSHOTS names,
// for people to look at. Without it nothing is written.
func KeepPicture(t *testing.T, ctx context.Context, name string) {
	t.Helper()
	dir := os.Getenv("SCREENSHOTS")
	if dir == "" {
		return
	}
	picture, err := chromedp.Run(ctx, chromedp.FullScreenshot(100))
	must(t, err)
	name = strings.NewReplacer("/", "_", "?", "_", "&", "_", "=", "_", "#", "_").Replace(name)
	must(t, os.WriteFile(filepath.Join(dir, name+".png"), picture, 0o600))
}

// axe returns the accessibility checker that npm brought.
func axe(t *testing.T) string {
	t.Helper()
	dir, err := os.Getwd()
	must(t, err)
	for !exists(filepath.Join(dir, "go.mod")) {
		if dir == filepath.Dir(dir) {
			t.Fatal("the test does not run within the module")
		}
		dir = filepath.Dir(dir)
	}
	raw, err := os.ReadFile(filepath.Join(dir, "services/reporting/web/node_modules/axe-core/axe.min.js"))
	if err != nil {
		t.Fatalf("run scripts/setup test first: %v", err)
	}
	return string(raw)
}

func exists(path string) bool {
	_, err := os.Stat(path)
	return err == nil
}

func must(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}
