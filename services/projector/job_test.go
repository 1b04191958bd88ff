package projector

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/services/eventlog"
	"daysheet/services/facts"
)

// TestJobIsWhatTheStoreHolds reads every job of a random history from the log, at its end
// and at positions before, and asks it what the store is asked.
func TestJobIsWhatTheStoreHolds(t *testing.T) {
	seed := uint64(time.Now().UnixNano())
	t.Logf("seed %d", seed)
	firms := sharingFirms()
	h := newHistory(seed, firms...)
	log := openLog(t, h.now)
	h.record(t, log, 300)
	store := openStore(t)
	p := start(t, log, store, limits{facts: 1000, bytes: 1 << 20, held: 200, jobs: 1, firms: 1, catching: 1})
	catchUp(t, p.Projector, log)
	rng := rand.New(rand.NewPCG(seed, 3))
	asked := 0
	for _, firm := range h.firms {
		last, err := log.Last(testContext(t), eventlog.Partition(firm.key))
		if err != nil {
			t.Fatal(err)
		}
		for _, job := range firm.jobs {
			for _, asOf := range []uint64{0, last, 1 + rng.Uint64N(last), 1 + rng.Uint64N(last)} {
				sameJob(t, p.Projector, store, rng, firm.key, job.key, asOf)
				asked++
			}
		}
	}
	if asked < 20 {
		t.Errorf("only %d jobs were asked", asked)
	}
}

// sameJob compares a job that was read from the log with what the store says of it.
func sameJob(t *testing.T, p *Projector, store facts.Store, rng *rand.Rand, firm, job string, asOf uint64) {
	t.Helper()
	ctx, name := testContext(t), fmt.Sprintf("%s/%s as of %d", firm, job, asOf)
	read, err := p.Job(ctx, firm, job, asOf)
	if err != nil {
		t.Fatal(err)
	}
	q := reports.Query{Firm: firm, AsOf: asOf}.With(reports.ByJob, job)
	lines, err := store.Lines(ctx, q)
	if err != nil {
		t.Fatal(err)
	}
	if !slices.Equal(read.Facts, lines) {
		t.Fatalf("%s has the facts\n%+v, want\n%+v", name, read.Facts, lines)
	}
	which := reports.JobQuery{Firm: firm, Jobs: []string{job}, AsOf: asOf}
	rows, err := store.Jobs(ctx, which)
	if err != nil {
		t.Fatal(err)
	}
	if len(rows) == 0 {
		if read.Row.Job != "" || len(read.Commits) > 0 {
			t.Errorf("%s is %+v, and the store has none", name, read.Row)
		}
		return
	}
	if got, ok := read.Jobs(which); !ok || !slices.Equal(got, rows) {
		t.Errorf("%s is %+v, %t, want %+v", name, got, ok, rows)
	}
	for range 5 {
		dimensions := reports.Dimensions()
		rng.Shuffle(len(dimensions), func(i, k int) { dimensions[i], dimensions[k] = dimensions[k], dimensions[i] })
		sum := q
		sum.By = dimensions[:rng.IntN(4)]
		if rng.IntN(2) == 0 {
			sum = sum.With(reports.ByKind, string(reports.KindLabour), string(reports.KindMark))
		}
		if rng.IntN(3) == 0 {
			sum.From, sum.To = read.Row.Opened, read.Row.Opened.Add(rng.IntN(4))
		}
		want, err := store.Sum(ctx, sum)
		if err != nil {
			t.Fatal(err)
		}
		if got, ok := read.Sum(sum); !ok || !slices.EqualFunc(got, want, equalTotals) {
			t.Errorf("%s: %+v is %+v, %t, want %+v", name, sum, got, ok, want)
		}
	}
}

func equalTotals(a, b reports.Total) bool {
	return slices.Equal(a.By, b.By) && a.Minutes == b.Minutes && a.QuantityMilli == b.QuantityMilli &&
		a.CostE4 == b.CostE4 && a.Facts == b.Facts
}

// TestJobWaitsForItselfAlone reads a job while the store takes nothing in any more: what it
// holds of the job is there without a wait, what it does not hold is left out.
func TestJobWaitsForItselfAlone(t *testing.T) {
	log, store := openLog(t, nil), openStore(t)
	mustRecord(t, log, firm, settled("settings-1", 300_000))
	opened := func(id, job string) events.Event {
		return invent(id, job, events.JobOpened, day, events.Opening{JobType: "stairwell", Title: "Invented"})
	}
	first := mustRecord(t, log, firm, opened("opened-0001", "stair-1"))
	p := start(t, log, store, defaultLimits)
	catchUp(t, p.Projector, log)
	p.stop(t)
	mustRecord(t, log, firm, opened("opened-0002", "stair-2"))
	read, err := p.Job(testContext(t), firm, "stair-1", 0)
	if err != nil || read.Row.Sequence != first || read.Row.Title != "Invented" {
		t.Errorf("the job that the store holds is %+v, %v", read.Row, err)
	}
	if len(p.board.awaited[eventlog.Partition(firm)]) > 0 {
		t.Error("it was waited for a job that the store holds")
	}
	if read, err = p.Job(testContext(t), firm, "stair-2", 0); err != nil || read.Row.Job != "" || len(read.Commits) > 0 {
		t.Errorf("the job that the store does not hold is %+v, %v", read.Row, err)
	}
}
