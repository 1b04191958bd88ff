package projector

import (
	"context"
	"fmt"
	"math/rand/v2"
	"path/filepath"
	"testing"
	"time"

	"daysheet/events"
	"daysheet/services/eventlog"
)

// stutter is the real log, delivering as a bad connection would: in pieces of
// any size, with parts of it again.
type stutter struct {
	Log
	seed uint64
}

func (s stutter) Follow(
	ctx context.Context, partition uint8, after uint64, deliver func([]events.Stored) error,
) error {
	rng := rand.New(rand.NewPCG(s.seed, uint64(partition)))
	var recent []events.Stored
	return s.Log.Follow(ctx, partition, after, func(delivered []events.Stored) error {
		for len(delivered) > 0 {
			n := 1 + rng.IntN(len(delivered))
			recent = append(recent, delivered[:n]...)
			if err := deliver(recent[rng.IntN(len(recent)-n+1):]); err != nil {
				return err
			}
			delivered = delivered[n:]
		}
		return nil
	})
}

// sharingFirms returns two firms of one partition and one of another.
func sharingFirms() []string {
	first := "invented-1"
	firms := []string{first}
	for i := 2; len(firms) < 2; i++ {
		if key := fmt.Sprintf("invented-%d", i); eventlog.Partition(key) == eventlog.Partition(first) {
			firms = append(firms, key)
		}
	}
	for i := 2; len(firms) < 3; i++ {
		if key := fmt.Sprintf("invented-%d", i); eventlog.Partition(key) != eventlog.Partition(first) {
			firms = append(firms, key)
		}
	}
	return firms
}

// TestAnyRunGivesTheSameStore is the law that facts are a pure function of the
// log: batches, deliveries, evictions and restarts leave no trace.
func TestAnyRunGivesTheSameStore(t *testing.T) {
	seed := uint64(time.Now().UnixNano())
	t.Logf("seed %d", seed)
	firms := sharingFirms()
	h := newHistory(seed, firms...)
	log := openLog(t, h.now)
	h.record(t, log, 400)
	want := read(t, rebuilt(t, log), firms...)
	if len(want.lines[firms[0]]) < 100 || len(want.jobs[firms[0]]) < 3 {
		t.Fatalf("the history is too thin: %d lines, %d jobs", len(want.lines[firms[0]]), len(want.jobs[firms[0]]))
	}
	rng := rand.New(rand.NewPCG(seed, 2))
	for round := range 4 {
		t.Run(fmt.Sprint("round ", round), func(t *testing.T) {
			l := limits{facts: 1 + rng.IntN(60), bytes: 1 + rng.IntN(9_000), held: 1 + rng.IntN(400), jobs: 1,
				firms: 1 + rng.IntN(3), catching: 1 + rng.IntN(3)}
			t.Logf("limits %+v", l)
			path := filepath.Join(t.TempDir(), "facts.duckdb")
			runInParts(t, rng, stutter{log, rng.Uint64()}, path, l, firms)
			same(t, "run in parts", read(t, openStoreAt(t, path), firms...), want)
		})
	}
}

// runInParts fills the store at path with restarts at random positions, each
// with the file closed and opened again.
func runInParts(t *testing.T, rng *rand.Rand, log Log, path string, l limits, firms []string) {
	t.Helper()
	for range 5 {
		store := openStoreAt(t, path)
		p := start(t, log, store, l)
		firm := firms[rng.IntN(len(firms))]
		last, err := log.Last(testContext(t), eventlog.Partition(firm))
		if err != nil {
			t.Fatal(err)
		}
		if err := p.Wait(testContext(t), firm, 1+rng.Uint64N(last)); err != nil {
			t.Fatal(err)
		}
		p.stop(t)
		if err := store.Close(); err != nil {
			t.Fatal(err)
		}
	}
	store := openStoreAt(t, path)
	p := start(t, log, store, l)
	catchUp(t, p.Projector, log)
	p.stop(t)
	if err := store.Close(); err != nil {
		t.Fatal(err)
	}
}

// TestLiveRunGivesTheSameStore projects while the history is being recorded.
func TestLiveRunGivesTheSameStore(t *testing.T) {
	seed := uint64(time.Now().UnixNano())
	t.Logf("seed %d", seed)
	firms := sharingFirms()
	h := newHistory(seed, firms...)
	log := openLog(t, h.now)
	live := openStore(t)
	p := start(t, log, live, limits{facts: 10, bytes: 1000, held: 200, jobs: 1, firms: 1, catching: 1})
	h.record(t, log, 300)
	catchUp(t, p.Projector, log)
	same(t, "live run", read(t, live, firms...), read(t, rebuilt(t, log), firms...))
}
