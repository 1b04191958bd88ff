package reporting

import (
	"bufio"
	"context"
	"fmt"
	"net/http"
	"strings"
	"testing"

	"daysheet/events"
)

// watcher reads a stream of changes.
type watcher struct {
	t        *testing.T
	response *http.Response
	lines    *bufio.Scanner
}

func (s *stack) watch(last string) *watcher {
	s.t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	s.t.Cleanup(cancel)
	request, err := http.NewRequestWithContext(ctx, http.MethodGet, s.address+"/v1/watch", nil)
	must(s.t, err)
	request.Header.Set("Authorization", "Bearer "+s.tokens["north"])
	if last != "" {
		request.Header.Set("Last-Event-ID", last)
	}
	response, err := http.DefaultClient.Do(request)
	must(s.t, err)
	s.t.Cleanup(func() { response.Body.Close() })
	for name, want := range map[string]string{"Content-Type": "text/event-stream", "X-Accel-Buffering": "no"} {
		if got := response.Header.Get(name); got != want {
			s.t.Errorf("%s is %q, not %q", name, got, want)
		}
	}
	w := &watcher{s.t, response, bufio.NewScanner(response.Body)}
	if got := w.next(); got != "retry: 3000" {
		s.t.Errorf("the stream begins with %q", got)
	}
	return w
}

// next returns the next message with its lines joined; the empty text where the
// stream has ended.
func (w *watcher) next() string {
	w.t.Helper()
	var message []string
	for w.lines.Scan() {
		if w.lines.Text() == "" {
			return strings.Join(message, "|")
		}
		message = append(message, w.lines.Text())
	}
	must(w.t, w.lines.Err())
	return ""
}

func (w *watcher) expect(want string) {
	w.t.Helper()
	if got := w.next(); got != want {
		w.t.Errorf("the stream says %q, not %q", got, want)
	}
}

func changed(job string, sequence uint64) string {
	return fmt.Sprintf(`id: %d|event: job.changed|data: {"job":"%s","sequence":%d}`, sequence, job, sequence)
}

func TestWatch(t *testing.T) {
	s := newStack(t)
	s.settle("north")
	open := func(firm, job string) uint64 {
		return s.record(firm, job, s.act(events.JobOpened, "2026-06-01", events.Opening{JobType: "exterior", Title: job}))
	}
	w := s.watch("")
	open("south", "theirs")
	one := open("north", "one")
	w.expect(changed("one", one))
	two := open("north", "two")
	w.expect(changed("two", two))
	settled := s.record("north", events.FirmJob, s.act(events.ProductListed, "2026-06-01",
		events.Product{Product: "primer", Name: "Primer", Unit: events.Litre, PriceE4: 1}))
	w.expect(changed("firm", settled))

	// Who comes back is told of each job once, and then of what is new.
	again := s.record("north", "one", s.act(events.HoursBooked, "2026-06-02", events.Hours{Person: "una",
		Task: "coat", Minutes: 60}))
	w.expect(changed("one", again))
	back := s.watch(fmt.Sprint(one))
	back.expect(changed("two", two))
	back.expect(changed("firm", settled))
	back.expect(changed("one", again))
	three := open("north", "three")
	back.expect(changed("three", three))
	w.expect(changed("three", three))

	for _, unknown := range []string{"400000", "yesterday", "-1"} {
		s.watch(unknown).expect(fmt.Sprintf(`id: %d|event: reset|data: {"sequence":%d}`, three, three))
	}

	// The server can stop while someone watches.
	s.stop()
	if got := w.next(); got != "" {
		t.Errorf("after the end the stream says %q", got)
	}
}
