package projector

import (
	"context"
	"errors"
	"testing"
	"time"

	"daysheet/events"
	"daysheet/services/eventlog"
)

const firm = "north-light"

// day is when the invented work of these tests happened.
var day = time.Date(2026, 3, 4, 16, 20, 0, 0, time.UTC)

func opened(job string) events.Event {
	return invent("opened-"+job, job, events.JobOpened, day, events.Opening{JobType: "stairwell", Title: "Invented job"})
}

func booked(id, job string, minutes int64) events.Event {
	return invent(id, job, events.HoursBooked, day, events.Hours{Person: "ada", Task: "coat", Minutes: minutes})
}

func TestWaitAndWatch(t *testing.T) {
	log := openLog(t, nil)
	p := start(t, log, openStore(t), defaultLimits)
	notices, stop := p.Watch(firm)
	defer stop()
	first := mustRecord(t, log, firm, opened("stairwell-7"))
	second := mustRecord(t, log, firm, booked("hours-0001", "stairwell-7", 90))
	if err := p.Wait(testContext(t), firm, second); err != nil {
		t.Fatal(err)
	}
	if got := p.Position(eventlog.Partition(firm)); got != second {
		t.Errorf("position is %d after waiting for %d", got, second)
	}
	if got := read(t, p.store, firm).lines[firm]; len(got) == 0 || got[0].Minutes != 90 {
		t.Errorf("after waiting the store has %+v", got)
	}
	for _, want := range []Notice{{"stairwell-7", first}, {"stairwell-7", second}} {
		select {
		case got := <-notices:
			if got != want {
				t.Errorf("notice %+v, want %+v", got, want)
			}
		case <-testContext(t).Done():
			t.Fatalf("no notice of %+v", want)
		}
	}
	if lag, err := p.Lag(testContext(t)); err != nil || lag != 0 {
		t.Errorf("lag is %d, %v after waiting", lag, err)
	}
}

func TestWaitEndsWithItsContext(t *testing.T) {
	p := New(openLog(t, nil), openStore(t), nil)
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if err := p.Wait(ctx, firm, 1); !errors.Is(err, context.Canceled) {
		t.Errorf("wait returned %v", err)
	}
}

func TestLagCountsWhatIsNotInTheStore(t *testing.T) {
	log := openLog(t, nil)
	mustRecord(t, log, firm, opened("stairwell-7"))
	mustRecord(t, log, "south-yard", opened("fence"))
	p := New(log, openStore(t), nil)
	if lag, err := p.Lag(testContext(t)); err != nil || lag != 2 {
		t.Errorf("lag is %d, %v, want 2", lag, err)
	}
}

func TestRunRefusesALogBehindTheStore(t *testing.T) {
	log := openLog(t, nil)
	mustRecord(t, log, firm, opened("stairwell-7"))
	store := rebuilt(t, log)
	p := New(openLog(t, nil), store, nil)
	if err := p.Run(testContext(t)); !errors.Is(err, ErrLogBehind) {
		t.Fatalf("run returned %v", err)
	}
	err := p.Wait(testContext(t), firm, 2)
	if events.CodeOf(err) != events.Unavailable {
		t.Errorf("wait for a stopped projector returned %v", err)
	}
}

func TestRunRefusesToRunTwice(t *testing.T) {
	log := openLog(t, nil)
	p := start(t, log, openStore(t), defaultLimits)
	if err := p.Wait(testContext(t), firm, mustRecord(t, log, firm, opened("stairwell-7"))); err != nil {
		t.Fatal(err)
	}
	if err := p.Run(testContext(t)); err == nil {
		t.Error("a second run did not fail")
	}
}

func TestRunStopsWhenTheStoreFails(t *testing.T) {
	log := openLog(t, nil)
	store := openStore(t)
	p := start(t, log, store, defaultLimits)
	if err := p.Wait(testContext(t), firm, mustRecord(t, log, firm, opened("stairwell-7"))); err != nil {
		t.Fatal(err)
	}
	if err := store.Close(); err != nil {
		t.Fatal(err)
	}
	last := mustRecord(t, log, firm, booked("hours-0001", "stairwell-7", 90))
	if err := p.failure(t); err == nil {
		t.Error("run did not fail with its store")
	}
	if err := p.Wait(testContext(t), firm, last); err == nil {
		t.Error("wait did not fail with its projector")
	}
}

func TestRebuildWantsAnEmptyStore(t *testing.T) {
	log := openLog(t, nil)
	mustRecord(t, log, firm, opened("stairwell-7"))
	mustRecord(t, log, firm, booked("hours-0001", "stairwell-7", 90))
	store := openStore(t)
	var done, total uint64
	err := Rebuild(testContext(t), log, store, func(d, all uint64) { done, total = d, all })
	if err != nil || done != 2 || total != 2 {
		t.Fatalf("rebuild reported %d of %d, %v; want 2 of 2", done, total, err)
	}
	if err := Rebuild(testContext(t), log, store, nil); err == nil {
		t.Error("a store that is not empty was rebuilt")
	}
}

// TestSettle waits for what is in the log, and no longer than its context.
func TestSettle(t *testing.T) {
	log := openLog(t, nil)
	h := newHistory(13, sharingFirms()...)
	h.record(t, log, 40)
	p := start(t, log, openStore(t), defaultLimits)
	if err := p.Settle(testContext(t)); err != nil {
		t.Fatal(err)
	}
	if lag, err := p.Lag(testContext(t)); err != nil || lag != 0 {
		t.Errorf("%d commits are left, %v", lag, err)
	}
	idle := New(log, openStore(t), nil) // never run
	ctx, cancel := context.WithCancel(testContext(t))
	cancel()
	if err := idle.Settle(ctx); err == nil {
		t.Error("settled without running")
	}
}
