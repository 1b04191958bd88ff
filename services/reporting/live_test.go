package reporting

import (
	"context"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"daysheet/events"
	"daysheet/services/httpd/browsertest"
)

// until waits for a condition in the page that the browser shows.
func until(t *testing.T, ctx context.Context, condition string) {
	t.Helper()
	must(t, chromedp.Do(ctx, chromedp.Evaluate[chromedp.Void](`(async () => {
		while (!(`+condition+`)) await new Promise((again) => requestAnimationFrame(again));
	})()`, chromedp.EvalAwaitPromise)))
}

// inPage evaluates an expression in the page that the browser shows.
func inPage[T any](t *testing.T, ctx context.Context, expression string) T {
	t.Helper()
	got, err := chromedp.Run(ctx, chromedp.Evaluate[T](expression))
	must(t, err)
	return got
}

// book books hours of Una on a job.
func (s *stack) book(job string, minutes int64) {
	s.t.Helper()
	s.record("north", job, s.act(events.HoursBooked, "2026-06-18", events.Hours{Person: "una", Task: "coat",
		Location: "Loft", Minutes: minutes}))
}

// TestNewRecordsAreAnnounced leaves a report open while something is recorded: it is
// not changed while it is read.
func TestNewRecordsAreAnnounced(t *testing.T) {
	s := newStack(t)
	tell(s)
	ctx := browse(t, s)
	must(t, chromedp.Do(ctx, chromedp.Navigate(s.address+"/reports/job-summary?job=flat-2")))
	s.book("flat-2", 10) // before or after the stream is open: it is told from the position of the page on
	until(t, ctx, `document.querySelector('[role=status] .live:not([hidden])')?.innerText.includes('New records have come in.')`)
}

// rowOf is the row of a job on the board, and where it stands in the window.
const rowOf = `(job) => document.querySelector('tr[data-key=' + job + ']')`

// TestBoardComesUpToDate leaves the board open while hours are booked and a job is
// signed off: the rows change by themselves, and what has the focus stays where it is.
func TestBoardComesUpToDate(t *testing.T) {
	s := newStack(t)
	tell(s)
	s.compare() // so that there is something to scroll
	ctx := browse(t, s)
	browsertest.View{Width: 360, Scheme: "light"}.Set(t, ctx)
	messages := browsertest.Console(t, ctx, func() {
		must(t, chromedp.Do(ctx, chromedp.Navigate(s.address+"/")))
		link := inPage[string](t, ctx, `(() => {
			window.row = `+rowOf+`;
			window.before = row('flat-2').innerText;
			window.held = row('flat-2').querySelector('a');
			held.focus();
			held.scrollIntoView({ block: 'center', behavior: 'instant' });
			window.stood = held.getBoundingClientRect().top;
			return held.getAttribute('href');
		})()`)
		s.book("flat-2", 75)
		until(t, ctx, `row('flat-2').classList.contains('fresh')`)
		if inPage[bool](t, ctx, `row('flat-2').innerText === before`) {
			t.Error("the row says what it said before")
		}
		if !inPage[bool](t, ctx, `document.activeElement === held && Math.abs(held.getBoundingClientRect().top - stood) < 1`) {
			t.Error("the row was taken from its reader")
		}
		said := inPage[string](t, ctx, `document.querySelector('[role=status] .live').innerText`)
		if !strings.HasPrefix(said, "Brought up to date at ") || !strings.HasSuffix(said, ": Flat, four rooms, in use") {
			t.Errorf("the page says %q", said)
		}
		browsertest.Look(t, ctx, "board, brought up to date")

		s.record("north", "flat-2", s.act(events.JobSignedOff, "2026-06-19", events.SignOff{Role: "owner"}))
		until(t, ctx, `document.querySelector('#jobs-finished')?.closest('table')?.contains(row('flat-2'))`)
		if got := inPage[string](t, ctx, `document.activeElement.getAttribute('href')`); got != link {
			t.Errorf("the focus is on %q, not %q", got, link)
		}
		if n := inPage[int](t, ctx, `document.querySelectorAll('tr[data-key=flat-2]').length`); n != 1 {
			t.Errorf("the job stands on the board %d times", n)
		}
		sameAsAnew(t, ctx)
	})
	for _, message := range messages {
		t.Errorf("on the console: %s", message)
	}
}

// words is what the page says, but for what scripts wrote on it.
const words = `(() => {
	const main = document.querySelector('main').cloneNode(true);
	for (const drawn of main.querySelectorAll('.at-end, .chart')) drawn.remove();
	return main.textContent.replace(/\s+/g, ' ');
})()`

// sameAsAnew requires that the page says what it says when it is loaded anew.
func sameAsAnew(t *testing.T, ctx context.Context) {
	t.Helper()
	said := inPage[string](t, ctx, words)
	must(t, chromedp.Do(ctx, chromedp.Reload()))
	if anew := inPage[string](t, ctx, words); said != anew {
		t.Errorf("the page said\n%s\nand loaded anew\n%s", said, anew)
	}
}

// TestJobComesUpToDate: a new record stands first, the charts are drawn anew, and what
// its reader has opened and unfolded stays so.
func TestJobComesUpToDate(t *testing.T) {
	s := newStack(t)
	tell(s)
	ctx := browse(t, s)
	browsertest.View{Width: 1280, Scheme: "light"}.Set(t, ctx)
	messages := browsertest.Console(t, ctx, func() {
		must(t, chromedp.Do(ctx, chromedp.Navigate(s.address+"/jobs/stair-1")))
		browsertest.Look(t, ctx, "job")
		inPage[bool](t, ctx, `(() => {
			document.querySelector('figure details').open = true;
			window.chart = document.querySelector('.chart svg');
			return chart !== null;
		})()`)
		s.book("stair-1", 125)
		until(t, ctx, `document.querySelector('ol.timeline > li .what').textContent.includes('Loft')`)
		until(t, ctx, `!chart.isConnected && document.querySelector('.chart svg path') !== null`)
		if !inPage[bool](t, ctx, `document.querySelector('figure details').open`) {
			t.Error("the numbers of the chart were closed")
		}
		browsertest.Look(t, ctx, "job, brought up to date")
		sameAsAnew(t, ctx)
	})
	for _, message := range messages {
		t.Errorf("on the console: %s", message)
	}
}

// TestPageSaysThatTheLineIsCut stops the server while a page is open: the page says so
// once, and asks again less and less.
func TestPageSaysThatTheLineIsCut(t *testing.T) {
	s := newStack(t)
	tell(s)
	ctx := browse(t, s)
	must(t, chromedp.Do(ctx, chromedp.Navigate(s.address+"/")))
	// What would wait for seconds is run at once and written down.
	inPage[bool](t, ctx, `(() => {
		window.pauses = [];
		const wait = window.setTimeout;
		window.setTimeout = (run, after, ...more) => {
			if (after >= 2000) window.pauses.push(after);
			return wait(run, after >= 2000 ? 0 : after, ...more);
		};
		return true;
	})()`)
	s.stop()
	until(t, ctx, `document.querySelector('[role=status] .live:not([hidden])')?.innerText.startsWith('The line to the ledger is cut.')`)
	until(t, ctx, `window.pauses.length >= 8`)
	for n, pause := range inPage[[]float64](t, ctx, `window.pauses.slice(0, 8)`) {
		about := min(60_000, 3_000*float64(int(1)<<n))
		if pause < 0.75*about || pause > 1.25*about {
			t.Errorf("pause %d is %v ms, not about %v", n+1, pause, about)
		}
	}
	if said := inPage[string](t, ctx, `document.querySelector('.live').innerText`); strings.Contains(said, "{") {
		t.Errorf("the page says %q", said)
	}
}
