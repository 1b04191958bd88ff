package reporting

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"

	"daysheet/events"
	"daysheet/services/httpd/browsertest"
	"daysheet/services/wording"
)

// browse starts a browser that is signed in as the office.
func browse(t *testing.T, s *stack) context.Context {
	t.Helper()
	ctx := browsertest.Open(t)
	cookie := network.SetCookieParams{Name: "daysheet", Value: s.tokens["north"], URL: s.address}
	_, err := chromedp.Call(ctx, network.SetCookie, cookie)
	must(t, err)
	return ctx
}

// browserPages are the pages that are looked at.
func browserPages() []string {
	return []string{
		"/", "/?state=closed", "/jobs/stair-1", "/jobs/flat-2", "/jobs/hall-4", "/jobs/nowhere", "/nowhere",
		"/?state=finished", "/help", "/licences",
		"/reports/job-summary", "/reports/job-summary?job=stair-1", "/reports/estimate-vs-actual?job=stair-1",
		"/reports", "/quotes", "/quotes?grade=painter&task=coat&surface=wall&method=roller&of=quantity&quantity=40&coats=2",
		"/reports/job-costing?job=stair-1", "/reports/cost-differences?job=stair-1", "/reports/earned-value?job=stair-1",
		"/reports/job-spread", "/reports/stock", "/reports/material-use", "/reports/protection", "/reports/payback",
		"/reports/coats?job=stair-1", "/reports/rates", "/reports/rate-proposals", "/reports/backtest", "/reports/rate-drift",
		"/reports/job-types", "/reports/consumables", "/reports/consumables?from=2031-01-01",
		"/explain?job=stair-1&kind=labour&side=actual&of=minutes",
	}
}

// missingPages are addresses at which there is nothing.
func missingPages() []string { return []string{"/jobs/nowhere", "/nowhere"} }

// TestPagesInABrowser opens each page wide and narrow, light and dark: nothing
// on the console (where breaches of the content policy would stand), no sideways
// scrolling, charts drawn, no finding of axe-core.
func TestPagesInABrowser(t *testing.T) {
	s := newStack(t)
	tell(s)
	s.compare()
	ctx := browse(t, s)
	for _, view := range browsertest.Views() {
		view.Set(t, ctx)
		for _, path := range browserPages() {
			name := fmt.Sprintf("%d-%s-%s", view.Width, view.Scheme, path)
			t.Run(name, func(t *testing.T) {
				lookAt(t, ctx, s.address+path, path)
				browsertest.KeepPicture(t, ctx, name)
			})
		}
	}
}

func lookAt(t *testing.T, ctx context.Context, address, path string) {
	t.Helper()
	var got browsertest.Seen
	for _, message := range browsertest.Console(t, ctx, func() {
		must(t, chromedp.Do(ctx, chromedp.Navigate(address)))
		got = browsertest.Look(t, ctx, path)
	}) {
		// The browser itself writes down that a page is not there.
		if !slices.Contains(missingPages(), path) || !strings.Contains(message, "404") {
			t.Errorf("on the console: %s", message)
		}
	}
	if got.Charts != got.Drawn {
		t.Errorf("%d of %d charts were drawn", got.Drawn, got.Charts)
	}
	wanted := strings.HasPrefix(path, "/reports/job-types") || strings.HasSuffix(path, "stair-1")
	if wanted && got.Charts == 0 {
		t.Error("no chart on the page: run npm run assets in web, and build again")
	}
}

// compare records more finished jobs of two types, so that there is a spread.
func (s *stack) compare() {
	for n := range 14 {
		kind, key := "stairwell", fmt.Sprintf("stair-%d", 10+n)
		if n%2 == 1 {
			kind = "occupied"
		}
		planned := int64(600 + 90*(n%5))
		estimate := s.act(events.EstimateIssued, "2026-03-02", events.Estimate{PriceE4: (planned + 240) * 9_000,
			Lines: []events.EstimateLine{{Task: "coat", Surface: "wall", Method: "roller", QuantityMilli: planned * 200,
				Unit: events.SquareMetre, Minutes: planned, Grade: "painter"}}})
		s.record("north", key, s.act(events.JobOpened, "2026-03-01", events.Opening{JobType: kind,
			Title: fmt.Sprintf("Invented job %d", n), Customer: fmt.Sprintf("customer-%d", n%4)}), estimate)
		s.record("north", key, s.act(events.EstimateAccepted, "2026-03-03", events.Acceptance{Estimate: estimate.ID}),
			s.act(events.HoursBooked, "2026-03-09", events.Hours{Person: "una", Task: "coat", Surface: "wall",
				Method: "roller", Minutes: planned/2 + int64(41*n)}),
			s.act(events.HoursBooked, "2026-03-10", events.Hours{Person: "bo", Task: "mask-edge", Minutes: 120}),
			s.act(events.CoatApplied, "2026-03-09", events.Coat{Task: "coat", Surface: "wall", Method: "roller", Coat: 1,
				QuantityMilli: planned * 200, Unit: events.SquareMetre, Product: "wall-matt", VolumeMilli: planned * 24}),
			s.act(events.JobSignedOff, string(events.Day("2026-03-12").Add(n)), events.SignOff{Role: "owner"}))
	}
}

// TestChartsTellTheirNumbers: bars between two amounts do not say theirs by their
// length, so each change has its number beside it, and each spread its median.
func TestChartsTellTheirNumbers(t *testing.T) {
	s := newStack(t)
	tell(s)
	s.compare()
	ctx := browse(t, s)
	browsertest.View{Width: 1280, Scheme: "light"}.Set(t, ctx)
	for path, wanted := range map[string][]string{
		"/reports/cost-differences?job=stair-1": {"1,107.21\u00a0EUR", "+104.12\u00a0EUR", wording.Minus + "196.27\u00a0EUR",
			"907.80\u00a0EUR"},
		"/reports/job-spread": {"Middle half of the jobs", "Least", "Median", "Greatest"},
	} {
		must(t, chromedp.Do(ctx, chromedp.Navigate(s.address+path)))
		browsertest.Look(t, ctx, path)
		said, err := chromedp.Run(ctx, chromedp.Evaluate[[]string](
			`[...document.querySelectorAll('.chart svg text')].map((text) => text.textContent)`))
		must(t, err)
		for _, want := range wanted {
			if !slices.Contains(said, want) {
				t.Errorf("%s: the chart does not say %q: %q", path, want, said)
			}
		}
	}
}

// TestLegendsStandBelowTheirCharts: on a phone the names of a legend do not fit beside
// each other; they stand below all else that the chart says, and not upon it.
func TestLegendsStandBelowTheirCharts(t *testing.T) {
	s := newStack(t)
	tell(s)
	s.compare()
	ctx := browse(t, s)
	browsertest.View{Width: 360, Scheme: "light"}.Set(t, ctx)
	for _, path := range []string{"/reports/job-spread", "/reports/earned-value?job=stair-1"} {
		must(t, chromedp.Do(ctx, chromedp.Navigate(s.address+path)))
		browsertest.Look(t, ctx, path)
		got, err := chromedp.Run(ctx, chromedp.Evaluate[[]float64](`[...document.querySelectorAll('.chart')].flatMap((holder) => {
			const { legend, series } = echarts.getInstanceByDom(holder).getOption();
			const names = legend[0].data ?? series.map((s) => s.name);
			const texts = [...holder.querySelectorAll('svg text')].map((e) => [e.textContent, e.getBoundingClientRect()]);
			const [of, rest] = [true, false].map((is) => texts.filter(([text]) => names.includes(text) === is).map(([, box]) => box));
			return [of.length, Math.min(...of.map((box) => box.top)) - Math.max(...rest.map((box) => box.bottom))];
		})`))
		must(t, err)
		if len(got) != 2 || got[0] < 3 || got[1] < 0 {
			t.Errorf("%s: %v names of the legend begin %v px below the rest", path, got[0], got[1])
		}
	}
}

// tableSeen is how a wide table is, from within.
type tableSeen struct {
	Wide, Said, Focusable bool
	Scrolled, FirstLeft   float64 // how far; where the first column stands in the box
}

// TestWideTablesScrollInTheirBox: the page stays as wide as the window, the reader
// is told that there is more, the keyboard reaches it, and the first column stays.
func TestWideTablesScrollInTheirBox(t *testing.T) {
	s := newStack(t)
	tell(s)
	ctx := browse(t, s)
	browsertest.View{Width: 360, Scheme: "light"}.Set(t, ctx)
	must(t, chromedp.Do(ctx, chromedp.Navigate(s.address+"/reports/job-types")))
	got, err := chromedp.Run(ctx, chromedp.Evaluate[tableSeen](`(async () => {
		const box = document.querySelector('.scroll');
		const frame = () => new Promise((again) => requestAnimationFrame(again));
		await frame();
		box.focus();
		box.scrollLeft = 200;
		await frame();
		const cell = box.querySelector('tbody th');
		return {
			Wide: box.scrollWidth > box.clientWidth, Said: !box.previousElementSibling.hidden,
			Focusable: document.activeElement === box && box.getAttribute('role') === 'region' &&
				document.getElementById(box.getAttribute('aria-labelledby')) !== null,
			Scrolled: box.scrollLeft, FirstLeft: cell.getBoundingClientRect().left - box.getBoundingClientRect().left,
		};
	})()`, chromedp.EvalAwaitPromise))
	must(t, err)
	if want := (tableSeen{true, true, true, 200, 0}); got != want {
		t.Errorf("the table is %+v, not %+v", got, want)
	}
}
