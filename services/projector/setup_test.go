package projector

import (
	"context"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/services/eventlog"
	"daysheet/services/facts"
	"daysheet/services/facts/duckdb"
)

// patience is how long a test waits for what must come before it fails.
const patience = time.Minute

func testContext(t testing.TB) context.Context {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), patience)
	t.Cleanup(cancel)
	return ctx
}

// openLog opens an empty log. A nil clock stands an hour after day.
func openLog(t testing.TB, now func() time.Time) *eventlog.Log {
	t.Helper()
	if now == nil {
		now = func() time.Time { return day.Add(time.Hour) }
	}
	log, err := eventlog.Open(context.Background(), eventlog.Config{Dir: t.TempDir(), Now: now})
	if err != nil {
		t.Fatalf("open log: %v", err)
	}
	t.Cleanup(func() {
		if err := log.Close(); err != nil {
			t.Errorf("close log: %v", err)
		}
	})
	return log
}

// openStoreAt opens a store at path; closing it twice does no harm.
func openStoreAt(t testing.TB, path string) *duckdb.Store {
	t.Helper()
	store, err := duckdb.Open(context.Background(), path, duckdb.Options{})
	if err != nil {
		t.Fatalf("open store: %v", err)
	}
	t.Cleanup(func() {
		if err := store.Close(); err != nil {
			t.Errorf("close store: %v", err)
		}
	})
	return store
}

// filledStore fills a store from the log, closes it, and returns where it is.
func filledStore(t testing.TB, log *eventlog.Log) (path string) {
	t.Helper()
	path = filepath.Join(t.TempDir(), "facts.duckdb")
	store := openStoreAt(t, path)
	if err := Rebuild(testContext(t), log, store, nil); err != nil {
		t.Fatal(err)
	}
	if err := store.Close(); err != nil {
		t.Fatal(err)
	}
	return path
}

func openStore(t testing.TB) *duckdb.Store {
	t.Helper()
	return openStoreAt(t, filepath.Join(t.TempDir(), "facts.duckdb"))
}

// running is a projector at work.
type running struct {
	*Projector
	end  context.CancelFunc
	done chan error
}

// start runs a projector until stop, or the end of the test.
func start(t testing.TB, log Log, store facts.Store, l limits) *running {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	r := &running{Projector: New(log, store, nil), end: cancel, done: make(chan error, 1)}
	r.limits = l
	go func() { r.done <- r.Run(ctx) }()
	t.Cleanup(func() { r.stop(t) })
	return r
}

// stop ends the projector, which must not be an error.
func (r *running) stop(t testing.TB) {
	t.Helper()
	r.end()
	if err := r.failure(t); err != nil {
		t.Errorf("run projector: %v", err)
	}
}

// failure returns what Run returned; nil if it was asked before.
func (r *running) failure(t testing.TB) error {
	t.Helper()
	select {
	case err, open := <-r.done:
		if open {
			close(r.done)
		}
		return err
	case <-time.After(patience):
		t.Fatal("the projector does not end")
		return nil
	}
}

// catchUp waits until the projector has what the log has.
func catchUp(t testing.TB, p *Projector, log Log) {
	t.Helper()
	ctx := testContext(t)
	for partition := range uint8(eventlog.Partitions) {
		last, err := log.Last(ctx, partition)
		if err != nil {
			t.Fatal(err)
		}
		if err := p.board.wait(ctx, partition, last); err != nil {
			t.Fatal(err)
		}
	}
}

// contents is everything that a store can tell about firms.
type contents struct {
	lines map[string][]reports.Fact
	jobs  map[string][]reports.JobRow
}

func read(t testing.TB, store facts.Store, firms ...string) contents {
	t.Helper()
	c := contents{map[string][]reports.Fact{}, map[string][]reports.JobRow{}}
	for _, firm := range firms {
		var err error
		if c.lines[firm], err = store.Lines(testContext(t), reports.Query{Firm: firm}); err != nil {
			t.Fatal(err)
		}
		if c.jobs[firm], err = store.Jobs(testContext(t), reports.JobQuery{Firm: firm}); err != nil {
			t.Fatal(err)
		}
	}
	return c
}

// same fails with the first difference between two stores' contents.
func same(t testing.TB, name string, got, want contents) {
	t.Helper()
	for firm := range want.lines {
		g, w := got.lines[firm], want.lines[firm]
		for i := range min(len(g), len(w)) {
			if g[i] != w[i] {
				t.Fatalf("%s: line %d of %s is\n%+v, want\n%+v", name, i, firm, g[i], w[i])
			}
		}
		if len(g) != len(w) {
			t.Fatalf("%s: %s has %d lines, want %d", name, firm, len(g), len(w))
		}
		if !slices.Equal(got.jobs[firm], want.jobs[firm]) {
			t.Fatalf("%s: jobs of %s are\n%+v, want\n%+v", name, firm, got.jobs[firm], want.jobs[firm])
		}
	}
}

// rebuilt returns a store that one straight replay of the log filled.
func rebuilt(t testing.TB, log Log) facts.Store {
	t.Helper()
	store := openStore(t)
	if err := Rebuild(testContext(t), log, store, nil); err != nil {
		t.Fatalf("rebuild: %v", err)
	}
	return store
}

// mustRecord records one event and returns its sequence.
func mustRecord(t testing.TB, log *eventlog.Log, firm string, e events.Event) uint64 {
	t.Helper()
	receipts, err := log.Record(testContext(t), firm, e.Subject, "office", []events.Event{e})
	if err != nil {
		t.Fatalf("record %s: %v", e.ID, err)
	}
	if len(receipts) != 1 {
		t.Fatalf("record %s: %d receipts", e.ID, len(receipts))
	}
	return receipts[0].Sequence
}
