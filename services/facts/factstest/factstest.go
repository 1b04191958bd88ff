// Package factstest is the proof that a store of facts keeps the contract of
// [facts.Store] and [facts.Archive]. Every implementation runs it, and so they
// are equal. All data in it is invented.
package factstest

import (
	"bytes"
	"context"
	"errors"
	"reflect"
	"testing"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/services/facts"
)

// Run runs the whole suite, its cases side by side, since most of them wait for a
// server or a disk. open opens the store that belongs to t, an empty one at first;
// called again with the same t after that store was closed, it opens the same one
// again. The suite closes what it opens.
func Run(t *testing.T, open func(t *testing.T) facts.Store) {
	for _, c := range []struct {
		name string
		test func(*testing.T, *bench)
	}{
		{"EmptyStoreAnswersEmpty", testEmpty},
		{"EveryFieldComesBack", testEveryField},
		{"BatchAgainChangesNothing", testAgain},
		{"BadBatchIsRefusedWhole", testBadBatch},
		{"CancelledWriteLeavesNothing", testCancelled},
		{"ReopeningKeepsEverything", testReopening},
		{"CommitsComeBackByteForByte", testCommits},
		{"SumsByEachDimension", testEachDimension},
		{"CancelRowsRemoveGroups", testCancelRows},
		{"WhereTakesAnyText", testAnyText},
		{"DaysAreInclusive", testDays},
		{"FinishedJobs", testFinished},
		{"AsOfGivesThePastAnswer", testAsOf},
		{"FirmsNeverMeet", testFirms},
		{"PartitionsAreApart", testPartitions},
		{"Paging", testPaging},
		{"JobsAsTheyStood", testJobs},
		{"BigSums", testBigSums},
		{"BadQueriesAreRefused", testBadQueries},
		{"ReadersSeeWholeBatches", testReaders},
		{"AnswersEqualThePlainModel", testRandom},
		{"TalliesAreThePlainCount", testTallies},
		{"MendingRestoresEveryRow", testMend},
		{"BadMendIsRefusedWhole", testBadMend},
		{"ClosedStoreSaysSo", testClosed},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			b := &bench{t: t, open: open}
			b.reopen()
			t.Cleanup(b.close)
			c.test(t, b)
		})
	}
}

// bench is one test's store.
type bench struct {
	t     *testing.T
	open  func(*testing.T) facts.Store
	store facts.Store
}

// reopen closes the store, if it is open, and opens it again.
func (b *bench) reopen() {
	b.t.Helper()
	b.close()
	b.store = b.open(b.t)
}

func (b *bench) close() {
	b.t.Helper()
	if b.store == nil {
		return
	}
	if err := b.store.Close(); err != nil {
		b.t.Fatalf("close: %v", err)
	}
	b.store = nil
}

func (b *bench) write(batch facts.Batch) {
	b.t.Helper()
	if err := b.store.Write(b.t.Context(), batch); err != nil {
		b.t.Fatalf("write: %v", err)
	}
}

func (b *bench) position(partition uint8, want uint64) {
	b.t.Helper()
	if got, err := b.store.Position(b.t.Context(), partition); err != nil || got != want {
		b.t.Fatalf("position of partition %d: got %d, %v, want %d", partition, got, err, want)
	}
}

func (b *bench) sum(q reports.Query) []reports.Total {
	b.t.Helper()
	totals := answer(b.t, b.store.Sum, q)
	for i := range totals {
		if len(totals[i].By) == 0 {
			totals[i].By = nil // none is none
		}
	}
	return totals
}

func (b *bench) lines(q reports.Query) []reports.Fact {
	b.t.Helper()
	return answer(b.t, b.store.Lines, q)
}

func (b *bench) jobs(q reports.JobQuery) []reports.JobRow {
	b.t.Helper()
	return answer(b.t, b.store.Jobs, q)
}

func (b *bench) archive() facts.Archive {
	b.t.Helper()
	a, ok := b.store.(facts.Archive)
	if !ok {
		b.t.Fatalf("%T is no facts.Archive", b.store)
	}
	return a
}

func answer[Q, R any](t *testing.T, ask func(context.Context, Q) ([]R, error), q Q) []R {
	t.Helper()
	rows, err := ask(t.Context(), q)
	if err != nil {
		t.Fatalf("ask %+v: %v", q, err)
	}
	return rows
}

// same compares rows; none is none, nil or not.
func same[R any](t *testing.T, what string, got, want []R) {
	t.Helper()
	for i := range min(len(got), len(want)) {
		if !reflect.DeepEqual(got[i], want[i]) {
			t.Fatalf("%s: row %d of %d:\n got %+v\nwant %+v", what, i, len(want), got[i], want[i])
		}
	}
	if len(got) != len(want) {
		t.Fatalf("%s: %d rows, want %d:\n got %+v\nwant %+v", what, len(got), len(want), got, want)
	}
}

func sameCommits(t *testing.T, got, want []events.Stored) {
	t.Helper()
	if len(got) != len(want) {
		t.Fatalf("%d commits, want %d", len(got), len(want))
	}
	for i := range got {
		if got[i].Partition != want[i].Partition || got[i].Sequence != want[i].Sequence ||
			!bytes.Equal(got[i].Raw, want[i].Raw) {
			t.Fatalf("commit %d: got %d/%d %q, want %d/%d %q", i, got[i].Partition, got[i].Sequence, got[i].Raw,
				want[i].Partition, want[i].Sequence, want[i].Raw)
		}
	}
}

// refused requires an [events.Error] that names the field.
func refused(t *testing.T, err error, field string) {
	t.Helper()
	var refusal *events.Error
	if !errors.As(err, &refusal) || refusal.Field != field || refusal.Code != events.Invalid {
		t.Fatalf("got %v, want a refusal of %s", err, field)
	}
}
