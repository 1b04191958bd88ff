package eventlog

import (
	"context"
	"fmt"
	"sync"
	"testing"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go/jetstream"

	"daysheet/events"
)

// TestFollowerThatLags cuts a follower off while its clients stay with it. What it
// would answer is old: nothing may be decided or reported from that. Once it is
// back, a client of its finds everything, and events that were sent before are
// known.
func TestFollowerThatLags(t *testing.T) {
	c := startCluster(t)
	c.prepare(t)
	partition := Partition(testFirm)
	near := open(t, c.config(c.nodes...))
	if _, err := untilRecorded(t.Context(), near, testJob, opening(testJob)); err != nil {
		t.Fatal(err)
	}
	leader := leaderOf(t, c.nodes, near, partition)
	follower := c.others(leader)[0]
	if err := near.Close(); err != nil {
		t.Fatal(err)
	}
	near = open(t, c.config(c.others(follower)...))
	cfg := c.config(follower)
	cfg.RequestTimeout = 500 * time.Millisecond
	far, err := Open(t.Context(), cfg)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := far.Close(); err != nil {
			t.Error(err)
		}
	})
	record(t, far, testFirm, testJob, hours("booking-before", testJob, 5))
	direct, err := far.js.Stream(t.Context(), streamName(partition))
	if err != nil {
		t.Fatal(err)
	}
	untilServes(t, follower, "$JS.API.DIRECT.GET."+streamName(partition))
	untilHolds(t, direct, 2) // the follower has both

	c.part(follower, true)
	acknowledged := map[string]bool{"booking-before": true}
	for i := range 5 {
		id := bookingID(i)
		if _, err := untilRecorded(t.Context(), near, testJob, hours(id, testJob, 5)); err != nil {
			t.Fatal(err)
		}
		acknowledged[id] = true
	}
	old, err := direct.GetLastMsgForSubject(t.Context(), subject(testFirm, testJob))
	if err != nil || old.Sequence != 2 {
		t.Fatalf("the follower answers with %+v (%v): it does not lag, and this test proves nothing", old, err)
	}
	if last, err := far.Last(t.Context(), partition); err == nil && last != 7 {
		t.Errorf("the partition ends at %d by the cut off follower, want 7 or no answer", last)
	}
	if stored, err := far.Commits(t.Context(), testFirm, testJob, 0); err == nil && len(stored) != 7 {
		t.Errorf("the job has %d commits by the cut off follower, want 7 or no answer", len(stored))
	}
	if err := far.Check(t.Context(), partition, 7); events.CodeOf(err) != events.Unavailable {
		t.Errorf("the cut off follower says %v of a log that ends at 7, want no answer", err)
	}
	again := []events.Event{hours(bookingID(2), testJob, 5)}
	receipts, err := far.Record(t.Context(), testFirm, testJob, "crew", again)
	if events.CodeOf(err) != events.Unavailable {
		t.Errorf("the cut off follower records %+v (%v), want no answer", receipts, err)
	}

	c.part(follower, false)
	for i := range 5 {
		receipts, err := untilRecorded(t.Context(), far, testJob, hours(bookingID(i), testJob, 5))
		if err != nil {
			t.Fatal(err)
		}
		wantReceipts(t, receipts, []events.Receipt{{ID: bookingID(i), Job: testJob, Sequence: uint64(3 + i), Duplicate: true}})
	}
	stored, err := untilRead(t.Context(), far, testJob)
	if err != nil {
		t.Fatal(err)
	}
	once(t, eventIDs(t, stored), acknowledged)
	if len(stored) != 7 {
		t.Errorf("%d commits are stored, want 7", len(stored))
	}
}

// untilRead reads the commits of a job, again while the log cannot answer.
func untilRead(ctx context.Context, l *Log, job string) ([]events.Stored, error) {
	for {
		stored, err := l.Commits(ctx, testFirm, job, 0)
		if events.CodeOf(err) != events.Unavailable || ctx.Err() != nil {
			return stored, err
		}
	}
}

// untilServes waits until a node itself answers to a subject.
func untilServes(t *testing.T, e *external, subject string) {
	t.Helper()
	for t.Context().Err() == nil {
		routes, err := e.server.Routez(nil)
		if err != nil {
			t.Fatal(err)
		}
		elsewhere := map[uint64]bool{}
		for _, r := range routes.Routes {
			elsewhere[r.Rid] = true
		}
		subs, err := e.server.Subsz(&server.SubszOptions{Subscriptions: true, Limit: 1 << 16})
		if err != nil {
			t.Fatal(err)
		}
		for _, s := range subs.Subs {
			if s.Subject == subject && !elsewhere[s.Cid] {
				return
			}
		}
	}
	t.Fatal("the node does not answer to " + subject)
}

// untilHolds waits until the replica that answers directly holds the sequence.
func untilHolds(t *testing.T, direct jetstream.Stream, sequence uint64) {
	t.Helper()
	for {
		if _, err := direct.GetMsg(t.Context(), sequence); err == nil {
			return
		} else if t.Context().Err() != nil {
			t.Fatal(err)
		}
	}
}

// TestPartedAndKilledWhileTwoLogsRecord has two logs record the same events on the
// same jobs while a follower is cut off and comes back, and then the leader is
// killed and comes back. Each event is stored once, where both receipts say.
func TestPartedAndKilledWhileTwoLogsRecord(t *testing.T) {
	c := startCluster(t)
	c.prepare(t)
	partition := Partition(testFirm)
	logs := []*Log{open(t, c.config(c.nodes...)), open(t, c.config(c.nodes...))}
	jobs := []string{"job-1", "job-2", "job-3"}
	for _, job := range jobs {
		if _, err := untilRecorded(t.Context(), logs[0], job, opening(job)); err != nil {
			t.Fatal(err)
		}
	}
	said := &receiptBook{}
	sending, stop := context.WithCancel(t.Context())
	var all sync.WaitGroup
	for _, l := range logs {
		for _, job := range jobs {
			all.Go(func() {
				for i := 0; sending.Err() == nil; i++ {
					id := fmt.Sprintf("%s-booking-%04d", job, i)
					receipts, err := untilRecorded(t.Context(), l, job, hours(id, job, 5))
					if err != nil {
						t.Errorf("record %s: %v", id, err)
						return
					}
					said.note(t, receipts[0])
				}
			})
		}
	}
	moves := func(least int) { // both logs go on recording
		for want := said.count() + least; said.count() < want && t.Context().Err() == nil && !t.Failed(); {
			said.wait()
		}
	}
	moves(60)
	follower := c.others(leaderOf(t, c.nodes, logs[0], partition))[0]
	c.part(follower, true)
	moves(60)
	c.part(follower, false)
	moves(60)
	leader := leaderOf(t, c.nodes, logs[0], partition)
	c.part(leader, true) // it lives on and believes that it leads
	moves(60)
	c.part(leader, false)
	moves(60)
	leader = leaderOf(t, c.nodes, logs[0], partition)
	leader.stop()
	moves(60)
	leader.start(t)
	moves(60)
	stop()
	all.Wait()
	total := uint64(0)
	for _, job := range jobs {
		stored := commits(t, logs[1], testFirm, job, 0)
		said.compare(t, job, stored)
		total += uint64(len(stored))
	}
	if err := logs[0].Check(t.Context(), partition, total); err != nil {
		t.Error(err)
	}
	t.Logf("%d receipts for %d commits", said.count(), total)
}

// receiptBook keeps what was said about each event.
type receiptBook struct {
	mu      sync.Mutex
	at      map[string]uint64 // sequence by id
	fresh   map[string]int    // receipts that say that their sender stored the event
	noted   int
	changed chan struct{}
}

func (b *receiptBook) note(t *testing.T, r events.Receipt) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.at == nil {
		b.at, b.fresh = map[string]uint64{}, map[string]int{}
	}
	if before := b.at[r.ID]; before != 0 && before != r.Sequence {
		t.Errorf("%s stands at %d by one receipt and at %d by another", r.ID, before, r.Sequence)
	}
	b.at[r.ID] = r.Sequence
	if !r.Duplicate {
		b.fresh[r.ID]++
	}
	b.noted++
	if b.changed != nil {
		close(b.changed)
		b.changed = nil
	}
}

func (b *receiptBook) count() int {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.noted
}

// wait returns at the next receipt.
func (b *receiptBook) wait() {
	b.mu.Lock()
	if b.changed == nil {
		b.changed = make(chan struct{})
	}
	changed := b.changed
	b.mu.Unlock()
	<-changed
}

// compare holds the receipts of a job against what is stored.
func (b *receiptBook) compare(t *testing.T, job string, stored []events.Stored) {
	t.Helper()
	found := map[string]uint64{}
	for _, s := range stored {
		commit, err := events.DecodeCommit(s.Raw)
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range commit.Events {
			if before := found[e.ID]; before != 0 {
				t.Errorf("%s is stored at %d and at %d", e.ID, before, s.Sequence)
			}
			found[e.ID] = s.Sequence
		}
	}
	for id, at := range b.at {
		if len(id) < len(job) || id[:len(job)] != job {
			continue
		}
		if found[id] != at {
			t.Errorf("%s stands at %d by its receipt and at %d in the log", id, at, found[id])
		}
		if b.fresh[id] > 1 {
			t.Errorf("%d receipts say that their sender stored %s", b.fresh[id], id)
		}
	}
}
