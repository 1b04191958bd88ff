package factstest

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"
	"testing"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/services/facts"
)

func testBadQueries(t *testing.T, b *bench) {
	book := filled(3)
	b.write(book.all())
	tooMany := slices.Repeat([]string{"x"}, 1001)
	for _, c := range []struct {
		field string
		query reports.Query
	}{
		{"firm", reports.Query{}},
		{"firm", reports.Query{Firm: "No Firm"}},
		{"by", reports.Query{Firm: firmA, By: []reports.Dimension{"minutes"}}},
		{"by", reports.Query{Firm: firmA, By: []reports.Dimension{"task; DROP TABLE facts"}}},
		{"where", reports.Query{Firm: firmA}.With("1=1 OR task", "x")},
		{"task", reports.Query{Firm: firmA}.With(reports.ByTask)},
		{"task", reports.Query{Firm: firmA}.With(reports.ByTask, tooMany...)},
		{"location", reports.Query{Firm: firmA}.With(reports.ByLocation, "a", "\xff")},
		{"from", reports.Query{Firm: firmA, From: "2024-02-30"}},
		{"to", reports.Query{Firm: firmA, To: "tomorrow"}},
		{"finished_from", reports.Query{Firm: firmA, FinishedFrom: "1969-12-31"}},
		{"finished_to", reports.Query{Firm: firmA, FinishedTo: "'"}},
		{"limit", reports.Query{Firm: firmA, Limit: -1}},
	} {
		_, err := b.store.Sum(t.Context(), c.query)
		refused(t, err, c.field)
		_, err = b.store.Lines(t.Context(), c.query)
		refused(t, err, c.field)
	}
	for _, c := range []struct {
		field string
		query reports.JobQuery
	}{
		{"firm", reports.JobQuery{}},
		{"jobs[1]", reports.JobQuery{Firm: firmA, Jobs: []string{"a", "B"}}},
		{"jobs", reports.JobQuery{Firm: firmA, Jobs: tooMany}},
		{"finished_from", reports.JobQuery{Firm: firmA, FinishedFrom: "2024-13-01"}},
		{"limit", reports.JobQuery{Firm: firmA, Limit: -1}},
		{"job_type", reports.JobQuery{Firm: firmA, JobType: "\xff"}},
		{"state", reports.JobQuery{Firm: firmA, States: []events.State{events.Closed, "\xc3"}}},
		{"after", reports.JobQuery{Firm: firmA, After: "\xff"}},
	} {
		_, err := b.store.Jobs(t.Context(), c.query)
		refused(t, err, c.field)
	}
	b.equals(book, 40)
}

// Each batch of the test below is so many commits of so many facts of one minute.
const (
	batchCommits = 3
	commitFacts  = 7
	batchFacts   = batchCommits * commitFacts
)

// testReaders reads while batches are written. Whatever a reader sees must be
// whole batches, and the position must fit to it.
func testReaders(t *testing.T, b *bench) {
	const batches = 30
	book := &book{partition: 1}
	minute := hours(firmA, "job-1", 1)
	for range batches * batchCommits {
		book.commit(runningJob(firmA, "job-1"), slices.Repeat([]reports.Fact{minute}, commitFacts)...)
	}
	written := make(chan struct{})
	reads := make(chan error, 3)
	var readers sync.WaitGroup
	for range cap(reads) {
		readers.Go(func() { reads <- readUntil(t.Context(), b.store, written) })
	}
	for i := range uint64(batches) {
		b.write(book.batch(i*batchCommits, (i+1)*batchCommits))
	}
	close(written)
	readers.Wait()
	close(reads)
	for err := range reads {
		if err != nil {
			t.Error(err)
		}
	}
	b.position(1, batches*batchCommits)
	same(t, "lines", b.lines(reports.Query{Firm: firmA}), book.facts)
}

// readUntil reads until all was written, and then once more.
func readUntil(ctx context.Context, store facts.Store, written <-chan struct{}) error {
	for last := false; ; {
		if err := readOnce(ctx, store); err != nil || last {
			return err
		}
		select {
		case <-written:
			last = true
		default:
		}
	}
}

func readOnce(ctx context.Context, store facts.Store) error {
	before, errBefore := store.Position(ctx, 1)
	totals, errSum := store.Sum(ctx, reports.Query{Firm: firmA})
	jobs, errJobs := store.Jobs(ctx, reports.JobQuery{Firm: firmA})
	after, errAfter := store.Position(ctx, 1)
	if err := errors.Join(errBefore, errSum, errJobs, errAfter); err != nil {
		return err
	}
	var seen, minutes, job int64
	for _, row := range totals {
		seen, minutes = row.Facts, row.Minutes
	}
	for _, row := range jobs {
		job = int64(row.Sequence)
	}
	switch {
	case before%batchCommits != 0 || after%batchCommits != 0 || job%batchCommits != 0:
		return fmt.Errorf("positions %d and %d, job at %d: inside a batch", before, after, job)
	case seen%batchFacts != 0 || minutes != seen:
		return fmt.Errorf("saw %d facts of %d minutes: inside a batch", seen, minutes)
	case seen < int64(before)*commitFacts || seen > int64(after)*commitFacts:
		return fmt.Errorf("saw %d facts between positions %d and %d", seen, before, after)
	case job < int64(before) || job > int64(after):
		return fmt.Errorf("saw the job at %d between positions %d and %d", job, before, after)
	}
	return nil
}
