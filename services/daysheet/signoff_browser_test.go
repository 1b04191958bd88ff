package main

import (
	"context"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"

	"daysheet/events"
	"daysheet/services/httpd/browsertest"
)

// offline takes the network away from the browser, or gives it back.
func offline(t *testing.T, ctx context.Context, away bool) {
	t.Helper()
	if _, err := chromedp.Call(ctx, network.EmulateNetworkConditionsByRule, network.EmulateNetworkConditionsByRuleParams{
		EmulateOfflineServiceWorker: &away,
		MatchedNetworkConditions:    []*network.Conditions{{DownloadThroughput: -1, UploadThroughput: -1, Offline: away}},
	}); err != nil {
		t.Fatal(err)
	}
}

// evaluate runs an expression in the page.
func evaluate[T any](t *testing.T, ctx context.Context, expression string) T {
	t.Helper()
	got, err := chromedp.Run(ctx, chromedp.Evaluate[T](expression))
	if err != nil {
		t.Fatalf("%s: %v", expression, err)
	}
	return got
}

// drawWithAFinger draws across the field for the signature.
func drawWithAFinger(t *testing.T, ctx context.Context) {
	t.Helper()
	type box struct{ X, Y, Width, Height float64 }
	// Pictures above that are still loading would move the field away.
	pad, err := chromedp.Run(ctx, chromedp.Evaluate[box](`(async () => {
		for (const picture of document.images) { picture.loading = 'eager'; await picture.decode().catch(() => {}); }
		const pad = document.getElementById('pad');
		pad.scrollIntoView({block: 'center'});
		await new Promise((again) => requestAnimationFrame(() => requestAnimationFrame(again)));
		const b = pad.getBoundingClientRect();
		return {X: b.left, Y: b.top, Width: b.width, Height: b.height};
	})()`, chromedp.EvalAwaitPromise))
	if err != nil {
		t.Fatal(err)
	}
	touch := func(kind input.DispatchTouchEventType, points ...*input.TouchPoint) {
		t.Helper()
		if points == nil {
			points = []*input.TouchPoint{}
		}
		if _, err := chromedp.Call(ctx, input.DispatchTouchEvent, input.DispatchTouchEventParams{Type: kind, TouchPoints: points}); err != nil {
			t.Fatal(err)
		}
	}
	at := func(x, y float64) *input.TouchPoint {
		return &input.TouchPoint{X: pad.X + x*pad.Width, Y: pad.Y + y*pad.Height}
	}
	for _, stroke := range [][]float64{{0.1, 0.5, 0.3, 0.2, 0.5, 0.8}, {0.6, 0.3, 0.9, 0.6}} {
		touch(input.DispatchTouchEventTypeTouchStart, at(stroke[0], stroke[1]))
		for i := 2; i < len(stroke); i += 2 {
			touch(input.DispatchTouchEventTypeTouchMove, at(stroke[i], stroke[i+1]))
		}
		touch(input.DispatchTouchEventTypeTouchEnd)
	}
}

// TestSigningOnAPhone signs through a link in a window of 360 pixels, with a finger and
// without a network: what was typed is kept over a reload, and goes out once, when the
// network is back. A second job is signed with the keyboard alone, on the crew's phone.
func TestSigningOnAPhone(t *testing.T) {
	a := mustOpen(t, t.TempDir())
	t.Cleanup(func() { mustClose(t, a) })
	c := mustInvent(t, a, 1)
	openJob(t, c, "iris-job", "c-1042", snag("iris-job"))
	openJob(t, c, "other-job", "c-1042")
	address := mustServe(t, a)
	_, secret := mustLink(t, c, "iris-job", "sign-off")
	ctx := browsertest.Open(t)
	look := func(name string) {
		t.Helper()
		for _, scheme := range []string{"dark", "light"} {
			browsertest.View{Width: 360, Scheme: scheme}.Set(t, ctx)
			browsertest.Look(t, ctx, name)
			browsertest.KeepPicture(t, ctx, name+"-"+scheme)
		}
	}
	css := func(selector string) chromedp.CSS { return chromedp.CSS(selector) }
	says := func(text string) chromedp.Action[chromedp.Void] {
		return chromedp.WaitVisible(chromedp.Search("//*[contains(text(), '" + text + "')]"))
	}
	browsertest.View{Width: 360, Scheme: "light"}.Set(t, ctx)
	browse(t, ctx, chromedp.Navigate(address+"/h/"+secret))
	look("sign")
	browse(t, ctx, chromedp.SendKeys(css("input[name=name]"), signer), chromedp.SendKeys(css("input[name=role]"), "Owner"),
		chromedp.Click(css("#send")), says("Draw your signature"))
	look("sign-refused")
	drawWithAFinger(t, ctx)
	drawn := evaluate[string](t, ctx, `document.getElementsByName('drawn')[0].value`)
	if strings.Count(drawn, "M") != 2 || strings.Count(drawn, "L") < 3 {
		t.Fatalf("drawn: %q", drawn)
	}
	browse(t, ctx, chromedp.Click(css("input[name=snags]")))
	look("sign-drawn")
	id := evaluate[string](t, ctx, `document.getElementsByName('id')[0].value`)

	offline(t, ctx, true)
	browse(t, ctx, chromedp.Click(css("#send")), says("Not sent yet"))
	look("sign-waiting")
	offline(t, ctx, false)
	browse(t, ctx, says("This page is your copy"), says(signer))
	look("sign-copy")
	if got := evaluate[int](t, ctx, `localStorage.length`); got != 0 {
		t.Errorf("%d drafts are left on the device", got)
	}
	recorded := string(mustGet(t, c, "/v1/jobs/iris-job/events"))
	if strings.Count(recorded, string(events.JobSignedOff)) != 1 || !strings.Contains(recorded, `"id":"`+id+`"`) ||
		!strings.Contains(recorded, `"snags":["snag-of-iris-job"]`) {
		t.Errorf("recorded: %s", recorded)
	}

	signIn(t, ctx, a, address)
	browse(t, ctx, chromedp.Navigate(address+"/jobs/other-job/links"))
	look("links")
	browse(t, ctx, chromedp.Click(css(`a[href="/crew/jobs/other-job/sign-off"]`)), chromedp.WaitVisible(css("#sign")),
		chromedp.SendKeys(css("input[name=name]"), "Kept Name"), chromedp.Reload(), chromedp.WaitVisible(css("#pad")))
	if kept := evaluate[string](t, ctx, `document.getElementsByName('name')[0].value`); kept != "Kept Name" {
		t.Errorf("after a reload the name is %q", kept)
	}
	// By keyboard alone: role, remarks, over the clear button to the tick, and send.
	browse(t, ctx, chromedp.Focus(css("input[name=role]")), chromedp.KeyEvent("Owner\t\t\t \t\r"), says("The typed name is the signature"))
}

// TestSigningWithoutALine opens the page of a job on the crew's phone, goes where there
// is no line, opens it again, and signs: it goes out when the line is back.
func TestSigningWithoutALine(t *testing.T) {
	a := mustOpen(t, t.TempDir())
	t.Cleanup(func() { mustClose(t, a) })
	c := mustInvent(t, a, 1)
	openJob(t, c, "iris-job", "c-1042", snag("iris-job"))
	address := mustServe(t, a)
	ctx := browsertest.Open(t)
	browsertest.View{Width: 360, Scheme: "light"}.Set(t, ctx)
	signIn(t, ctx, a, address)
	css := func(selector string) chromedp.CSS { return chromedp.CSS(selector) }
	browse(t, ctx, chromedp.Navigate(address+"/crew/jobs/iris-job"), chromedp.WaitVisible(css(`a[href="/crew/jobs/iris-job/sign-off"]`)))
	ready, err := chromedp.Run(ctx, chromedp.Evaluate[bool](`(async () => {
		await navigator.serviceWorker.ready;
		while (!navigator.serviceWorker.controller) await new Promise((again) =>
			navigator.serviceWorker.addEventListener('controllerchange', again, { once: true }));
		return true;
	})()`, chromedp.EvalAwaitPromise))
	if err != nil || !ready {
		t.Fatalf("the phone keeps no pages: %v", err)
	}
	browse(t, ctx, chromedp.Click(css(`a[href="/crew/jobs/iris-job/sign-off"]`)), chromedp.WaitVisible(css("#pad")),
		chromedp.Navigate(address+"/crew/jobs/iris-job/sign-off"), chromedp.WaitVisible(css("#pad")))
	offline(t, ctx, true)
	browse(t, ctx, chromedp.Reload(), chromedp.WaitVisible(css("#pad")), chromedp.SendKeys(css("input[name=name]"), signer),
		chromedp.SendKeys(css("input[name=role]"), "Owner"))
	drawWithAFinger(t, ctx)
	browse(t, ctx, chromedp.Click(css("#send")), chromedp.WaitVisible(chromedp.Search("//*[contains(text(), 'Not sent yet')]")))
	offline(t, ctx, false)
	browse(t, ctx, chromedp.WaitVisible(css(".signed")))
	if recorded := string(mustGet(t, c, "/v1/jobs/iris-job/events")); strings.Count(recorded, string(events.JobSignedOff)) != 1 {
		t.Errorf("recorded: %s", recorded)
	}
}
