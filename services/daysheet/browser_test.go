package main

import (
	"context"
	"net"
	"testing"

	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"

	"daysheet/services/httpd"
	"daysheet/services/httpd/browsertest"
)

// mustServe serves a ledger at an address of its own until the test ends.
func mustServe(t *testing.T, a *app) (address string) {
	t.Helper()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.Background())
	served := make(chan error, 1)
	go func() { served <- a.server.Serve(ctx, listener) }()
	t.Cleanup(func() {
		stop()
		if err := <-served; err != nil {
			t.Errorf("serve: %v", err)
		}
	})
	return "http://" + listener.Addr().String()
}

// signIn signs the browser in with a token of every scope.
func signIn(t *testing.T, ctx context.Context, a *app, address string) {
	t.Helper()
	secret, err := a.tokens.Add(t.Context(), "tests", httpd.Token{Firm: demoFirm, Name: "browser", Scopes: httpd.Scopes()})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := chromedp.Call(ctx, network.SetCookie, network.SetCookieParams{Name: "daysheet", Value: secret, URL: address}); err != nil {
		t.Fatal(err)
	}
}

func browse(t *testing.T, ctx context.Context, actions ...chromedp.Action[chromedp.Void]) {
	t.Helper()
	if err := chromedp.Do(ctx, actions...); err != nil {
		t.Fatal(err)
	}
}

// TestCustomersInABrowser records, changes and erases a customer, and looks at the
// pages on the way: wide and narrow, light and dark.
func TestCustomersInABrowser(t *testing.T) {
	a := mustOpen(t, t.TempDir())
	t.Cleanup(func() { mustClose(t, a) })
	c := mustInvent(t, a, 1)
	openJob(t, c, "iris-job", "c-1042")
	address := mustServe(t, a)
	ctx := browsertest.Open(t)
	signIn(t, ctx, a, address)
	look := func(name string) {
		t.Helper()
		for _, view := range browsertest.Views() {
			view.Set(t, ctx)
			browsertest.Look(t, ctx, name)
			browsertest.KeepPicture(t, ctx, name+"-"+view.Scheme+"-"+string(rune('0'+view.Width/1000)))
		}
	}
	css := func(selector string) chromedp.CSS { return chromedp.CSS(selector) }
	wait := func(text string) chromedp.Action[chromedp.Void] {
		return chromedp.WaitVisible(chromedp.Search("//*[contains(text(), '" + text + "')]"))
	}
	browse(t, ctx, chromedp.Navigate(address+"/customers"))
	look("customers-none")
	browse(t, ctx, chromedp.SendKeys(css("input[name=name]"), irisName), chromedp.SendKeys(css("textarea[name=address]"), irisAddress),
		chromedp.SendKeys(css("textarea[name=contacts]"), irisPhone), chromedp.SendKeys(css("input[name=customer]"), "c-1042"),
		chromedp.Click(css("form.entry button")), wait("Erase for good"))
	look("customer")
	browse(t, ctx, chromedp.Navigate(address+"/jobs/iris-job"), chromedp.Click(css(`a[href="/customers/c-1042"]`)), wait("Erase for good"),
		chromedp.SendKeys(css("input[name=reason]"), "asked for"), chromedp.SendKeys(css("input[name=confirm]"), "c-104"),
		chromedp.Click(css(`form[action$="/erase"] button`)), chromedp.WaitVisible(css("[role=alert]")))
	look("customer-not-confirmed")
	browse(t, ctx, chromedp.SendKeys(css("input[name=confirm]"), "c-1042"), chromedp.Click(css(`form[action$="/erase"] button`)),
		wait("The key is destroyed"))
	look("customer-erased")
	browse(t, ctx, chromedp.Navigate(address+"/customers"))
	look("customers")
}
