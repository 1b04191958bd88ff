package httpd

import (
	"context"
	"fmt"
	"net/http"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"
	"github.com/gin-gonic/gin"

	"daysheet/services/httpd/browsertest"
)

// lookAt checks the page that the browser shows, in each width and scheme. Its
// ground is that of every other page.
func lookAt(t *testing.T, ctx context.Context, page string) {
	t.Helper()
	grounds := map[string]string{"light": "rgb(246, 247, 246)", "dark": "rgb(16, 20, 19)"}
	for _, view := range browsertest.Views() {
		view.Set(t, ctx)
		name := fmt.Sprintf("%s-%d-%s", page, view.Width, view.Scheme)
		if got := browsertest.Look(t, ctx, name); got.Ground != grounds[view.Scheme] {
			t.Errorf("%s lies on %s", name, got.Ground)
		}
		browsertest.KeepPicture(t, ctx, name)
	}
}

// TestTheWayInByBrowser sets up a firm, signs out and in again with a browser,
// which keeps to the content policy, the cookie's rules and the origins of forms.
func TestTheWayInByBrowser(t *testing.T) {
	b, made, code := newSetup(t)
	b.server.Engine.GET("/", Require(ScopeRead), func(c *gin.Context) {
		c.Data(http.StatusOK, "text/html; charset=utf-8", []byte(`<!doctype html><title>x</title><h1>Board</h1>`+
			`<form method="post" action="/sign-out"><button>Sign out</button></form>`))
	})
	ctx := browsertest.Open(t)
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
	lookAt(t, ctx, "sign-in-empty")
	must(t, chromedp.Do(ctx, chromedp.Navigate(b.address+"/setup?code="+code)))
	lookAt(t, ctx, "setup")
	fill("firm", "north-yard")
	fill("name", "North Yard")
	fill("currency", "Euros")
	fill("time_zone", "Moon/Crater")
	must(t, chromedp.Do(ctx, chromedp.Click(chromedp.CSS("button")), chromedp.WaitVisible(chromedp.CSS("#time_zone-problem"))))
	lookAt(t, ctx, "setup-refused")
	focused, err := chromedp.Run(ctx, chromedp.Evaluate[string](`document.activeElement.id + ' ' + document.activeElement.value`))
	must(t, err)
	if focused != "currency Euros" {
		t.Errorf("the cursor is in %q, not in the first wrong field with what was typed", focused)
	}
	fill("currency", "EUR")
	fill("time_zone", "UTC")
	submit("button", "Your firm is set up")
	lookAt(t, ctx, "setup-done")
	if len(made.firms) != 1 || len(made.settings[0].JobTypes) != 5 || len(made.settings[0].Grades) != 3 {
		t.Fatalf("firms %q with %+v", made.firms, made.settings)
	}
	secret, err := chromedp.Run(ctx, chromedp.Value(chromedp.CSS("#token")))
	must(t, err)

	must(t, chromedp.Do(ctx, chromedp.Navigate(b.address+"/setup?code="+code)))
	lookAt(t, ctx, "setup-dead")
	must(t, chromedp.Do(ctx, chromedp.Navigate(b.address+"/nowhere")))
	lookAt(t, ctx, "nowhere")
	submit("main a", "Board")
	submit("form button", "Sign in")
	must(t, chromedp.Do(ctx, chromedp.Navigate(b.address+"/?week=3")))
	fill("token", "ds_guess")
	must(t, chromedp.Do(ctx, chromedp.Click(chromedp.CSS("button")), chromedp.WaitVisible(chromedp.CSS(".problem"))))
	lookAt(t, ctx, "sign-in-refused")
	fill("token", secret)
	submit("button", "Board")
	address, err := chromedp.Run(ctx, chromedp.Location())
	must(t, err)
	if !strings.HasSuffix(address, "/?week=3") {
		t.Errorf("signing in led to %s", address)
	}
}

// TestSigningInByNameByBrowser signs in by name, changes the password, and signs in with
// the new one.
func TestSigningInByNameByBrowser(t *testing.T) {
	people, err := OpenPeople(t.TempDir()+"/people.json", t.TempDir()+"/sessions.json")
	must(t, err)
	must(t, people.Add(t.Context(), "office", Person{Firm: "north", Name: "Anna", Role: RoleOffice}, annasPassword, nil))
	b := newBench(t, func(c *Config) { c.People = people }, func(s *Server) {
		s.NewPairing("/")
		s.Engine.GET("/", Require(ScopeRead), func(c *gin.Context) {
			c.Data(http.StatusOK, "text/html; charset=utf-8", []byte(`<!doctype html><title>x</title><h1>Board</h1>`))
		})
	})
	ctx := browsertest.Open(t)
	send := func(title string, values ...string) {
		t.Helper()
		for i := 0; i < len(values); i += 2 {
			css := chromedp.CSS("#" + values[i])
			must(t, chromedp.Do(ctx, chromedp.Clear(css), chromedp.SendKeys(css, values[i+1])))
		}
		must(t, chromedp.Do(ctx, chromedp.Click(chromedp.CSS("button")),
			chromedp.WaitVisible(chromedp.Search(fmt.Sprintf("//h1[.=%q]", title)))))
	}
	must(t, chromedp.Do(ctx, chromedp.Navigate(b.address+"/")))
	lookAt(t, ctx, "sign-in-by-name")
	send("Sign in", "name", "anna", "password", "a wrong password")
	must(t, chromedp.Do(ctx, chromedp.WaitVisible(chromedp.CSS(".problem"))))
	lookAt(t, ctx, "sign-in-by-name-refused")
	send("Board", "password", annasPassword)
	must(t, chromedp.Do(ctx, chromedp.Navigate(b.address+"/password")))
	lookAt(t, ctx, "password")
	send("Sign in", "current", annasPassword, "new", "nine other invented words")
	send("Board", "name", "Anna", "password", "nine other invented words")
	headers := network.Headers{"Accept-Language": "de"}
	_, err = chromedp.Call(ctx, network.SetExtraHTTPHeaders, network.SetExtraHTTPHeadersParams{Headers: headers})
	must(t, err)
	for page, title := range map[string]string{"/sign-in": "Anmelden", "/password": "Passwort ändern", "/pair": "Dieser Link gilt nicht mehr"} {
		must(t, chromedp.Do(ctx, chromedp.Navigate(b.address+page),
			chromedp.WaitVisible(chromedp.Search(fmt.Sprintf("//h1[.=%q]", title)))))
		lookAt(t, ctx, "german"+page)
	}
}
