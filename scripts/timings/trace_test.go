package main

import (
	"encoding/json"
	"strings"
	"testing"
)

// TestReadTrace reads a made up trace of two navigations: what was before the last one, of
// another process, of another thread, or after a touch does not count.
func TestReadTrace(t *testing.T) {
	var raw []json.RawMessage
	for _, line := range strings.Split(strings.TrimSpace(`
{"name":"navigationStart","ts":1000,"pid":7,"tid":1,"args":{"frame":"f","data":{"documentLoaderURL":"http://x/a"}}}
{"name":"firstContentfulPaint","ts":9000,"pid":7,"tid":1,"args":{"frame":"f"}}
{"name":"navigationStart","ts":1000000,"pid":7,"tid":1,"args":{"frame":"f","data":{"documentLoaderURL":"http://x/a"}}}
{"name":"navigationStart","ts":1500000,"pid":7,"tid":1,"args":{"frame":"g","data":{"documentLoaderURL":"http://x/b"}}}
{"name":"RunTask","ts":1010000,"dur":70000,"pid":7,"tid":1,"args":{}}
{"name":"RunTask","ts":1090000,"dur":50000,"pid":7,"tid":1,"args":{}}
{"name":"RunTask","ts":1090000,"dur":90000,"pid":7,"tid":2,"args":{}}
{"name":"RunTask","ts":1090000,"dur":90000,"pid":8,"tid":1,"args":{}}
{"name":"firstContentfulPaint","ts":1120000,"pid":7,"tid":1,"args":{"frame":"f"}}
{"name":"firstContentfulPaint","ts":1610000,"pid":7,"tid":1,"args":{"frame":"g"}}
{"name":"largestContentfulPaint::Candidate","ts":1120000,"pid":7,"tid":1,"args":{"frame":"f"}}
{"name":"largestContentfulPaint::Candidate","ts":1250000,"pid":7,"tid":1,"args":{"frame":"f"}}
{"name":"LayoutShift","ts":1300000,"pid":7,"tid":1,"args":{"data":{"score":0.25,"had_recent_input":false}}}
{"name":"LayoutShift","ts":1310000,"pid":7,"tid":1,"args":{"data":{"score":0.5,"had_recent_input":true}}}
{"name":"LayoutShift","ts":1320000,"pid":7,"tid":1,"args":{"data":{"score":0.125}}}
{"name":"Other","ts":1320000,"pid":7,"tid":1,"args":{"data":"text"}}`), "\n") {
		raw = append(raw, json.RawMessage(line))
	}
	got, err := readTrace(raw, "http://x/a")
	want := measured{firstPaint: 120, largestPaint: 250, shift: 0.375, longTasks: 1, longestTask: 70}
	if err != nil || got != want {
		t.Errorf("%+v, %v; want %+v", got, err, want)
	}
	for _, address := range []string{"http://x/b", "http://x/c"} {
		if _, err := readTrace(raw, address); (err == nil) != (address == "http://x/b") {
			t.Errorf("%s: %v", address, err)
		}
	}
	if err := phoneGoals.missed("crew", measured{firstPaint: 900, shift: 0.2, bytes: 120_000}); err == nil ||
		strings.Count(err.Error(), "crew: ") != 2 {
		t.Errorf("missed: %v", err)
	}
}
