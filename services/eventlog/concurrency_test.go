package eventlog

import (
	"context"
	"fmt"
	"sync"
	"testing"

	"daysheet/events"
)

func TestManyGoroutinesOneProcess(t *testing.T) {
	l := openDir(t, t.TempDir())
	jobs := []string{"job-1", "job-2", "job-3"}
	for _, job := range jobs {
		record(t, l, testFirm, job, opening(job))
	}
	const writers, each = 24, 5
	acknowledged := appendAlike(t, []*Log{l}, jobs, writers, each)
	for _, job := range jobs {
		stored := commits(t, l, testFirm, job, 0)
		once(t, eventIDs(t, stored), acknowledged[job])
		if len(stored) != writers/len(jobs)*each+1 {
			t.Errorf("%s has %d commits, want %d", job, len(stored), writers/len(jobs)*each+1)
		}
	}
}

// appendAlike lets writers book on the jobs side by side, spread over the logs,
// and returns the ids that were acknowledged per job.
func appendAlike(t *testing.T, logs []*Log, jobs []string, writers, each int) map[string]map[string]bool {
	t.Helper()
	var mu sync.Mutex
	acknowledged := map[string]map[string]bool{}
	for _, job := range jobs {
		acknowledged[job] = map[string]bool{}
	}
	var all sync.WaitGroup
	for w := range writers {
		all.Go(func() {
			l, job := logs[w%len(logs)], jobs[(w/len(logs))%len(jobs)]
			for i := range each {
				id := fmt.Sprintf("booking-%d-%d", w, i)
				receipts, err := untilRecorded(t.Context(), l, job, hours(id, job, 5))
				if err != nil {
					t.Errorf("%s: %v", id, err)
					return
				}
				mu.Lock()
				acknowledged[job][receipts[0].ID] = true
				mu.Unlock()
			}
		})
	}
	all.Wait()
	return acknowledged
}

// untilRecorded does what a phone does: it sends the same event again for as long
// as the log says that this is safe.
func untilRecorded(ctx context.Context, l *Log, job string, e events.Event) ([]events.Receipt, error) {
	for {
		receipts, err := l.Record(ctx, testFirm, job, "crew", []events.Event{e})
		if events.CodeOf(err) != events.Unavailable || ctx.Err() != nil {
			return receipts, err
		}
	}
}

func TestTwoProcessesOneJob(t *testing.T) {
	e := startExternal(t)
	logs := []*Log{open(t, Config{URL: e.url()}), open(t, Config{URL: e.url()})}
	record(t, logs[0], testFirm, testJob, opening(testJob))
	const writers, each = 8, 15
	acknowledged := appendAlike(t, logs, []string{testJob}, writers, each)
	stored := commits(t, logs[1], testFirm, testJob, 0)
	once(t, eventIDs(t, stored), acknowledged[testJob])
	if len(acknowledged[testJob]) != writers*each || len(stored) != writers*each+1 {
		t.Errorf("%d events acknowledged and %d commits stored, want %d and one more",
			len(acknowledged[testJob]), len(stored), writers*each)
	}
}

// TestSameEventThroughTwoProcesses sends each event to both at once: one stores
// it, the other says where it stands.
func TestSameEventThroughTwoProcesses(t *testing.T) {
	e := startExternal(t)
	logs := [2]*Log{open(t, Config{URL: e.url()}), open(t, Config{URL: e.url()})}
	record(t, logs[0], testFirm, testJob, opening(testJob))
	for i := range 20 {
		var receipts [2][]events.Receipt
		var both sync.WaitGroup
		for side, l := range logs {
			both.Go(func() {
				var err error
				if receipts[side], err = untilRecorded(t.Context(), l, testJob, hours(bookingID(i), testJob, 5)); err != nil {
					t.Error(err)
				}
			})
		}
		both.Wait()
		if t.Failed() {
			t.FailNow()
		}
		a, b := receipts[0][0], receipts[1][0]
		if a.Sequence != b.Sequence || a.Duplicate == b.Duplicate {
			t.Fatalf("round %d: the receipts are %+v and %+v, want one sequence and one duplicate", i, a, b)
		}
	}
	if n := len(commits(t, logs[0], testFirm, testJob, 0)); n != 21 {
		t.Errorf("%d commits are stored, want 21", n)
	}
}

// TestRefusalIsNotDecidedOnAStaleFold lets one process record what makes an event
// true that the other still believes to be impossible.
func TestRefusalIsNotDecidedOnAStaleFold(t *testing.T) {
	e := startExternal(t)
	a, b := open(t, Config{URL: e.url()}), open(t, Config{URL: e.url()})
	lifted := event("lifted-1", events.ProtectionLifted, testJob, events.Lifting{Laid: "laid-001"})
	laid := event("laid-001", events.ProtectionLaid, testJob,
		events.Protection{Task: "protect-floor", QuantityMilli: 12_000, Unit: events.SquareMetre})

	_, err := a.Record(t.Context(), testFirm, testJob, "crew", []events.Event{laid})
	wantCode(t, err, events.NotFound, "never opened") // and a remembers a job without events
	record(t, b, testFirm, testJob, opening(testJob))
	record(t, a, testFirm, testJob, hours("booking-1", testJob, 5))
	record(t, b, testFirm, testJob, laid)
	record(t, a, testFirm, testJob, lifted)

	_, err = b.Record(t.Context(), testFirm, testJob, "crew", []events.Event{
		event("lifted-2", events.ProtectionLifted, testJob, events.Lifting{Laid: "laid-001"})})
	wantCode(t, err, events.Invalid, "lifted before") // b has not seen a's lifting, and finds it
	once(t, eventIDs(t, commits(t, b, testFirm, testJob, 0)),
		map[string]bool{"opening-job-1": true, "booking-1": true, "laid-001": true, "lifted-1": true})
}

func TestWaitingForAJobEndsWithItsContext(t *testing.T) {
	l := openDir(t, t.TempDir())
	record(t, l, testFirm, testJob, opening(testJob))
	held, err := l.folds.hold(t.Context(), testFirm, testJob)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	_, err = l.Record(ctx, testFirm, testJob, "crew", []events.Event{hours("booking-1", testJob, 5)})
	wantCode(t, err, events.Unavailable, "sending the same events again is safe")
	l.folds.release(held)
	record(t, l, testFirm, testJob, hours("booking-1", testJob, 5))
}
