package main

import (
	"encoding/json"
	"fmt"
)

// measured is what was seen while a page was opened. Times are in milliseconds from the
// start of the navigation.
type measured struct {
	firstPaint, largestPaint float64
	shift                    float64 // sum of all layout shifts that no input caused
	longTasks                int     // of the page's main thread, longer than 50 ms
	longestTask              float64
	bytes                    float64 // over the wire, headers and compression included
	requests                 int
}

// traceEvent is what is wanted of an event of Chromium's trace (Trace Event Format).
// Times are in microseconds.
type traceEvent struct {
	Name     string  `json:"name"`
	Phase    string  `json:"ph"`
	Time     float64 `json:"ts"`
	Duration float64 `json:"dur"`
	Process  int     `json:"pid"`
	Thread   int     `json:"tid"`
	Args     struct {
		Frame string `json:"frame"`
		Data  struct {
			Address   string  `json:"documentLoaderURL"`
			Main      bool    `json:"isMainFrame"`
			Outermost bool    `json:"isOutermostMainFrame"`
			Score     float64 `json:"score"`
			HadInput  bool    `json:"had_recent_input"`
		} `json:"data"`
	} `json:"args"`
}

// longTask is when a task is long (W3C Long Tasks API).
const longTask = 50_000

// readTrace reads what happened from the last navigation to the address on.
func readTrace(raw []json.RawMessage, address string) (measured, error) {
	var start *traceEvent
	all := make([]traceEvent, len(raw))
	for i, text := range raw {
		e := &all[i]
		// Arguments differ from event to event: what has another form is none that is wanted.
		if err := json.Unmarshal(text, e); err != nil && e.Name == "navigationStart" {
			return measured{}, fmt.Errorf("read trace: %w", err)
		}
		if e.Name == "navigationStart" && e.Args.Data.Address == address && (start == nil || e.Time > start.Time) {
			start = e
		}
	}
	if start == nil {
		return measured{}, fmt.Errorf("the trace does not hold the navigation to %s", address)
	}
	var m measured
	for _, e := range all {
		if e.Process != start.Process || e.Time < start.Time {
			continue
		}
		at := (e.Time - start.Time) / 1000
		switch e.Name {
		case "firstContentfulPaint":
			if e.Args.Frame == start.Args.Frame && m.firstPaint == 0 {
				m.firstPaint = at
			}
		case "largestContentfulPaint::Candidate":
			if e.Args.Frame == start.Args.Frame {
				m.largestPaint = max(m.largestPaint, at)
			}
		case "LayoutShift":
			if !e.Args.Data.HadInput {
				m.shift += e.Args.Data.Score
			}
		case "RunTask":
			if e.Thread == start.Thread && e.Duration > longTask {
				m.longTasks++
				m.longestTask = max(m.longestTask, e.Duration/1000)
			}
		}
	}
	if m.firstPaint == 0 {
		return m, fmt.Errorf("the trace holds no first contentful paint of %s", address)
	}
	return m, nil
}
