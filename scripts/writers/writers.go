// Package writers puts a ledger under load for experiments: writers that each
// send one event after another, as phones do, and know what was acknowledged.
package writers

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"sync"
	"time"

	"golang.org/x/time/rate"
)

// Server is where events are sent to, and with which token.
type Server struct {
	Base, Token string
	Patience    time.Duration // how long a writer waits for an answer; zero waits without end
}

// Load is a number of writers that each send one event after another. A writer
// that got no answer sends the same event again, as a phone does. It is made by
// [New].
type Load struct {
	writers []*writer
	pace    *rate.Limiter // nil: as fast as they are answered

	mu      sync.Mutex
	acked   map[string]bool
	refusal string        // what the last answer said that asked to send later
	refused int           // how many answers did
	deaf    bool          // nothing is an answer
	changed chan struct{} // closed at the next acknowledgement; nil if nobody waits
}

// writer sends to a job of its own and, every fourth event, to one that all share; or,
// where jobs end, to one job of its own after the other.
type writer struct {
	number int
	next   int
	each   int // events of a job; 0: jobs do not end
	opened bool
}

// New returns a load of writers that sent nothing yet.
func New(writers int) *Load {
	l := &Load{acked: map[string]bool{}}
	for n := range writers {
		l.writers = append(l.writers, &writer{number: n})
	}
	return l
}

// Pace bounds what all writers send together to so many events a second. It is
// called before they start; without it each sends as soon as it was answered.
func (l *Load) Pace(perSecond int) { l.pace = rate.NewLimiter(rate.Limit(perSecond), 1) }

// Deaf says whether answers do not count: a machine without power gives none, whatever a
// program on it still sends.
func (l *Load) Deaf(deaf bool) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.deaf = deaf
}

// JobsOf has every writer close its job after so many events and open another, as a firm
// does over the months; nothing is shared then. It is called before they start.
func (l *Load) JobsOf(events int) {
	for _, w := range l.writers {
		w.each = events
	}
}

// Acknowledged returns how many events were acknowledged.
func (l *Load) Acknowledged() int {
	l.mu.Lock()
	defer l.mu.Unlock()
	return len(l.acked)
}

// Refusals returns how many answers asked to send later, and what the last of them said.
func (l *Load) Refusals() (last string, times int) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.refusal, l.refused
}

// More returns when n events more than now are acknowledged.
func (l *Load) More(ctx context.Context, n int) error {
	for want := l.Acknowledged() + n; ; {
		l.mu.Lock()
		if len(l.acked) >= want {
			l.mu.Unlock()
			return nil
		}
		if l.changed == nil {
			l.changed = make(chan struct{})
		}
		changed := l.changed
		l.mu.Unlock()
		select {
		case <-changed:
		case <-ctx.Done():
			return fmt.Errorf("wait for %d events to be acknowledged: %w", n, context.Cause(ctx))
		}
	}
}

// Recorded reads an export of events, as lines of JSON, and returns how often each event id
// stands in it.
func Recorded(export io.Reader) (map[string]int, error) {
	times := map[string]int{}
	for lines := json.NewDecoder(export); ; {
		var e struct {
			ID string `json:"id"`
		}
		if err := lines.Decode(&e); err == io.EOF {
			return times, nil
		} else if err != nil {
			return nil, fmt.Errorf("read exported events: %w", err)
		}
		times[e.ID]++
	}
}

// Compare returns how many acknowledged events are missing among those recorded,
// and how many stand there more than once.
func (l *Load) Compare(recorded map[string]int) (lost, doubled int) {
	l.mu.Lock()
	defer l.mu.Unlock()
	for id := range l.acked {
		switch recorded[id] {
		case 0:
			lost++
		case 1:
		default:
			doubled++
		}
	}
	return lost, doubled
}

// Start sends to a server until ctx ends or the server is gone. The channel yields
// the first answer that is neither a receipt nor silence.
func (l *Load) Start(ctx context.Context, server Server) <-chan error {
	return l.start(ctx, func(ctx context.Context, w *writer, enough func() bool) error {
		for ctx.Err() == nil && !enough() {
			err := l.sendNext(ctx, w, server)
			if errors.Is(err, errSilence) {
				return nil
			}
			if err != nil {
				return err
			}
		}
		return nil
	})
}

// pause is how long a writer waits for a server that gives no answer to come back.
const pause = 50 * time.Millisecond

// Persist sends to the servers in turn until ctx ends, whatever they do: a writer
// that gets no answer waits a little and tries the next one.
func (l *Load) Persist(ctx context.Context, servers []Server) <-chan error {
	return l.start(ctx, func(ctx context.Context, w *writer, enough func() bool) error {
		for turn := w.number; ctx.Err() == nil && !enough(); turn++ {
			err := l.sendNext(ctx, w, servers[turn%len(servers)])
			if errors.Is(err, errSilence) {
				select {
				case <-ctx.Done():
				case <-time.After(pause):
				}
				continue
			}
			if err != nil {
				return err
			}
		}
		return nil
	})
}

func (l *Load) start(ctx context.Context, send func(context.Context, *writer, func() bool) error) <-chan error {
	done := make(chan error, 1)
	go func() {
		// The job that all share must be opened before others write to it.
		first := l.writers[0]
		if err := send(ctx, first, func() bool { return first.opened }); err != nil {
			done <- err
			return
		}
		errs := make([]error, len(l.writers))
		var writers sync.WaitGroup
		for i, w := range l.writers {
			writers.Go(func() { errs[i] = send(ctx, w, func() bool { return false }) })
		}
		writers.Wait()
		done <- errors.Join(errs...)
	}()
	return done
}

// Finish sends once more what was in flight when the last server was gone.
func (l *Load) Finish(ctx context.Context, server Server) error {
	for _, w := range l.writers {
		if err := l.sendNext(ctx, w, server); err != nil {
			return fmt.Errorf("finish: %w", err)
		}
	}
	return nil
}

var errSilence = errors.New("no answer")

func (l *Load) sendNext(ctx context.Context, w *writer, server Server) error {
	if l.pace != nil {
		if err := l.pace.Wait(ctx); err != nil {
			return errSilence // ctx ended before its turn: nothing was sent
		}
	}
	if server.Patience > 0 {
		var cancel context.CancelFunc
		ctx, cancel = context.WithTimeout(ctx, server.Patience)
		defer cancel()
	}
	id, body := w.event()
	r, err := http.NewRequestWithContext(ctx, http.MethodPost, server.Base+"/v1/events", bytes.NewReader(body))
	if err != nil {
		return err
	}
	r.Header.Set("Authorization", "Bearer "+server.Token)
	r.Header.Set("Content-Type", "application/cloudevents+json")
	answer, err := http.DefaultClient.Do(r)
	if err != nil {
		return errSilence
	}
	defer answer.Body.Close()
	text, err := io.ReadAll(answer.Body)
	if err != nil && answer.StatusCode/100 != 2 {
		return errSilence
	}
	switch {
	case l.isDeaf():
		return errSilence
	case answer.StatusCode/100 == 2: // the status line alone acknowledges
	case answer.StatusCode == http.StatusServiceUnavailable:
		l.mu.Lock()
		l.refusal = string(text)
		l.refused++
		l.mu.Unlock()
		return errSilence
	default:
		return fmt.Errorf("event %s: status %d: %s", id, answer.StatusCode, text)
	}
	if !l.note(id) {
		return errSilence
	}
	w.done()
	return nil
}

func (l *Load) isDeaf() bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.deaf
}

// note takes an event for acknowledged, and reports whether it may.
func (l *Load) note(id string) bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.deaf {
		return false
	}
	l.acked[id] = true
	if l.changed != nil {
		close(l.changed)
		l.changed = nil
	}
	return true
}

// event returns the event that the writer has to send now; the same until done.
func (w *writer) event() (id string, body []byte) {
	id = fmt.Sprintf("load-%04d-%08d", w.number, w.next)
	job, kind, data := fmt.Sprintf("job-%d", w.number), "hours.booked",
		`{"person":"anna","task":"sand","minutes":30}`
	switch {
	case w.each > 0:
		job = fmt.Sprintf("job-%d-%d", w.number, w.next/w.each)
	case w.next%4 == 3:
		job = "job-0"
	}
	if w.each > 0 && w.next%w.each == w.each-1 {
		kind, data = "job.closed", `{"billed_e4":9000000}`
	}
	if !w.opened || w.each > 0 && w.next%w.each == 0 {
		kind, data = "job.opened", `{"job_type":"stairwell","title":"Invented"}`
	}
	return id, fmt.Appendf(nil,
		`{"specversion":"1.0","id":%q,"source":"/load","type":"daysheet.%s.v1","subject":%q,"time":%q,"data":%s}`,
		id, kind, job, moment(w.next), data)
}

// moment is the same for the same event, so that sending again sends the same.
func moment(n int) string {
	return time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC).Add(time.Duration(n) * time.Second).Format(time.RFC3339)
}

func (w *writer) done() {
	w.next++
	w.opened = true
}
