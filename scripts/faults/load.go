package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"sync"
	"time"
)

// load is a number of writers that each send one event after another. A writer
// that got no answer sends the same event again, as a phone does.
type load struct {
	writers []*writer

	mu    sync.Mutex
	acked map[string]bool
}

// writer sends to a job of its own and, every fourth event, to one that all share.
type writer struct {
	number int
	next   int
	opened bool
}

func newLoad(writers int) *load {
	l := &load{acked: map[string]bool{}}
	for n := range writers {
		l.writers = append(l.writers, &writer{number: n})
	}
	return l
}

func (l *load) acknowledged() int {
	l.mu.Lock()
	defer l.mu.Unlock()
	return len(l.acked)
}

// start sends until ctx ends or the server is gone. The channel yields the first
// answer that is neither a receipt nor silence.
func (l *load) start(ctx context.Context, base, token string) <-chan error {
	done := make(chan error, 1)
	go func() {
		// The job that all share must be opened before others write to it.
		if first := l.writers[0]; !first.opened {
			if err := l.sendNext(ctx, first, base, token); err != nil && !errors.Is(err, errSilence) {
				done <- err
				return
			}
		}
		errs := make([]error, len(l.writers))
		var writers sync.WaitGroup
		for i, w := range l.writers {
			writers.Go(func() { errs[i] = l.send(ctx, w, base, token) })
		}
		writers.Wait()
		done <- errors.Join(errs...)
	}()
	return done
}

var errSilence = errors.New("no answer")

func (l *load) send(ctx context.Context, w *writer, base, token string) error {
	for ctx.Err() == nil {
		err := l.sendNext(ctx, w, base, token)
		if errors.Is(err, errSilence) {
			return nil
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// finish sends once more what was in flight when the last server was killed.
func (l *load) finish(ctx context.Context, base, token string) error {
	for _, w := range l.writers {
		if err := l.sendNext(ctx, w, base, token); err != nil {
			return fmt.Errorf("finish: %w", err)
		}
	}
	return nil
}

func (l *load) sendNext(ctx context.Context, w *writer, base, token string) error {
	id, body := w.event()
	r, err := http.NewRequestWithContext(ctx, http.MethodPost, base+"/v1/events", bytes.NewReader(body))
	if err != nil {
		return err
	}
	r.Header.Set("Authorization", "Bearer "+token)
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
	case answer.StatusCode/100 == 2: // the status line alone acknowledges
	case answer.StatusCode == http.StatusServiceUnavailable:
		return errSilence
	default:
		return fmt.Errorf("event %s: status %d: %s", id, answer.StatusCode, text)
	}
	l.mu.Lock()
	l.acked[id] = true
	l.mu.Unlock()
	w.done()
	return nil
}

// event returns the event that the writer has to send now; the same until done.
func (w *writer) event() (id string, body []byte) {
	id = fmt.Sprintf("load-%04d-%08d", w.number, w.next)
	job, kind, data := fmt.Sprintf("job-%d", w.number), "hours.booked",
		`{"person":"anna","task":"sand","minutes":30}`
	if w.next%4 == 3 {
		job = "job-0"
	}
	if !w.opened {
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
