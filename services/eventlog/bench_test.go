package eventlog

import (
	"errors"
	"fmt"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"daysheet/events"
)

// writers is how many goroutines the benchmarks write with.
const writers = 64

// BenchmarkRecord compares recording one event per commit on distinct jobs with
// publishing messages of the same size and durability, and no more, to the same
// server. It reports both rates and which part of the raw rate is left.
func BenchmarkRecord(b *testing.B) {
	l := openDir(b, b.TempDir())
	size := 0
	for w := range writers {
		job := fmt.Sprintf("job-%d", w)
		record(b, l, testFirm, job, opening(job))
		record(b, l, testFirm, job, hours(fmt.Sprintf("booking-%08d", 0), job, 60))
		stored := commits(b, l, testFirm, job, 0)
		size = len(stored[len(stored)-1].Raw)
	}
	payload := make([]byte, size)
	publish := func(w, _ int) error {
		m := nats.NewMsg(subject(testFirm, fmt.Sprintf("raw-%d", w)))
		m.Data = payload
		_, err := l.js.PublishMsg(b.Context(), m)
		return err
	}
	booking := func(w, n int) error {
		job := fmt.Sprintf("job-%d", w)
		e := hours(fmt.Sprintf("booking-%08d", n+1), job, 60)
		_, err := l.Record(b.Context(), testFirm, job, "crew", []events.Event{e})
		return err
	}
	// Turn by turn, so that a disk that is busy with other things slows both down.
	const turn = 4 * writers
	var raw, recorded time.Duration
	calls := 0
	for b.Loop() {
		raw += took(b, turn, calls, publish)
		recorded += took(b, turn, calls, booking)
		calls += turn
	}
	b.ReportMetric(0, "ns/op")
	b.ReportMetric(float64(calls)/raw.Seconds(), "raw/s")
	b.ReportMetric(float64(calls)/recorded.Seconds(), "commits/s")
	b.ReportMetric(raw.Seconds()/recorded.Seconds(), "record/raw")
}

// took makes the calls, numbered from first and spread over the writers, and
// returns how long they took together.
func took(b *testing.B, calls, first int, do func(writer, n int) error) time.Duration {
	b.Helper()
	var turn atomic.Int64
	var all sync.WaitGroup
	start := time.Now()
	for w := range writers {
		all.Go(func() {
			for n := int(turn.Add(1)); n <= calls; n = int(turn.Add(1)) {
				if err := do(w, first+n); err != nil {
					b.Error(err)
					return
				}
			}
		})
	}
	all.Wait()
	return time.Since(start)
}

// BenchmarkFollow replays a partition of 200,000 messages from the start.
func BenchmarkFollow(b *testing.B) {
	const n = 200_000
	dir := b.TempDir()
	fillRaw(b, dir, n)
	l := open(b, Config{Dir: dir, MaxBytes: 1 << 30})
	enough := errors.New("all has arrived")
	batches := 0
	start := time.Now()
	for b.Loop() {
		err := l.Follow(b.Context(), Partition(testFirm), 0, func(batch []events.Stored) error {
			batches++
			if batch[len(batch)-1].Sequence == n {
				return enough
			}
			return nil
		})
		if !errors.Is(err, enough) {
			b.Fatalf("following ended early: %v", err)
		}
	}
	b.ReportMetric(float64(n*b.N)/time.Since(start).Seconds(), "msg/s")
	b.ReportMetric(float64(n*b.N)/float64(batches), "msg/batch")
}

// fillRaw puts n messages of 600 bytes into a folder. Only a follower will look at
// them. The server that does it does not sync each to disk, which would take
// longer than all that is measured.
func fillRaw(b *testing.B, dir string, n int) {
	b.Helper()
	e := startExternalIn(b, dir, false)
	cfg, err := Config{Dir: dir, MaxBytes: 1 << 30}.withDefaults()
	if err != nil {
		b.Fatal(err)
	}
	js := e.admin(b)
	if _, err := js.CreateStream(b.Context(), streamConfig(Partition(testFirm), cfg)); err != nil {
		b.Fatal(err)
	}
	payload := make([]byte, 600)
	for i := range n {
		to := subject(testFirm, fmt.Sprintf("raw-%d", i%1000))
		if _, err := js.PublishAsync(to, payload, jetstream.WithStallWait(time.Minute)); err != nil {
			b.Fatal(err)
		}
	}
	<-js.PublishAsyncComplete()
	e.stop()
}

// BenchmarkCommits reads the chain of a firm's own events, 2,000 commits long.
func BenchmarkCommits(b *testing.B) {
	const n = 2000
	l := openDir(b, b.TempDir())
	book(b, l, testFirm, testJob, n-1)
	for b.Loop() {
		if got := len(commits(b, l, testFirm, testJob, 0)); got != n {
			b.Fatalf("%d commits were read, want %d", got, n)
		}
	}
	b.ReportMetric(float64(b.Elapsed().Microseconds())/float64(b.N*n), "us/commit")
}
