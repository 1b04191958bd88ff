package reports

import (
	"cmp"
	"slices"

	"daysheet/events"
)

// The sums that the stock report asks for, in the order of the question.
const (
	stockMoves = iota // by product, unit, place, kind and day
	stockNeeds        // material of accepted and running jobs, by product, unit and side
)

// askStock asks for all of the firm's material: a filter by job or by period would
// leave a part of the stock out, so that only the position counts.
func askStock(f Filter) Question {
	q := Query{Firm: f.Firm, AsOf: f.AsOf}
	needs := only(q, KindMaterial)
	needs.States = underWay
	return Question{Sums: []Query{
		grouped(on(only(q, KindPurchase, KindMaterial, KindMove, KindCount), SideActual),
			ByProduct, ByUnit, ByPlace, ByKind, ByDay),
		grouped(needs, ByProduct, ByUnit, BySide),
	}}
}

// underWay are the states of jobs that will still need material.
var underWay = []events.State{events.Accepted, events.Running}

// movement is what happened to a product at a place on a day.
type movement struct {
	day           events.Day
	kind          Kind
	milli, costE4 int64
}

// shelf is a product in a unit: its movements at each place.
type shelf struct {
	productKey
	places map[string][]movement
	all    []movement
	budget int64 // needed by jobs under way
	used   int64 // by jobs under way
}

func makeStock(f Filter, a Answer) Report {
	shelves := shelvesOf(a)
	return Report{
		Name: "stock", Title: phrase("Stock and buying"), Filter: f, Names: a.Names,
		Tables:  []Table{buyTable(f, shelves, a.Names), placesTable(f, shelves, a.Names), pricesTable(f, shelves, a.Names)},
		Figures: priceFigures(shelves, a.Names),
		Notes: phrases(
			"Stock is what was bought, moved and returned less what was used. A count sets it right from the end of its "+
				"day on. Material that was used or bought without a place stands under no place.",
			"The average cost is the moving weighted average: each purchase changes it, use does not. Jobs are charged the "+
				"last price known when the material was used, not this average.",
			"To buy is what accepted and running jobs are planned to use and have not used yet, less the stock, in whole "+
				"packs. Where no pack is listed, it is the amount itself.",
		),
	}
}

func shelvesOf(a Answer) []*shelf {
	found := map[productKey]*shelf{}
	of := func(t Total) *shelf {
		key := productKey{t.By[0], events.Unit(t.By[1])}
		if found[key] == nil {
			found[key] = &shelf{productKey: key, places: map[string][]movement{}}
		}
		return found[key]
	}
	for _, t := range a.answered(stockMoves) {
		s := of(t)
		m := movement{events.Day(t.By[4]), Kind(t.By[3]), t.QuantityMilli, t.CostE4}
		s.places[t.By[2]] = append(s.places[t.By[2]], m)
		s.all = append(s.all, m)
	}
	for _, t := range a.answered(stockNeeds) {
		if s := of(t); Side(t.By[2]) == SideActual {
			s.used += t.QuantityMilli
		} else {
			s.budget += t.QuantityMilli
		}
	}
	all := make([]*shelf, 0, len(found))
	for _, s := range found {
		inOrder(s.all)
		for _, moves := range s.places {
			inOrder(moves)
		}
		all = append(all, s)
	}
	slices.SortFunc(all, func(x, y *shelf) int {
		return cmp.Or(cmp.Compare(named(a.Names.Products, x.product), named(a.Names.Products, y.product)),
			cmp.Compare(x.product, y.product), cmp.Compare(x.unit, y.unit))
	})
	return all
}

// turn is the place of a movement among those of its day.
func (m movement) turn() int {
	switch m.kind {
	case KindPurchase:
		return 0
	case KindMove:
		return 1
	case KindMaterial:
		return 2
	}
	return 3
}

// inOrder sorts movements by day; within a day what came in goes before what was
// used, and a count comes last.
func inOrder(moves []movement) {
	slices.SortStableFunc(moves, func(a, b movement) int {
		return cmp.Or(cmp.Compare(a.day, b.day), cmp.Compare(a.turn(), b.turn()))
	})
}

// onHand returns the stock that movements leave, and the day of the last count.
func onHand(moves []movement) (milli int64, counted events.Day) {
	for _, m := range moves {
		switch m.kind {
		case KindCount:
			milli, counted = m.milli, m.day
		case KindMaterial:
			milli -= m.milli
		default:
			milli += m.milli
		}
	}
	return milli, counted
}

// whole returns the stock over all places. A count at one place says nothing of
// the others.
func (s *shelf) whole() (milli int64) {
	for _, moves := range s.places {
		n, _ := onHand(moves)
		milli += n
	}
	return milli
}

// averaged returns the stock at moving weighted average cost, with the amount
// that the counts left.
func (s *shelf) averaged() average {
	var a average
	for _, m := range s.all {
		switch m.kind {
		case KindPurchase:
			a.buy(m.milli, m.costE4)
		case KindMaterial:
			a.take(m.milli)
		}
	}
	a.count(s.whole())
	return a
}

// need is what jobs under way will still use.
func (s *shelf) need() int64 { return max(s.budget-s.used, 0) }

// toBuy returns what is missing for the need, in whole packs.
func (s *shelf) toBuy(pack int64) int64 {
	missing := s.need() - max(s.whole(), 0)
	if missing <= 0 {
		return 0
	}
	if pack <= 0 {
		return missing
	}
	packs, rest := split(missing, pack)
	if rest > 0 {
		packs++
	}
	return packs * pack
}

// lastPrice returns what the last purchase cost.
func (s *shelf) lastPrice() (bought movement, ok bool) {
	for _, m := range slices.Backward(s.all) {
		if m.kind == KindPurchase && m.milli > 0 {
			return m, true
		}
	}
	return movement{}, false
}
