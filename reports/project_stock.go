package reports

import (
	"slices"

	"daysheet/events"
)

// stock returns a fact about an amount of a product at a place.
func (o *occasion) stock(kind Kind, product string, unit events.Unit, place string, milli int64) Fact {
	f := o.fact(SideActual, kind)
	f.Product, f.Unit, f.Place, f.QuantityMilli = product, unit, place, milli
	return f
}

// stockCount is what was found in a place.
type stockCount struct {
	event, slot string
	fact        Fact
}

// count makes a stock count hold. Of several counts of the same thing on one day
// the last holds: they must not add up.
func (p *JobProjection) count(o *occasion, e *events.Count) {
	slot := "count of " + e.Product + " " + string(e.Unit) + " at " + e.Place + " on " + string(o.day)
	p.counts = append(p.counts, stockCount{o.e.ID, slot, o.stock(KindCount, e.Product, e.Unit, e.Place, e.QuantityMilli)})
	p.useCount(o, slot)
}

// uncount takes a count back where the event id is one, so that one before it
// holds again.
func (p *JobProjection) uncount(o *occasion, id string) {
	i := slices.IndexFunc(p.counts, func(c stockCount) bool { return c.event == id })
	if i < 0 {
		return
	}
	slot := p.counts[i].slot
	p.counts = slices.Delete(p.counts, i, i+1)
	p.useCount(o, slot)
}

// useCount makes the last count of the slot hold.
func (p *JobProjection) useCount(o *occasion, slot string) {
	o.withdraw(slot)
	for i := len(p.counts) - 1; i >= 0; i-- {
		if p.counts[i].slot == slot {
			o.restore(slot, p.counts[i].fact)
			return
		}
	}
}
