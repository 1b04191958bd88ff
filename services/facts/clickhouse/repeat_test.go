package clickhouse

import (
	"context"
	"errors"
	"math/rand/v2"
	"path/filepath"
	"sync"
	"testing"

	native "github.com/ClickHouse/clickhouse-go/v2"

	"daysheet/services/facts"
	"daysheet/services/facts/clickhouse/clickhousetest"
	"daysheet/services/facts/duckdb"
	"daysheet/services/facts/factstest"
)

// questions is how many random questions a check asks.
const questions = 8

func shut(t testing.TB, s facts.Store) {
	t.Helper()
	if err := s.Close(); err != nil {
		t.Fatalf("close: %v", err)
	}
}

func write(t testing.TB, s facts.Store, b facts.Batch) {
	t.Helper()
	if err := s.Write(t.Context(), b); err != nil {
		t.Fatal(err)
	}
}

// inserts does the first so many of the inserts that a write does.
func inserts(t *testing.T, s *Store, b facts.Batch, many int) {
	t.Helper()
	err := s.call(t.Context(), func(ctx context.Context, l *link) error {
		for i, insert := range []func() error{
			func() error { return insertFacts(ctx, l, b.Facts) },
			func() error { return insertJobs(ctx, l, b.Jobs) },
			func() error { return insertCommits(ctx, l, b.Commits) },
		} {
			if i < many {
				if err := insert(); err != nil {
					return err
				}
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}

// testSameAnswersAsDuckDB writes one random history into both stores, in batches
// that have nothing to do with each other, and compares the bytes of the answers.
func testSameAnswersAsDuckDB(t *testing.T, server *clickhousetest.Server) {
	ours := open(t, server, Options{})
	defer shut(t, ours)
	theirs, err := duckdb.Open(t.Context(), filepath.Join(t.TempDir(), "facts.duckdb"), duckdb.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer shut(t, theirs)
	h := factstest.NewHistory(t, 600)
	for _, s := range []facts.Store{ours, theirs} {
		for at := uint64(0); at < h.Last(); {
			upTo := min(h.Last(), at+1+rand.Uint64N(90))
			write(t, s, h.Batch(at, upTo))
			at = upTo
		}
	}
	got, want := h.Answers(t, ours, 100), h.Answers(t, theirs, 100)
	for i := range want {
		if got[i] != want[i] {
			t.Fatalf("answer %d:\n got %s\nwant %s", i, got[i], want[i])
		}
	}
}

// testCrashBetweenInserts: what a batch left behind that came through in part is
// not to be seen, neither before nor after it is sent again with other bounds.
func testCrashBetweenInserts(t *testing.T, server *clickhousetest.Server) {
	h := factstest.NewHistory(t, 120)
	for _, many := range []int{1, 2} {
		t.Run([]string{"", "facts only", "facts and jobs"}[many], func(t *testing.T) {
			s := open(t, server, Options{})
			write(t, s, h.Batch(0, 40))
			inserts(t, s, h.Batch(40, 80), many)
			h.Check(t, s, 40, questions)
			shut(t, s)
			s = open(t, server, Options{})
			defer shut(t, s)
			h.Check(t, s, 40, questions)
			write(t, s, h.Batch(40, 61))
			h.Check(t, s, 61, questions)
			write(t, s, h.Batch(61, h.Last()))
			h.Check(t, s, h.Last(), questions)
		})
	}
}

// testFirstCommitHalfThere: a firm of which the store has rows but no commit has
// no answers.
func testFirstCommitHalfThere(t *testing.T, server *clickhousetest.Server) {
	s := open(t, server, Options{})
	defer shut(t, s)
	h := factstest.NewHistory(t, 30)
	inserts(t, s, h.Batch(0, 30), 2)
	h.Check(t, s, 0, questions)
	write(t, s, h.Batch(0, 30))
	h.Check(t, s, 30, questions)
}

// testEveryBatchTwice sends everything to the tables twice, past the position
// that would leave it out.
func testEveryBatchTwice(t *testing.T, server *clickhousetest.Server) {
	s := open(t, server, Options{})
	defer shut(t, s)
	h := factstest.NewHistory(t, 90)
	for at := uint64(0); at < h.Last(); at += 10 {
		write(t, s, h.Batch(at, at+10))
		write(t, s, h.Batch(at, at+10))
		inserts(t, s, h.Batch(at, at+10), 3)
		h.Check(t, s, at+10, 5)
	}
	h.Check(t, s, h.Last(), questions)
}

// testTwoWriters lets two stores write the same partition at the same time, each
// in batches of its own. That is a mistake, and must not be seen in a report.
func testTwoWriters(t *testing.T, server *clickhousetest.Server) {
	h := factstest.NewHistory(t, 200)
	first := open(t, server, Options{})
	defer shut(t, first)
	second := open(t, server, Options{})
	defer shut(t, second)
	var writers sync.WaitGroup
	failed := make(chan error, 2)
	for i, s := range []*Store{first, second} {
		step := uint64(7 + 4*i)
		writers.Go(func() {
			for at := uint64(0); at < h.Last(); at += step {
				if err := s.Write(t.Context(), h.Batch(at, min(h.Last(), at+step))); err != nil {
					failed <- err
					return
				}
			}
			failed <- nil
		})
	}
	writers.Wait()
	if err := errors.Join(<-failed, <-failed); err != nil {
		t.Fatal(err)
	}
	h.Check(t, first, h.Last(), questions)
	h.Check(t, second, h.Last(), questions)
}

// testWithoutFinal: where nothing was sent twice, FINAL is not needed; where it
// was, the statement that the option names brings the answers back.
func testWithoutFinal(t *testing.T, server *clickhousetest.Server) {
	s := open(t, server, Options{NoFinal: true})
	defer shut(t, s)
	h := factstest.NewHistory(t, 100)
	for at := uint64(0); at < 50; at += 10 {
		write(t, s, h.Batch(at, at+10))
	}
	h.Check(t, s, 50, questions)
	inserts(t, s, h.Batch(50, 80), 2)
	write(t, s, h.Batch(50, h.Last()))
	err := s.call(t.Context(), func(ctx context.Context, l *link) error {
		for _, table := range tables {
			if err := merge(ctx, l, table.name); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	h.Check(t, s, h.Last(), questions)
}

// merge makes one part of a table. While the server merges parts of it by itself,
// it does nothing, and says so when it is told to; then it is asked again.
func merge(ctx context.Context, l *link, table string) error {
	const notDone = 388 // CANNOT_ASSIGN_OPTIMIZE
	told := native.Context(ctx, native.WithSettings(native.Settings{"optimize_throw_if_noop": 1}))
	for {
		err := l.pool.Exec(told, "OPTIMIZE TABLE "+table+" FINAL")
		var e *native.Exception
		if !errors.As(err, &e) || e.Code != notDone {
			return err
		}
	}
}
