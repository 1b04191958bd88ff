package factstest

import (
	"context"
	"errors"
	"maps"
	"math"
	"slices"
	"testing"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/services/facts"
)

func testEmpty(t *testing.T, b *bench) {
	for _, partition := range []uint8{0, 7, 255} {
		b.position(partition, 0)
	}
	same(t, "sum", b.sum(reports.Query{Firm: firmA}), nil)
	same(t, "sum by task", b.sum(reports.Query{Firm: firmA, By: []reports.Dimension{reports.ByTask}}), nil)
	same(t, "lines", b.lines(reports.Query{Firm: firmA, FinishedFrom: "2024-01-01"}), nil)
	same(t, "jobs", b.jobs(reports.JobQuery{Firm: firmA}), nil)
	commits, err := b.archive().Commits(t.Context(), 0, 0, 10)
	if err != nil {
		t.Fatal(err)
	}
	sameCommits(t, commits, nil)
}

// testEveryField writes rows in which every field differs from every other, so
// that no two columns can be mistaken for each other.
func testEveryField(t *testing.T, b *bench) {
	book := &book{partition: 15}
	f := reports.Fact{
		Firm: firmA, Job: "job-1", JobType: "type", EventID: "event-id", OccurredAt: 1_700_000_001, Day: "2024-02-29",
		Side: "estimate", Kind: "material", Family: "family", Task: "task", Surface: "surface", Method: "method",
		Location: "location", Product: "product", Unit: "unit", Grade: "grade", Person: "person",
		Minutes: 11, QuantityMilli: -22, CostE4: 33, Sign: 1,
	}
	least := reports.Fact{Firm: firmA, Job: "job-1", Sign: -1, OccurredAt: math.MinInt64, Minutes: math.MinInt64}
	most := f
	most.OccurredAt, most.Minutes = math.MaxInt64, math.MaxInt64
	most.QuantityMilli, most.CostE4 = math.MaxInt64, math.MaxInt64
	j := &reports.JobRow{
		Firm: firmA, Job: "job-1", JobType: "type", Title: "title", Customer: "customer", State: "state", Built: 1931,
		Opened: "2024-01-01", Due: "2024-01-02", Accepted: "2024-01-03", Finished: "2024-01-04",
	}
	book.commit(j, f, least, most)
	book.commit(&reports.JobRow{Firm: firmA, Job: "job-2"})
	b.write(book.all())
	b.position(15, 2)
	same(t, "lines", b.lines(reports.Query{Firm: firmA}), book.facts)
	same(t, "jobs", b.jobs(reports.JobQuery{Firm: firmA}), book.jobs)
}

// filled returns a book with some of everything, for tests of writing.
func filled(partition uint8) *book {
	book := &book{partition: partition}
	for i := range 40 {
		job := []string{"job-1", "job-2", "job-3"}[i%3]
		f := hours(firmA, job, int64(i))
		switch {
		case i%10 == 9:
			book.commit(nil, hours(firmA, events.FirmJob, 1))
		case i%7 == 6:
			book.commit(runningJob(firmA, job))
		default:
			book.commit(runningJob(firmA, job), f, cancelled(f), f)
		}
	}
	return book
}

// equals requires the store to hold the book up to a sequence and nothing else.
func (b *bench) equals(book *book, upTo uint64) {
	b.t.Helper()
	b.position(book.partition, upTo)
	want := facts.Batch{}
	if upTo > 0 {
		want = book.batch(0, upTo)
	}
	m := &model{facts: want.Facts, jobs: want.Jobs}
	same(b.t, "lines", b.lines(reports.Query{Firm: firmA}), m.lines(reports.Query{Firm: firmA}))
	same(b.t, "sum", b.sum(reports.Query{Firm: firmA}), m.sum(reports.Query{Firm: firmA}))
	for _, asOf := range []uint64{0, upTo / 2} {
		q := reports.JobQuery{Firm: firmA, AsOf: asOf}
		same(b.t, "jobs", b.jobs(q), m.jobRows(q))
	}
	commit := facts.Span{Partition: book.partition, From: 1, To: uint64(len(book.commits)), Width: 1}
	if got, want := b.tallies(commit), tallied(want, commit); !maps.Equal(got, want) {
		b.t.Fatalf("rows of each commit:\n got %+v\nwant %+v", got, want)
	}
	commits, err := b.archive().Commits(b.t.Context(), book.partition, 0, 1000)
	if err != nil {
		b.t.Fatal(err)
	}
	sameCommits(b.t, commits, want.Commits)
}

func testAgain(t *testing.T, b *bench) {
	book := filled(3)
	for _, run := range []struct{ after, upTo, position uint64 }{
		{0, 10, 10}, {0, 10, 10}, {3, 8, 10}, {9, 10, 10}, // again, and older
		{5, 20, 20}, {0, 20, 20}, // overlapping
		{20, 21, 21}, {19, 21, 21}, {0, 40, 40}, {0, 1, 40}, {10, 40, 40},
	} {
		b.write(book.batch(run.after, run.upTo))
		b.equals(book, run.position)
	}
}

func testBadBatch(t *testing.T, b *bench) {
	book := filled(3)
	b.write(book.batch(0, 10))
	for name, spoil := range map[string]func(*facts.Batch){
		"no commits":             func(x *facts.Batch) { x.Commits = nil },
		"position is beyond":     func(x *facts.Batch) { x.Position++ },
		"a commit is missing":    func(x *facts.Batch) { x.Commits = slices.Delete(x.Commits, 3, 4) },
		"commits before missing": func(x *facts.Batch) { *x = book.batch(11, 20) },
		"commit of another":      func(x *facts.Batch) { x.Commits[2].Partition = 4 },
		"fact of another":        func(x *facts.Batch) { x.Facts[2].Partition = 4 },
		"fact of no commit":      func(x *facts.Batch) { x.Facts[len(x.Facts)-1].Sequence = 21 },
		"facts out of order":     func(x *facts.Batch) { x.Facts[0], x.Facts[5] = x.Facts[5], x.Facts[0] },
		"fact twice":             func(x *facts.Batch) { x.Facts[1] = x.Facts[0] },
		"fact without sign":      func(x *facts.Batch) { x.Facts[1].Sign = 0 },
		"job of another":         func(x *facts.Batch) { x.Jobs[1].Partition = 4 },
		"job twice":              func(x *facts.Batch) { x.Jobs[1] = x.Jobs[0] },
		"job of no commit":       func(x *facts.Batch) { x.Jobs[0].Sequence = 3 },
	} {
		batch := book.batch(10, 20)
		batch.Commits = slices.Clone(batch.Commits)
		spoil(&batch)
		if err := b.store.Write(t.Context(), batch); err == nil {
			t.Fatalf("%s: the batch was taken", name)
		}
		b.equals(book, 10)
	}
	b.write(book.batch(10, 20))
	b.equals(book, 20)
}

func testCancelled(t *testing.T, b *bench) {
	book := filled(3)
	b.write(book.batch(0, 10))
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if err := b.store.Write(ctx, book.batch(10, 40)); !errors.Is(err, context.Canceled) {
		t.Fatalf("write with an ended context: %v", err)
	}
	if _, err := b.store.Sum(ctx, reports.Query{Firm: firmA}); !errors.Is(err, context.Canceled) {
		t.Fatalf("sum with an ended context: %v", err)
	}
	b.equals(book, 10)
	b.write(book.batch(10, 40))
	b.equals(book, 40)
}

func testReopening(t *testing.T, b *bench) {
	book := filled(3)
	for at := uint64(0); at < 40; at += 8 {
		b.write(book.batch(at, at+8))
		b.reopen()
		b.equals(book, at+8)
	}
}

func testCommits(t *testing.T, b *bench) {
	every := make([]byte, 256)
	for i := range every {
		every[i] = byte(i)
	}
	book := &book{partition: 9}
	for i := range 50 {
		book.commit(nil)
		// Lengths around those at which engines change how they keep a value.
		book.commits[i].Raw = slices.Repeat(every[i:], 1+i*i/10)
	}
	other := filled(10)
	b.write(book.batch(0, 20))
	b.write(other.all())
	b.write(book.batch(15, 50))
	archive := b.archive()
	for _, ask := range []struct {
		after uint64
		limit int
		want  []events.Stored
	}{
		{0, 1, book.commits[:1]}, {0, 50, book.commits}, {0, 51, book.commits}, {12, 7, book.commits[12:19]},
		{49, 10, book.commits[49:]}, {50, 10, nil}, {math.MaxUint64, 1, nil},
	} {
		got, err := archive.Commits(t.Context(), 9, ask.after, ask.limit)
		if err != nil {
			t.Fatalf("commits after %d: %v", ask.after, err)
		}
		sameCommits(t, got, ask.want)
	}
	for _, limit := range []int{0, -1} {
		_, err := archive.Commits(t.Context(), 9, 0, limit)
		refused(t, err, "limit")
	}
}

func testClosed(t *testing.T, b *bench) {
	store, archive := b.store, b.archive()
	book := filled(3)
	b.write(book.batch(0, 10))
	b.close()
	if err := store.Close(); err != nil {
		t.Fatalf("close again: %v", err)
	}
	ctx := t.Context()
	_, position := store.Position(ctx, 3)
	_, sum := store.Sum(ctx, reports.Query{Firm: firmA})
	_, lines := store.Lines(ctx, reports.Query{Firm: firmA})
	_, jobs := store.Jobs(ctx, reports.JobQuery{Firm: firmA})
	_, commits := archive.Commits(ctx, 3, 0, 1)
	for name, err := range map[string]error{
		"Write": store.Write(ctx, book.batch(10, 20)), "Position": position, "Sum": sum,
		"Lines": lines, "Jobs": jobs, "Commits": commits,
	} {
		if err == nil {
			t.Fatalf("%s of a closed store gave no error", name)
		}
	}
}
