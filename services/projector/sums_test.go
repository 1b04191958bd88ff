package projector

import (
	"encoding/json"
	"fmt"
	"maps"
	"math/rand/v2"
	"testing"
	"time"

	"daysheet/events"
	"daysheet/reports"
)

// sums is what the facts of one job, side and kind add up to.
type sums struct{ minutes, milli, costE4 int64 }

type sumKey struct{ job, side, kind string }

// TestSumsEqualAPlainLoopOverTheEvents works the sums out again without any
// projection: events that were voided are left out, the rest is added up. Wages
// and prices never change here, so no history is needed.
func TestSumsEqualAPlainLoopOverTheEvents(t *testing.T) {
	seed := uint64(time.Now().UnixNano())
	t.Logf("seed %d", seed)
	rng := rand.New(rand.NewPCG(seed, 3))
	log := openLog(t, nil)
	mustRecord(t, log, firm, settled("settings-1", 300_000))
	mustRecord(t, log, firm, listed("listed-0001", "matt", "Matt")) // 60,000 for a litre
	var recorded []events.Event
	standing := map[string][]string{} // ids that can still be voided, by job
	for i := range 200 {
		job := fmt.Sprintf("job-%d", rng.IntN(5))
		id := fmt.Sprintf("invented-%d", i)
		var e events.Event
		switch ids := standing[job]; {
		case ids == nil || rng.IntN(20) == 0: // opened, or taken for another type
			e = invent(id, job, events.JobOpened, day, events.Opening{
				JobType: []string{"stairwell", "exterior"}[rng.IntN(2)], Title: "Invented job"})
			if ids == nil {
				standing[job] = []string{}
			}
		case len(ids) > 0 && rng.IntN(5) == 0:
			n := rng.IntN(len(ids))
			e = invent(id, job, events.EventVoided, day, events.Void{Event: ids[n], Reason: "booked twice"})
			standing[job] = append(ids[:n], ids[n+1:]...)
		default:
			e = simpleEvent(rng, id, job)
			standing[job] = append(ids, id)
		}
		mustRecord(t, log, firm, e)
		recorded = append(recorded, e)
	}
	totals, err := rebuilt(t, log).Sum(testContext(t), reports.Query{Firm: firm,
		By:    []reports.Dimension{reports.ByJob, reports.BySide, reports.ByKind},
		Where: []reports.Condition{{Dimension: reports.ByKind, In: []string{"labour", "quantity", "material", "price"}}}})
	if err != nil {
		t.Fatal(err)
	}
	got := map[sumKey]sums{}
	for _, total := range totals {
		got[sumKey{total.By[0], total.By[1], total.By[2]}] = sums{total.Minutes, total.QuantityMilli, total.CostE4}
	}
	if want := addUp(t, recorded); !maps.Equal(got, want) {
		t.Errorf("the store adds up to\n%v, the events to\n%v", got, want)
	}
}

// simpleEvent invents an event whose amounts cost whole ten-thousandths, so that
// the loop below needs no rounding: 5,000 for a minute of the painter, 60 for a
// thousandth of a litre.
func simpleEvent(rng *rand.Rand, id, job string) events.Event {
	switch rng.IntN(5) {
	case 0:
		return invent(id, job, events.CoatApplied, day, events.Coat{Task: "coat", Coat: 1, Unit: events.SquareMetre,
			QuantityMilli: 1 + rng.Int64N(90_000), Product: "matt", VolumeMilli: 1 + rng.Int64N(9_000)})
	case 1:
		return invent(id, job, events.MaterialUsed, day, events.Usage{Product: "matt", Unit: events.Litre,
			QuantityMilli: 1 + rng.Int64N(9_000), CostE4: rng.Int64N(2) * 777})
	case 2:
		return invent(id, job, events.MaterialReturned, day, events.Return{Product: "matt", Unit: events.Litre,
			QuantityMilli: 1 + rng.Int64N(9_000)})
	case 3:
		return invent(id, job, events.EstimateIssued, day, events.Estimate{PriceE4: 1 + rng.Int64N(9_000_000),
			Lines: []events.EstimateLine{{Task: "coat", Minutes: 1 + rng.Int64N(900), Grade: "painter"}}})
	}
	return booked(id, job, 1+rng.Int64N(600))
}

// addUp is the plain loop.
func addUp(t *testing.T, recorded []events.Event) map[sumKey]sums {
	t.Helper()
	voided := map[string]bool{}
	offered := map[string]string{} // job -> its last estimate that holds
	for i := range recorded {
		var v events.Void
		if recorded[i].Type == events.EventVoided {
			unmarshal(t, recorded[i], &v)
			voided[v.Event] = true
		}
	}
	for _, e := range recorded {
		if e.Type == events.EstimateIssued && !voided[e.ID] {
			offered[e.Subject] = e.ID
		}
	}
	totals := map[sumKey]sums{}
	add := func(e events.Event, side reports.Side, kind reports.Kind, minutes, milli, costE4 int64) {
		key := sumKey{e.Subject, string(side), string(kind)}
		s := totals[key]
		totals[key] = sums{s.minutes + minutes, s.milli + milli, s.costE4 + costE4}
	}
	for _, e := range recorded {
		if voided[e.ID] {
			continue
		}
		switch e.Type {
		case events.HoursBooked:
			var h events.Hours
			unmarshal(t, e, &h)
			add(e, reports.SideActual, reports.KindLabour, h.Minutes, 0, h.Minutes*5_000)
		case events.CoatApplied:
			var c events.Coat
			unmarshal(t, e, &c)
			add(e, reports.SideActual, reports.KindQuantity, 0, c.QuantityMilli, 0)
			add(e, reports.SideActual, reports.KindMaterial, 0, c.VolumeMilli, c.VolumeMilli*60)
		case events.MaterialUsed:
			var u events.Usage
			unmarshal(t, e, &u)
			cost := u.CostE4
			if cost == 0 {
				cost = u.QuantityMilli * 60
			}
			add(e, reports.SideActual, reports.KindMaterial, 0, u.QuantityMilli, cost)
		case events.MaterialReturned:
			var r events.Return
			unmarshal(t, e, &r)
			add(e, reports.SideActual, reports.KindMaterial, 0, -r.QuantityMilli, -r.QuantityMilli*60)
		case events.EstimateIssued:
			if offered[e.Subject] != e.ID {
				continue
			}
			var o events.Estimate
			unmarshal(t, e, &o)
			add(e, reports.SideEstimate, reports.KindLabour, o.Lines[0].Minutes, 0, o.Lines[0].Minutes*5_000)
			add(e, reports.SideEstimate, reports.KindPrice, 0, 0, o.PriceE4)
		}
	}
	return totals
}

func unmarshal(t *testing.T, e events.Event, into any) {
	t.Helper()
	if err := json.Unmarshal(e.Data, into); err != nil {
		t.Fatal(err)
	}
}

// TestEvictionGivesTheSameFacts keeps one job, one firm or both where many take
// turns, so that most commits meet a job or a firm that was loaded again.
func TestEvictionGivesTheSameFacts(t *testing.T) {
	firms := sharingFirms()
	h := newHistory(11, firms...)
	log := openLog(t, h.now)
	h.record(t, log, 200)
	want := read(t, rebuilt(t, log), firms...)
	for _, kept := range []struct{ held, firms int }{{1, 1}, {1, 100}, {10_000, 1}} {
		t.Run(fmt.Sprintf("%d facts of jobs, %d firms", kept.held, kept.firms), func(t *testing.T) {
			store := openStore(t)
			l := limits{facts: 1000, bytes: 1 << 20, held: kept.held, jobs: 1, firms: kept.firms, catching: 1}
			p := start(t, log, store, l)
			catchUp(t, p.Projector, log)
			same(t, "little memory", read(t, store, firms...), want)
		})
	}
}
