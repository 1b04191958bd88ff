package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"sync"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/storage"
	"github.com/chromedp/cdproto/tracing"
	"github.com/chromedp/chromedp"
)

// goals are what a page should keep to: milliseconds, score and bytes.
type goals struct{ firstPaint, shift, bytes float64 }

// What is asked of each page. First paint and shift are the bounds of "good" of the Core
// Web Vitals at most (web.dev: FCP 1.8 s, CLS 0.1), and tighter; bytes are ours.
var (
	officeGoals = goals{firstPaint: 1000, shift: 0.1, bytes: 500_000}
	phoneGoals  = goals{firstPaint: 1000, shift: 0.1, bytes: 100_000}
)

func (g goals) missed(name string, m measured) error {
	var all []error
	for _, one := range []struct {
		what      string
		got, most float64
	}{{"first contentful paint, ms", m.firstPaint, g.firstPaint}, {"layout shift", m.shift, g.shift},
		{"bytes", m.bytes, g.bytes}} {
		if one.got > one.most {
			all = append(all, fmt.Errorf("%s: %s is %.2f, above %.2f", name, one.what, one.got, one.most))
		}
	}
	return errors.Join(all...)
}

// page is something to open.
type page struct {
	name, path string
	ready      string // condition under which the page is whole
	width      int64
	throttle   float64 // how many times slower the processor is
	goals      goals
}

const (
	officeReady = `document.readyState === 'complete' &&
		(!document.querySelector('.chart[data-src]') || document.documentElement.dataset.charts === 'drawn')`
	phoneReady = `document.querySelector('#main')?.dataset.shown === location.href`
)

func pagesOf(job string) []page {
	office := func(name, path string) page { return page{name, path, officeReady, 1280, 1, officeGoals} }
	return []page{
		office("board", "/"), office("job", "/jobs/"+job), office("job summary", "/reports/job-summary"),
		office("job types", "/reports/job-types"), office("jobs compared", "/reports/job-spread"),
		office("handover", "/jobs/"+job+"/handover"),
		{"crew, 360 px, 4x slower", "/crew", phoneReady, 360, 4, phoneGoals},
	}
}

// traced are the categories of Chromium's trace that hold what is wanted.
func traced() []string {
	return []string{"-*", "loading", "blink.user_timing", "devtools.timeline", "disabled-by-default-devtools.timeline"}
}

// measure opens the page and returns what the trace says of it.
func (p page) measure(ctx context.Context, base string, warm bool) (measured, error) {
	steps := []chromedp.Action[chromedp.Void]{chromedp.EmulateViewport(p.width, 800), chromedp.Navigate("about:blank")}
	if err := chromedp.Do(ctx, steps...); err != nil {
		return measured{}, fmt.Errorf("leave the last page: %w", err)
	}
	if _, err := chromedp.Call(ctx, emulation.SetCPUThrottlingRate,
		emulation.SetCPUThrottlingRateParams{Rate: p.throttle}); err != nil {
		return measured{}, fmt.Errorf("throttle processor: %w", err)
	}
	if !warm {
		if err := forget(ctx, base); err != nil {
			return measured{}, err
		}
	}
	c, listening, stop := newCollector(ctx)
	defer stop()
	if err := chromedp.Listen(listening, c.take); err != nil {
		return measured{}, fmt.Errorf("listen: %w", err)
	}
	config := tracing.StartParams{TraceConfig: &tracing.TraceConfig{IncludedCategories: traced()}}
	if _, err := chromedp.Call(ctx, tracing.Start, config); err != nil {
		return measured{}, fmt.Errorf("start trace: %w", err)
	}
	settled := chromedp.Evaluate[chromedp.Void](`(async () => {
		while (!(`+p.ready+`)) await new Promise((again) => requestAnimationFrame(again));
		for (let n = 0; n < 3; n++) await new Promise((again) => requestIdleCallback(again));
	})()`, chromedp.EvalAwaitPromise)
	if err := chromedp.Do(ctx, chromedp.Navigate(base+p.path), settled); err != nil {
		return measured{}, fmt.Errorf("open: %w", err)
	}
	return c.end(ctx, base+p.path)
}

// forget empties what the browser keeps of the pages, but for who is signed in.
func forget(ctx context.Context, base string) error {
	if _, err := chromedp.Call(ctx, network.ClearBrowserCache, struct{}{}); err != nil {
		return fmt.Errorf("empty cache: %w", err)
	}
	kept := storage.ClearDataForOriginParams{Origin: base, StorageTypes: "service_workers,cache_storage,indexeddb"}
	if _, err := chromedp.Call(ctx, storage.ClearDataForOrigin, kept); err != nil {
		return fmt.Errorf("empty storage: %w", err)
	}
	return nil
}

// collector gathers what the browser tells while a page is opened.
type collector struct {
	mu       sync.Mutex
	events   []json.RawMessage
	bytes    float64
	requests int
	whole    chan bool // says whether the trace lost something
}

func newCollector(ctx context.Context) (c *collector, listening context.Context, stop func()) {
	listening, stop = context.WithCancel(ctx)
	return &collector{whole: make(chan bool, 1)}, listening, stop
}

// take is called for every event of the browser.
func (c *collector) take(event any) {
	c.mu.Lock()
	defer c.mu.Unlock()
	switch e := event.(type) {
	case *tracing.EventDataCollected:
		for _, v := range e.Value {
			c.events = append(c.events, json.RawMessage(v))
		}
	case *tracing.EventTracingComplete:
		c.whole <- !e.DataLossOccurred
	case *network.EventLoadingFinished:
		c.bytes += e.EncodedDataLength
		c.requests++
	}
}

// end stops the trace and reads it.
func (c *collector) end(ctx context.Context, address string) (measured, error) {
	if _, err := chromedp.Call(ctx, tracing.End, struct{}{}); err != nil {
		return measured{}, fmt.Errorf("end trace: %w", err)
	}
	select {
	case <-ctx.Done():
		return measured{}, ctx.Err()
	case whole := <-c.whole:
		if !whole {
			return measured{}, errors.New("the trace lost events")
		}
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	m, err := readTrace(c.events, address)
	m.bytes, m.requests = c.bytes, c.requests
	return m, err
}
