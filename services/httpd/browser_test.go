package httpd

import (
	"context"
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
	"github.com/gin-gonic/gin"
)

// browse starts a browser with a fresh profile.
func browse(t *testing.T) context.Context {
	t.Helper()
	options := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.NoSandbox, chromedp.DisableGPU,
		chromedp.UserDataDir(t.TempDir()), chromedp.Flag("disable-quic", true),
		chromedp.Flag("disable-component-update", true))
	allocator, stop := chromedp.NewExecAllocator(context.Background(), options...)
	t.Cleanup(stop)
	ctx, _ := chromedp.NewContext(allocator)
	t.Cleanup(func() {
		if err := chromedp.Cancel(ctx); err != nil {
			t.Errorf("close browser: %v", err)
		}
	})
	return ctx
}

// looked is what a page is like from within.
type looked struct {
	Width, Inner int
	Ground       string // colour behind the page: none if the style sheet was kept out
	Violations   []string
}

const look = `(async () => {
	const result = await axe.run(document, {
		runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice'],
	});
	return {
		Width: document.documentElement.scrollWidth, Inner: window.innerWidth,
		Ground: getComputedStyle(document.body).backgroundColor,
		Violations: result.violations.map((v) => v.id + ': ' + v.help + ': ' + v.nodes.map((n) => n.html).join(' | ')),
	};
})()`

// lookAt checks the page that the browser shows, in each width and scheme.
func lookAt(t *testing.T, ctx context.Context, axe, page string) {
	t.Helper()
	for _, view := range []struct {
		width          int64
		scheme, ground string
	}{
		{1280, "light", "rgb(251, 250, 247)"}, {360, "light", "rgb(251, 250, 247)"},
		{1280, "dark", "rgb(22, 25, 28)"}, {360, "dark", "rgb(22, 25, 28)"},
	} {
		_, err := chromedp.Call(ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
			Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: view.scheme}}})
		must(t, err)
		must(t, chromedp.Do(ctx, chromedp.EmulateViewport(view.width, 800), chromedp.Evaluate[chromedp.Void](axe)))
		got, err := chromedp.Run(ctx, chromedp.Evaluate[looked](look, chromedp.EvalAwaitPromise))
		must(t, err)
		if got.Width > got.Inner || got.Ground != view.ground {
			t.Errorf("%s at %d %s: %d wide in a window of %d, on %s", page, view.width, view.scheme, got.Width, got.Inner, got.Ground)
		}
		for _, v := range got.Violations {
			t.Errorf("%s at %d %s: axe-core: %s", page, view.width, view.scheme, v)
		}
		keepPicture(t, ctx, fmt.Sprintf("%s-%d-%s", page, view.width, view.scheme))
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
	must(t, os.WriteFile(filepath.Join(dir, name+".png"), picture, 0o600))
}

// TestTheWayInByBrowser sets up a firm, signs out and in again with a browser,
// which keeps to the content policy, the cookie's rules and the origins of forms.
func TestTheWayInByBrowser(t *testing.T) {
	axe, err := os.ReadFile("../reporting/web/node_modules/axe-core/axe.min.js")
	if err != nil {
		t.Fatalf("run npm ci in services/reporting/web first: %v", err)
	}
	b, made, code := newSetup(t)
	b.server.Engine.GET("/", Require(ScopeRead), func(c *gin.Context) {
		c.Data(http.StatusOK, "text/html; charset=utf-8", []byte(`<!doctype html><title>x</title><h1>Board</h1>`+
			`<form method="post" action="/sign-out"><button>Sign out</button></form>`))
	})
	ctx := browse(t)
	submit := func(selector, title string) {
		t.Helper()
		must(t, chromedp.Do(ctx, chromedp.Click(chromedp.CSS(selector)),
			chromedp.WaitVisible(chromedp.Search(fmt.Sprintf("//h1[.=%q]", title)))))
	}
	fill := func(field, value string) {
		t.Helper()
		css := chromedp.CSS("#" + field)
		must(t, chromedp.Do(ctx, chromedp.Clear(css), chromedp.SendKeys(css, value)))
	}

	must(t, chromedp.Do(ctx, chromedp.Navigate(b.address+"/sign-in")))
	lookAt(t, ctx, string(axe), "sign-in-empty")
	must(t, chromedp.Do(ctx, chromedp.Navigate(b.address+"/setup?code="+code)))
	lookAt(t, ctx, string(axe), "setup")
	fill("firm", "north-yard")
	fill("name", "North Yard")
	fill("time_zone", "Moon/Crater")
	must(t, chromedp.Do(ctx, chromedp.Click(chromedp.CSS("button")), chromedp.WaitVisible(chromedp.CSS("#time_zone-problem"))))
	lookAt(t, ctx, string(axe), "setup-refused")
	fill("time_zone", "UTC")
	submit("button", "Your firm is set up")
	lookAt(t, ctx, string(axe), "setup-done")
	if len(made.firms) != 1 || len(made.settings[0].JobTypes) != 5 || len(made.settings[0].Grades) != 3 {
		t.Fatalf("firms %q with %+v", made.firms, made.settings)
	}
	secret, err := chromedp.Run(ctx, chromedp.Value(chromedp.CSS("#token")))
	must(t, err)

	submit("main a", "Board")
	submit("form button", "Sign in")
	must(t, chromedp.Do(ctx, chromedp.Navigate(b.address+"/?week=3")))
	fill("token", "ds_guess")
	must(t, chromedp.Do(ctx, chromedp.Click(chromedp.CSS("button")), chromedp.WaitVisible(chromedp.CSS(".problem"))))
	lookAt(t, ctx, string(axe), "sign-in-refused")
	fill("token", secret)
	submit("button", "Board")
	address, err := chromedp.Run(ctx, chromedp.Location())
	must(t, err)
	if !strings.HasSuffix(address, "/?week=3") {
		t.Errorf("signing in led to %s", address)
	}
}
