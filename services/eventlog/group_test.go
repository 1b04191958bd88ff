package eventlog

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"testing"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"daysheet/events"
)

// manyJobs opens more jobs than go one by one.
func manyJobs(t *testing.T, l *Log) []string {
	t.Helper()
	jobs := make([]string, 4*groupLeast)
	for i := range jobs {
		jobs[i] = fmt.Sprintf("job-%d", i)
		record(t, l, testFirm, jobs[i], opening(jobs[i]))
	}
	return jobs
}

// grouped returns how many commits of the test's partition came in groups.
func grouped(t *testing.T, l *Log) (n int) {
	t.Helper()
	last, err := l.Last(t.Context(), Partition(testFirm))
	if err != nil {
		t.Fatal(err)
	}
	for sequence := uint64(1); sequence <= last; sequence++ {
		m, err := l.streams[Partition(testFirm)].GetMsg(t.Context(), sequence)
		if err != nil {
			t.Fatal(err)
		}
		if m.Header.Get(headerGroup) != "" {
			n++
		}
	}
	return n
}

// untilWaiting waits until n messages wait for their turn.
func untilWaiting(t *testing.T, g *group, n int) {
	t.Helper()
	for tick := time.Tick(time.Millisecond); ; {
		g.mu.Lock()
		waiting := len(g.waiting)
		g.mu.Unlock()
		if waiting == n {
			return
		}
		select {
		case <-tick:
		case <-t.Context().Done():
			t.Fatalf("%d messages wait, want %d", waiting, n)
		}
	}
}

// TestManyJobsShareTheDisk records on many jobs at the same time: commits go in groups,
// and each receipt names the sequence at which its event is stored.
func TestManyJobsShareTheDisk(t *testing.T) {
	l := openDir(t, t.TempDir())
	jobs := manyJobs(t, l)
	const each = 10
	var all sync.WaitGroup
	for _, job := range jobs {
		all.Go(func() {
			for i := range each {
				id := fmt.Sprintf("booking-%s-%d", job, i)
				receipts, err := l.Record(t.Context(), testFirm, job, "crew", []events.Event{hours(id, job, 5)})
				if err != nil {
					t.Error(err)
					return
				}
				stored := commits(t, l, testFirm, job, 0)
				if last := stored[len(stored)-1]; last.Sequence != receipts[0].Sequence || receipts[0].Duplicate ||
					eventIDs(t, stored)[len(stored)-1] != id {
					t.Errorf("%s has the receipt %+v and stands at %d", id, receipts[0], last.Sequence)
				}
			}
		})
	}
	all.Wait()
	if n := grouped(t, l); n < groupLeast {
		t.Errorf("%d commits came in groups", n)
	}
	if err := l.Check(t.Context(), Partition(testFirm), uint64(len(jobs)*(each+1))); err != nil {
		t.Error(err)
	}
}

// TestOneOfAGroupIsRefused has another process record on one of the jobs, so that a group
// with the next commit of that job is refused whole: all are recorded all the same, once.
func TestOneOfAGroupIsRefused(t *testing.T) {
	l := openDir(t, t.TempDir())
	jobs := manyJobs(t, l)
	other := &Log{cfg: l.cfg, link: l.link, js: l.js, streams: l.streams, folds: newFolds(10), name: "other"}
	record(t, other, testFirm, jobs[0], hours("booking-other", jobs[0], 5))
	g := l.groups[Partition(testFirm)]
	g.mu.Lock()
	g.together = true // until all have come
	g.mu.Unlock()
	var all sync.WaitGroup
	for _, job := range jobs {
		all.Go(func() {
			receipts, err := l.Record(t.Context(), testFirm, job, "crew", []events.Event{hours("booking-"+job, job, 5)})
			if err != nil || receipts[0].Duplicate {
				t.Errorf("%s: %+v, %v", job, receipts, err)
			}
		})
	}
	untilWaiting(t, g, len(jobs))
	g.mu.Lock()
	g.together = false
	g.call()
	g.mu.Unlock()
	all.Wait()
	for i, job := range jobs {
		want := map[string]bool{"booking-" + job: true}
		if i == 0 {
			want["booking-other"] = true
		}
		once(t, eventIDs(t, commits(t, l, testFirm, job, 0)), want)
	}
}

// TestNoTimeForATurn withdraws what was not sent when its sender's time was up.
func TestNoTimeForATurn(t *testing.T) {
	l := openDir(t, t.TempDir())
	record(t, l, testFirm, testJob, opening(testJob))
	g := l.groups[Partition(testFirm)]
	g.mu.Lock()
	g.together = true // and never comes back
	g.mu.Unlock()
	ctx, cancel := context.WithCancel(t.Context())
	recorded := make(chan error, 1)
	go func() {
		_, err := l.Record(ctx, testFirm, testJob, "crew", []events.Event{hours("booking-1", testJob, 5)})
		recorded <- err
	}()
	untilWaiting(t, g, 1)
	cancel()
	err := <-recorded
	wantCode(t, err, events.Unavailable, "sending the same events again is safe", errWithdrawn.Error())
	g.mu.Lock()
	left := len(g.waiting)
	g.together = false
	g.mu.Unlock()
	if left != 0 {
		t.Errorf("%d messages wait with nobody behind them", left)
	}
	record(t, l, testFirm, testJob, hours("booking-1", testJob, 5))
	if n := len(commits(t, l, testFirm, testJob, 0)); n != 2 {
		t.Errorf("%d commits, want 2", n)
	}
}

// TestGroupsAreAllowedLater opens a log from before groups: its streams are raised.
func TestGroupsAreAllowedLater(t *testing.T) {
	dir := t.TempDir()
	e := startExternalIn(t, dir, true)
	cfg, err := Config{Dir: dir, MaxBytes: 64 << 20}.withDefaults()
	if err != nil {
		t.Fatal(err)
	}
	js := e.admin(t)
	for partition := range uint8(Partitions) {
		before := streamConfig(partition, cfg)
		before.AllowAtomicPublish = false
		if _, err := js.CreateStream(t.Context(), before); err != nil {
			t.Fatal(err)
		}
	}
	e.stop()
	l := openDir(t, dir)
	if !l.streams[0].CachedInfo().Config.AllowAtomicPublish {
		t.Error("the streams of the log before allow no groups")
	}
	m := nats.NewMsg(subject(testFirm, testJob))
	m.Header.Set(headerGroup, "of-one")
	m.Header.Set(headerGroupPlace, "1")
	m.Header.Set(headerGroupCommit, "1")
	m.Header.Set(jetstream.ExpectedLastSubjSeqHeader, "7")
	g := &group{link: l.link, patience: l.cfg.RequestTimeout}
	if _, err := g.request(t.Context(), []*outgoing{{message: m}}); !errors.Is(err, errGroupRefused) || !conflict(err) {
		t.Errorf("a group of one on a wrong sequence: %v", err)
	}
}
