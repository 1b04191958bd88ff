package httpd

import (
	"fmt"
	"strconv"
	"testing"
	"time"
)

func TestRateLimit(t *testing.T) {
	b := newBench(t, func(c *Config) { c.RateEvery, c.RateBurst = time.Hour, 2 }, tryRoutes)
	var scenarios []scenario
	for i := range 2 {
		scenarios = append(scenarios, scenario{name: fmt.Sprint("within the share ", i), url: "/office", token: "reader", status: 200})
	}
	scenarios = append(scenarios,
		scenario{name: "beyond it", url: "/office", token: "reader", status: 429, contains: []string{`"/problems/too-many-requests"`}},
		scenario{name: "another token has its own", url: "/office", token: "boss", status: 200},
		scenario{name: "an address without a token has its own", url: "/office", status: 401},
		scenario{name: "and again", url: "/office", status: 401},
		scenario{name: "guessing ends", url: "/office", token: "ds_guess", status: 429},
	)
	b.run(t, scenarios)
	for range 5 {
		b.run(t, []scenario{{name: "health is exempt", url: "/livez", status: 200}})
	}
	answer, _ := b.do(t, scenario{url: "/office", token: "reader"})
	seconds, err := strconv.Atoi(answer.Header.Get("Retry-After"))
	if err != nil || seconds < 1 || seconds > 3600 {
		t.Errorf("Retry-After is %q, want 1 to 3600 seconds", answer.Header.Get("Retry-After"))
	}
}

// TestLimitersAreBounded checks that a flood of senders takes no more memory than
// two generations, and that a sender who keeps calling keeps its share.
func TestLimitersAreBounded(t *testing.T) {
	l := newLimits(time.Hour, 3, 100)
	for range 3 {
		if l.Wait("steady") != 0 {
			t.Fatal("a fresh sender had to wait")
		}
	}
	for i := range 10_000 {
		l.Wait(fmt.Sprint("flood ", i))
		if i%50 == 0 && l.Wait("steady") == 0 {
			t.Fatalf("after %d senders the steady one had a new share", i)
		}
	}
	if n := len(l.young) + len(l.old); n > 200 {
		t.Errorf("%d senders are kept, want at most 200", n)
	}
}
