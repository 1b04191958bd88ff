package reports

import (
	"slices"

	"daysheet/events"
	"daysheet/reports/coating"
)

// coated is a coat that holds: where it lies and when it was finished.
type coated struct {
	event, place string
	number       int64
	last         coating.Earlier
}

// climateKeys are the checks for which a coat is marked. Film and coverage are
// told by the report on coats alone: they want a look at several coats together.
var climateKeys = []coating.Key{
	coating.AirTooCold, coating.AirTooHot, coating.SurfaceTooCold, coating.SurfaceTooHot, coating.AirTooHumid,
	coating.SurfaceNearDewPoint, coating.RecoatTooSoon,
}

// checkCoat marks a coat that was applied outside the limits of its product.
func (p *JobProjection) checkCoat(o *occasion, c *events.Coat) {
	var product events.Product
	if listed := p.firm.Product(c.Product, o.sequence); listed != nil {
		product = *listed
	}
	a := coating.Applied{Coat: *c}
	if o.day == o.e.Day() {
		a.At = o.e.OccurredAt()
	}
	place := coatPlace(c)
	for _, before := range p.coats { // not of the same number: one coat can be recorded in parts
		if before.place == place && before.number < c.Coat && before.last.At.After(a.Last.At) {
			a.Last = before.last
		}
	}
	warnings, _ := coating.Check(a, product, coating.General())
	if slices.ContainsFunc(warnings, func(w coating.Warning) bool { return slices.Contains(climateKeys, w.Key) }) {
		o.mark(MarkCoatOutside)
	}
	p.coats = append(p.coats, coated{o.e.ID, place, c.Coat,
		coating.Earlier{At: a.At, RecoatMinutes: product.RecoatMinutes}})
}
