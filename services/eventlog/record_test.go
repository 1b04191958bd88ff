package eventlog

import (
	"slices"
	"strings"
	"testing"
	"time"

	"daysheet/events"
)

func wantText(tb testing.TB, err error, parts ...string) {
	tb.Helper()
	if err == nil {
		tb.Fatal("there is no error")
	}
	for _, part := range parts {
		if !strings.Contains(err.Error(), part) {
			tb.Errorf("the error %q does not say %q", err, part)
		}
	}
}

func TestRecordAndReadBack(t *testing.T) {
	at := time.Date(2026, 3, 4, 15, 20, 0, 7_654_321, time.UTC)
	l := open(t, Config{Dir: t.TempDir(), Now: func() time.Time { return at }})
	first := record(t, l, testFirm, testJob, opening(testJob), hours("booking-1", testJob, 90))
	second := record(t, l, testFirm, testJob, hours("booking-2", testJob, 30))
	wantReceipts(t, first, []events.Receipt{
		{ID: "opening-job-1", Job: testJob, Sequence: 1}, {ID: "booking-1", Job: testJob, Sequence: 1},
	})
	wantReceipts(t, second, []events.Receipt{{ID: "booking-2", Job: testJob, Sequence: 2}})

	stored := commits(t, l, testFirm, testJob, 0)
	if len(stored) != 2 {
		t.Fatalf("%d commits are stored, want 2", len(stored))
	}
	c, err := events.DecodeCommit(stored[1].Raw)
	if err != nil {
		t.Fatal(err)
	}
	switch {
	case stored[1].Partition != Partition(testFirm), stored[1].Sequence != 2:
		t.Errorf("the second commit stands at %d/%d", stored[1].Partition, stored[1].Sequence)
	case c.Firm != testFirm, c.Job != testJob, c.Version != 2, c.RecordedBy != "crew":
		t.Errorf("the second commit is %+v", c)
	case c.Previous != events.Hash(stored[0].Raw):
		t.Error("the second commit does not name the first as the one before it")
	case !c.RecordedAt.Equal(at.Truncate(time.Millisecond)):
		t.Errorf("it was recorded at %v, want whole milliseconds of %v", c.RecordedAt, at)
	}
}

func wantReceipts(tb testing.TB, got, want []events.Receipt) {
	tb.Helper()
	if !slices.Equal(got, want) {
		tb.Errorf("receipts are %+v, want %+v", got, want)
	}
}

func TestSendingAgainChangesNothing(t *testing.T) {
	l := openDir(t, t.TempDir())
	book(t, l, testFirm, testJob, 3)
	again := record(t, l, testFirm, testJob, hours(bookingID(1), testJob, 60), hours("booking-new", testJob, 15),
		hours("booking-new", testJob, 15))
	wantReceipts(t, again, []events.Receipt{
		{ID: bookingID(1), Job: testJob, Sequence: 3, Duplicate: true},
		{ID: "booking-new", Job: testJob, Sequence: 5},
		{ID: "booking-new", Job: testJob, Sequence: 5, Duplicate: true},
	})
	all := record(t, l, testFirm, testJob, opening(testJob), hours(bookingID(0), testJob, 60))
	wantReceipts(t, all, []events.Receipt{
		{ID: "opening-job-1", Job: testJob, Sequence: 1, Duplicate: true},
		{ID: bookingID(0), Job: testJob, Sequence: 2, Duplicate: true},
	})
	if n := len(commits(t, l, testFirm, testJob, 0)); n != 5 {
		t.Errorf("%d commits are stored, want 5", n)
	}
}

func TestRefusals(t *testing.T) {
	l := openDir(t, t.TempDir())
	book(t, l, testFirm, testJob, 1)
	large := make([]events.Event, events.BatchMax)
	for i := range large {
		large[i] = event(bookingID(100+i), events.ConditionRecorded, testJob,
			events.Condition{Location: "Hall", Finding: strings.Repeat("ü", 1000)})
	}
	for _, c := range []struct {
		name      string
		firm, job string
		events    []events.Event
		code      events.Code
		says      []string
	}{
		{"firm with a dot", "firm.a", testJob, []events.Event{opening(testJob)}, events.Invalid,
			[]string{"firm", `"firm.a"`}},
		{"job with a wildcard", testFirm, ">", []events.Event{opening(">")}, events.Invalid, []string{"job", `">"`}},
		{"nothing", testFirm, testJob, nil, events.Invalid, []string{"events", "1 to 500"}},
		{"event of another job", testFirm, testJob, []events.Event{hours("booking-x", "job-2", 5)}, events.Invalid,
			[]string{"booking-x", "subject", "job-2", "job-1"}},
		{"event that breaks a rule", testFirm, testJob, []events.Event{hours("booking-x", testJob, -5)}, events.Invalid,
			[]string{"booking-x", "data.minutes", "-5"}},
		{"same id, other content", testFirm, testJob, []events.Event{hours(bookingID(0), testJob, 61)}, events.Conflict,
			[]string{bookingID(0), "other content"}},
		{"job never opened", testFirm, "job-9", []events.Event{hours("booking-x", "job-9", 5)}, events.NotFound,
			[]string{"job-9", "never opened"}},
		{"too large", testFirm, testJob, large, events.Invalid, []string{"983040 bytes", "send fewer"}},
		{"one of two refused", testFirm, testJob,
			[]events.Event{hours("booking-y", testJob, 5), hours(bookingID(0), testJob, 61)}, events.Conflict, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			receipts, err := l.Record(t.Context(), c.firm, c.job, "crew", c.events)
			if receipts != nil {
				t.Errorf("there are receipts: %+v", receipts)
			}
			wantCode(t, err, c.code, c.says...)
		})
	}
	if n := len(commits(t, l, testFirm, testJob, 0)); n != 2 {
		t.Errorf("%d commits are stored after refusals, want 2", n)
	}
}

func TestFullLogRefusesAndForgetsNothing(t *testing.T) {
	dir := t.TempDir()
	l := open(t, Config{Dir: dir, MaxBytes: maxBytesLeast})
	record(t, l, testFirm, testJob, opening(testJob))
	stored := 1
	var full error
	for n := 0; full == nil; n++ {
		batch := make([]events.Event, 50)
		for i := range batch {
			batch[i] = event(bookingID(n*50+i), events.ConditionRecorded, testJob,
				events.Condition{Location: "Hall", Finding: strings.Repeat("sound ", 300)})
		}
		if _, full = l.Record(t.Context(), testFirm, testJob, "crew", batch); full == nil {
			stored++
		}
	}
	wantCode(t, full, events.Unavailable, "maximum bytes exceeded", "sending the same events again is safe")
	if n := len(commits(t, l, testFirm, testJob, 0)); n != stored {
		t.Errorf("%d commits are stored, want the %d that were acknowledged", n, stored)
	}
	if err := l.Check(t.Context(), Partition(testFirm), uint64(stored)); err != nil {
		t.Error(err)
	}
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	raised := open(t, Config{Dir: dir, MaxBytes: 2 * maxBytesLeast})
	record(t, raised, testFirm, testJob, hours("booking-raised", testJob, 5))
}

func TestJobsOutOfTheCacheAreReadAgain(t *testing.T) {
	l := open(t, Config{Dir: t.TempDir(), CachedJobs: 1})
	jobs := []string{"job-1", "job-2", "job-3"}
	for _, job := range jobs {
		record(t, l, testFirm, job, opening(job))
	}
	for i := range 5 {
		for _, job := range jobs {
			record(t, l, testFirm, job, hours(bookingID(i), job, 60))
		}
	}
	for _, job := range jobs {
		receipts := record(t, l, testFirm, job, hours(bookingID(2), job, 60))
		if !receipts[0].Duplicate {
			t.Errorf("%s took %s twice", job, bookingID(2))
		}
		if n := len(commits(t, l, testFirm, job, 0)); n != 6 {
			t.Errorf("%s has %d commits, want 6", job, n)
		}
	}
	if n := len(l.folds.byName); n != 1 {
		t.Errorf("%d folds are kept, want 1", n)
	}
}

func TestClosedLogSaysSo(t *testing.T) {
	l := openDir(t, t.TempDir())
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	_, err := l.Record(t.Context(), testFirm, testJob, "crew", []events.Event{opening(testJob)})
	wantCode(t, err, events.Unavailable, "closed")
	_, err = l.Commits(t.Context(), testFirm, testJob, 0)
	wantCode(t, err, events.Unavailable, "closed")
	wantCode(t, l.Follow(t.Context(), 0, 0, nil), events.Unavailable, "closed")
	wantCode(t, l.Health(t.Context()), events.Unavailable, "closed")
}
