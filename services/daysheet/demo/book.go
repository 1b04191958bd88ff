package demo

import (
	"math"

	"daysheet/events"
)

// rate is what the first rate book plans for one unit, in minutes.
type rate struct {
	task, surface, method string
	minutes               float64
}

// rates hold for the named surface and method, or where these are empty for
// every other one. From memory, no source.
var rates = []rate{
	{"protect-floor", "", "", 1.8}, {"protect-worktop", "", "", 3}, {"protect-glass", "", "", 6},
	{"protect-joinery", "", "", 5}, {"protect-socket-switch", "", "", 2.5}, {"protect-light-fitting", "", "", 5},
	{"protect-radiator", "", "", 10}, {"protect-unit", "", "", 14}, {"protect-handrail", "", "", 3},
	{"mask-edge", "", "", 1.2}, {"mask-opening", "", "", 5},
	{"wash", "", "", 3}, {"fill", "", "", 4}, {"sand", "", "", 3.6}, {"caulk", "", "", 1.5},
	{"prime", "", "spray", 2.4}, {"prime", "", "brush", 9},
	{"coat", "ceiling", "spray", 2}, {"coat", "ceiling", "roller", 6.6}, {"coat", "board", "spray", 2.1},
	{"coat", "wood", "spray", 6}, {"coat", "plaster", "roller", 5.7}, {"coat", "render", "roller", 6.5},
	{"coat-trim", "", "brush", 7.2}, {"coat-door", "", "brush", 66}, {"coat-door", "", "spray", 28},
	{"lift-protection", "", "", .9}, {"clean", "", "", .6},
}

// revised is by how much the second book raises the plan for a task. The firm
// has seen that protection takes longer, but not by how much where people live.
func revised(task string) float64 {
	t, _ := events.StandardTask(task)
	if t.Family == events.FamilyProtection || t.Family == events.FamilyMasking {
		return 1.1
	}
	return 1
}

// bookMinutes returns what a revision (1 or 2) plans for one unit of work.
func bookMinutes(revision int, w work) float64 {
	best, score := 0.0, -1
	for _, r := range rates {
		if r.task != w.task || r.surface != "" && r.surface != w.surface || r.method != "" && r.method != w.method {
			continue
		}
		if s := len(r.surface) + len(r.method); s > score {
			best, score = r.minutes, s
		}
	}
	if revision == 2 {
		best *= revised(w.task)
	}
	return best
}

// rateBook returns a whole revision of the book.
func rateBook(revision int, from events.Day) *events.RateBook {
	b := &events.RateBook{Revision: "r1", EffectiveFrom: from, Reason: "First book"}
	source := "from-memory"
	if revision == 2 {
		b.Revision, b.Reason, source = "r2", "Protection was planned too short", "own-history"
	}
	for _, r := range rates {
		minutes := r.minutes
		if revision == 2 {
			minutes *= revised(r.task)
		}
		b.Rates = append(b.Rates, events.Rate{
			Task: r.task, Surface: r.surface, Method: r.method, Unit: unitOf(r.task),
			MinutesMilli: int64(math.Round(minutes * 1000)), Source: source, Consumables: consumables(r),
		})
	}
	return b
}

// consumables returns what a rate consumes: the first product that work at this
// rate uses.
func consumables(r rate) []events.RateUse {
	for _, k := range kindsOfJob {
		for _, w := range k.works {
			if w.task != r.task || w.use == 0 || r.surface != "" && r.surface != w.surface ||
				r.method != "" && r.method != w.method {
				continue
			}
			return []events.RateUse{{Product: w.product, Unit: productOf(w.product).Unit,
				QuantityMilli: int64(math.Round(w.use * 1000))}}
		}
	}
	return nil
}
