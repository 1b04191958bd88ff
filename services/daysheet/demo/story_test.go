package demo

import (
	"testing"

	"daysheet/events"
	"daysheet/reports"
)

// project makes the facts of a firm that count at the end.
func project(t testing.TB, f *Firm) (facts []reports.Fact, states map[string]events.State) {
	t.Helper()
	states = map[string]events.State{}
	firm := &events.Firm{}
	jobs := map[string]*reports.JobProjection{}
	for stored, err := range f.Commits(0, 0) {
		if err != nil {
			t.Fatal(err)
		}
		c, err := events.DecodeCommit(stored.Raw)
		if err != nil {
			t.Fatal(err)
		}
		if c.Job == events.FirmJob {
			if err := firm.Apply(c, stored.Sequence); err != nil {
				t.Fatal(err)
			}
		}
		p := jobs[c.Job]
		if p == nil {
			p = reports.NewJobProjection(firm, f.Key, c.Job, 0)
			jobs[c.Job] = p
		}
		out, err := p.Apply(stored, c)
		if err != nil {
			t.Fatal(err)
		}
		facts = append(facts, out.Facts...)
		if out.Job != nil {
			states[c.Job] = out.Job.State
		}
	}
	return facts, states
}

// TestStory: what the package says about the firm can be read from its facts,
// whatever the seed: protection takes much longer than planned where people
// live, stairwells lose money, and the firm as a whole earns some.
func TestStory(t *testing.T) {
	for seed := range uint64(6) {
		facts, states := project(t, mustGenerate(t, Options{Seed: seed, Today: today}))
		profit := map[string]int64{}
		planned, actual := map[string]int64{}, map[string]int64{} // minutes of protection and masking
		marks := map[string]int{}
		for _, f := range facts {
			sign := int64(f.Sign)
			if f.Kind == reports.KindMark {
				marks[f.Task]++
			}
			if states[f.Job] != events.Closed {
				continue
			}
			cover := f.Family == events.FamilyProtection || f.Family == events.FamilyMasking
			switch {
			case f.Kind == reports.KindPrice && f.Side == reports.SideActual:
				profit[f.JobType] += sign * f.CostE4
			case f.Kind != reports.KindPrice && f.Side == reports.SideActual:
				profit[f.JobType] -= sign * f.CostE4
			}
			switch {
			case f.Kind != reports.KindLabour || !cover:
			case f.Side == reports.SideActual:
				actual[f.JobType] += sign * f.Minutes
			default:
				planned[f.JobType] += sign * f.Minutes
			}
		}
		var whole int64
		for _, k := range kindsOfJob {
			whole += profit[k.jobType]
			if k.jobType != stairwell && profit[k.jobType] <= profit[stairwell] {
				t.Errorf("seed %d: %s earned less than stairwells", seed, k.jobType)
			}
		}
		if whole <= 0 || profit[stairwell] >= 0 {
			t.Errorf("seed %d: the firm earned %d, stairwells %d", seed, whole, profit[stairwell])
		}
		if 100*actual[occupied] < 130*planned[occupied] {
			t.Errorf("seed %d: %d min of protection for %d planned", seed, actual[occupied], planned[occupied])
		}
		for mark, n := range marks {
			if mark != string(reports.MarkRecordedLate) && mark != string(reports.MarkCoatOutside) {
				t.Errorf("seed %d: %d marks %s", seed, n, mark)
			}
		}
	}
}

// TestPricesRise: the last purchase of each product costs more than the first.
func TestPricesRise(t *testing.T) {
	f := mustGenerate(t, Options{Seed: 1, Today: today})
	first, last := map[string]*events.Purchase{}, map[string]*events.Purchase{}
	books := 0
	for s := range f.Submissions() {
		for i := range s.Events {
			switch p := payloadOf(t, &s.Events[i]).(type) {
			case *events.Purchase:
				if first[p.Product] == nil {
					first[p.Product] = p
				}
				last[p.Product] = p
			case *events.RateBook:
				books++
			}
		}
	}
	if books != 2 || len(first) < 12 {
		t.Errorf("%d rate books, %d products bought", books, len(first))
	}
	for product, p := range first {
		if q := last[product]; q != p && q.CostE4*p.QuantityMilli <= p.CostE4*q.QuantityMilli {
			t.Errorf("%s did not rise", product)
		}
	}
}

// TestCoatsCoverTheSame: both coats of a surface are planned for the same area, as a
// take-off measures it, and what is counted by the piece is counted in whole pieces.
func TestCoatsCoverTheSame(t *testing.T) {
	f := mustGenerate(t, Options{Seed: 1, Today: today})
	twice := 0
	for s := range f.Submissions() {
		for i := range s.Events {
			switch p := payloadOf(t, &s.Events[i]).(type) {
			case *events.Estimate:
				planned := map[[2]string]int64{}
				for _, l := range p.Lines {
					on := [2]string{l.Task, l.Surface}
					if before := planned[on]; before != 0 && before != l.QuantityMilli {
						t.Errorf("%s: the coats on %v are planned for %d and %d", s.Events[i].Subject, on, before, l.QuantityMilli)
					} else if before != 0 {
						twice++
					}
					planned[on] = l.QuantityMilli
				}
			case *events.Count:
				if p.Unit == events.Each && p.QuantityMilli%1000 != 0 {
					t.Errorf("%s: %d thousandths of a piece were counted", p.Product, p.QuantityMilli)
				}
			}
		}
	}
	if twice == 0 {
		t.Error("nothing is coated twice")
	}
}
