package office

import (
	"context"
	"fmt"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"

	"daysheet/events"
	"daysheet/services/httpd/browsertest"
)

// browse starts a browser that is signed in as the owner.
func browse(t *testing.T, s *stack) context.Context {
	t.Helper()
	ctx := browsertest.Open(t)
	cookie := network.SetCookieParams{Name: "daysheet", Value: s.secrets["owner"], URL: s.address}
	_, err := chromedp.Call(ctx, network.SetCookie, cookie)
	must(t, err)
	return ctx
}

// endOfPage is written to the console when everything was looked at.
const endOfPage = "end of page"

// lookAt fails the test where axe-core finds anything, where the page is wider than
// the window, or where anything stands on the console: breaches of the content policy
// do. After a form that was not taken, the browser itself writes its status down.
func lookAt(t *testing.T, ctx context.Context, name string, act ...chromedp.Action[chromedp.Void]) {
	t.Helper()
	console := chromedp.Console(ctx)
	must(t, chromedp.Do(ctx, act...))
	browsertest.Look(t, ctx, name)
	must(t, chromedp.Do(ctx, chromedp.Evaluate[chromedp.Void](`console.debug("`+endOfPage+`")`)))
	for message, err := range console {
		must(t, err)
		if strings.Contains(message.Text, endOfPage) {
			break
		}
		if !strings.Contains(message.Text, "422") {
			t.Errorf("%s: on the console: %s", name, message)
		}
	}
	browsertest.KeepPicture(t, ctx, name)
}

// TestPagesInABrowser opens each kind of page wide and narrow, light and dark.
func TestPagesInABrowser(t *testing.T) {
	s := newStack(t)
	s.settle("en-IE")
	s.put("hall", events.JobOpened, events.Opening{JobType: "exterior", Title: "Hall and landing"})
	laid := s.put("hall", events.ProtectionLaid, events.Protection{Task: "protect-floor", QuantityMilli: 38_500,
		Unit: events.SquareMetre, Location: "Hall", RemoveBy: "2026-06-25"})
	s.put("hall", events.SnagRaised, events.Snag{Location: "Hall", Finding: "edge not straight", RaisedBy: "customer"})
	ctx := browse(t, s)
	for _, view := range browsertest.Views() {
		view.Set(t, ctx)
		for _, path := range []string{ // TestGermanInABrowser looks at the others
			"/", "/office/firm", "/office/record/job-opened", "/office/record/hours-booked",
			"/office/record/protection-lifted?job=hall", "/office/record/damage-made-good?job=hall",
			"/office/record/event-voided?job=hall&event=" + laid, "/office/record/material-purchased", "/jobs/hall",
			"/office/settings/people", "/office/settings/pricing", "/office/settings/firm",
			"/office/record/product-listed", "/office/record/rate-book-revised",
		} {
			name := fmt.Sprintf("%d-%s-%s", view.Width, view.Scheme, path)
			t.Run(name, func(t *testing.T) { lookAt(t, ctx, name, chromedp.Navigate(s.address+path)) })
		}
	}
	view := browsertest.View{Width: 360, Scheme: "light"}
	view.Set(t, ctx)
	// A form with faults, as it comes back: the browser does not ask, since a phone may not either.
	must(t, chromedp.Do(ctx, chromedp.Navigate(s.address+"/office/record/hours-booked?job=hall"),
		chromedp.Evaluate[chromedp.Void](`document.querySelector('form.entry').noValidate = true;
			document.querySelector('[name=minutes]').value = 'seven'`)))
	lookAt(t, ctx, "360-light-refused", chromedp.Click(chromedp.CSS("form.entry button")), chromedp.WaitVisible(chromedp.CSS(".notice")))
}

// TestAHandAtTheBrowser opens a job and books its first day by keys and clicks alone,
// presses the button twice, and sees both on the page of the job.
func TestAHandAtTheBrowser(t *testing.T) {
	s := newStack(t)
	s.settle("en-IE")
	ctx := browse(t, s)
	browsertest.View{Width: 1280, Scheme: "light"}.Set(t, ctx)
	lookAt(t, ctx, "hand-opened", chromedp.Navigate(s.address+"/"), chromedp.Click(chromedp.CSS("a.button")),
		chromedp.WaitVisible(chromedp.CSS("#f-title")), chromedp.SendKeys(chromedp.CSS("#f-title"), "Hall and landing"),
		chromedp.SetValue(chromedp.CSS("#f-job_type"), "exterior"), chromedp.DoubleClick(chromedp.CSS("form.entry button")),
		chromedp.WaitVisible(chromedp.CSS(".said")))
	if all := s.all("hall-and-landing"); len(all) != 1 {
		t.Fatalf("two presses recorded %d events", len(all))
	}
	lookAt(t, ctx, "hand-booked", chromedp.Click(chromedp.CSS(`a[href="/office/record/day-sheet?job=hall-and-landing"]`)),
		chromedp.WaitVisible(chromedp.CSS("#f-hours-0-minutes")), chromedp.SendKeys(chromedp.CSS("#f-hours-0-minutes"), "7.5"),
		chromedp.SetValue(chromedp.CSS("#f-hours-0-task"), "coat"), chromedp.Click(chromedp.CSS("form.entry button")),
		chromedp.WaitVisible(chromedp.CSS(".said")))
	said, err := chromedp.Run(ctx, chromedp.Text(chromedp.CSS(".said")))
	must(t, err)
	if !strings.Contains(said, "Recorded: Bo: 7:30") {
		t.Errorf("the page says %q", said)
	}
	s.is(s.last("hall-and-landing"), events.HoursBooked, `{"person":"bo","task":"coat","minutes":450,"day":"2026-06-30"}`)
}
