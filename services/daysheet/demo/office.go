package demo

import (
	"fmt"
	"math"
	"slices"

	"daysheet/events"
)

// bookRevisedAt is when the second rate book comes, as a share of the firm's time.
const bookRevisedAt = .6

// margin is what the firm adds to the price of material.
const margin = 1.25

// offer opens the job, offers it and has it accepted. Now and then the first
// offer is too dear and a second one is taken.
func (j *job) offer() {
	day := j.offered()
	_, quarter := j.quarterOf(day)
	years := int(j.progress(day) * j.years)
	j.chargeE4 = int64(math.Round(float64(wageE4(chargeE4, years)) * j.kind.markup))
	built := int64(1890 + j.rng.IntN(125))
	if j.jobType == newDwelling {
		built = int64(j.start.Time().Year())
	}
	j.add(office, j.clock(workdayOn(day.Add(-7)), 9*60+5*j.rng.IntN(40)), events.JobOpened, &events.Opening{
		JobType: j.jobType, Title: j.kind.titles[j.rng.IntN(len(j.kind.titles))],
		Customer: fmt.Sprintf("c-%04d", 1000+j.number), Built: built, Start: j.start,
		Due: workdayOn(j.start.Add(21)),
	})
	estimate := events.Estimate{RateBook: "r1"}
	if j.progress(day) >= bookRevisedAt {
		estimate.RateBook = "r2"
	}
	for _, l := range j.lines {
		estimate.Lines = append(estimate.Lines, planLine(l))
		if m, ok := planMaterial(l); ok {
			estimate.Materials = append(estimate.Materials, m)
		}
		j.priceE4 += j.linePrice(l, quarter)
	}
	const ten = 100_000
	j.priceE4 = (j.priceE4 + ten - 1) / ten * ten
	if j.rng.Float64() < .15 {
		dearer := estimate
		dearer.PriceE4, dearer.Note = j.priceE4+j.priceE4/10/ten*ten, "First offer"
		j.add(office, j.clock(day, 10*60), events.EstimateIssued, &dearer)
		day = nextWorkday(day)
	}
	estimate.PriceE4 = j.priceE4
	id := j.add(office, j.clock(day, 10*60+5*j.rng.IntN(60)), events.EstimateIssued, &estimate)
	day = nextWorkday(day.Add(1 + j.rng.IntN(4)))
	j.add(office, j.clock(day, 14*60+j.rng.IntN(90)), events.EstimateAccepted, &events.Acceptance{Estimate: id})
}

func planLine(l line) events.EstimateLine {
	p := events.EstimateLine{Task: l.task, Surface: l.surface, Method: l.method, Minutes: int64(l.minutes), Grade: painter}
	if l.planned > 0 {
		p.QuantityMilli, p.Unit = l.planned, unitOf(l.task)
	}
	return p
}

// planMaterial returns the consumable of a line, if it has one.
func planMaterial(l line) (events.EstimateMaterial, bool) {
	milli := l.consumes(l.planned)
	if milli == 0 {
		return events.EstimateMaterial{}, false
	}
	return events.EstimateMaterial{Product: l.product, Task: l.task, QuantityMilli: milli,
		Unit: productOf(l.product).Unit}, true
}

// consumes returns what an amount of work uses of the line's product.
func (l line) consumes(milli int64) int64 { return int64(math.Round(float64(milli) * l.use)) }

// linePrice returns what the customer pays for a line.
func (j *job) linePrice(l line, quarter int) int64 {
	hours := float64(l.minutes) / 60 * float64(j.chargeE4)
	stuff := float64(l.consumes(l.planned)) / 1000 * float64(j.priceOf(l.product, quarter)) * margin
	return int64(math.Round(hours + stuff))
}

// vary agrees on more of the work in line i and adds it after that line.
func (j *job) vary(i int) {
	l := j.lines[i]
	share := .08 + .1*j.rng.Float64()
	l.extra = true
	l.planned = max(1000, int64(math.Round(float64(l.planned)*share/1000))*1000)
	l.actual = l.planned
	l.minutes = roundTo(float64(j.lines[i].minutes)*share, 5)
	l.takes = roundTo(float64(j.lines[i].takes)*share, 5)
	l.location = "extra room"
	_, quarter := j.quarterOf(j.day)
	price := j.linePrice(l, quarter)
	v := &events.Variation{Reason: "Customer asked for one room more", PriceE4: price,
		Lines: []events.EstimateLine{planLine(l)}}
	if m, ok := planMaterial(l); ok {
		v.Materials = append(v.Materials, m)
	}
	j.priceE4 += price
	j.add(office, j.at, events.VariationAgreed, v)
	j.lines = slices.Insert(j.lines, i+1, l)
}

// firm adds the firm's own events: settings, products, rate books, purchases.
func (g *generator) firm() {
	rng := g.truth.rand("firm's own")
	start := workdayOn(g.begin)
	send := func(d events.Day, minutes int, made ...events.Payload) {
		at := g.clock(d, minutes)
		if at.After(g.opts.Today) {
			return
		}
		s := Submission{Job: events.FirmJob, By: office, At: at}
		for _, p := range made {
			s.Events = append(s.Events, g.event(events.FirmJob, "/demo/office", typeOf(p), at, rng, p))
		}
		g.out = append(g.out, s)
	}
	set := []events.Payload{g.settings(0)}
	for _, p := range products {
		set = append(set, &p)
	}
	send(start, 6*60, append(set, rateBook(1, start))...)
	for year := 1; float64(year) < g.years; year++ {
		send(workdayOn(g.begin.Add(365*year)), 6*60, g.settings(year))
	}
	revisedOn := workdayOn(g.begin.Add(int(bookRevisedAt * g.years * 365)))
	send(revisedOn, 8*60+30, rateBook(2, revisedOn))
	send(workdayOn(start), 6*60+30, g.sheets()...)
	left := map[string]int64{} // in the van, as it is
	for quarter := g.begin; quarter <= g.today; quarter = quarter.Add(91) {
		if bought := g.purchases(quarter); len(bought) > 0 {
			send(workdayOn(quarter), 7*60, bought...)
			send(workdayOn(quarter), 7*60+20, loaded(bought, left)...)
		}
		for product, milli := range g.used[quarter] {
			left[product] -= milli
		}
		if counted := g.counts(quarter, left); len(counted) > 0 {
			send(workdayOn(quarter.Add(90)), 16*60, counted...)
		}
	}
}

func typeOf(p events.Payload) events.Type {
	switch p.(type) {
	case *events.Settings:
		return events.FirmSettingsChanged
	case *events.Product:
		return events.ProductListed
	case *events.RateBook:
		return events.RateBookRevised
	case *events.Move:
		return events.MaterialMoved
	case *events.Count:
		return events.MaterialCounted
	}
	return events.MaterialPurchased
}

// settings returns the firm's settings after whole years: wages rise.
func (g *generator) settings(years int) *events.Settings {
	return &events.Settings{
		Name: g.name, Currency: "EUR", TimeZone: timeZone, Locale: "en-IE", VATBasisPoints: 2000,
		JobTypes: jobTypes, People: people, MeasuredBy: events.MeasureNet, Warranty: warranty,
		Overhead: &events.Overhead{PerHourE4: wageE4(overheadE4, years), MaterialBasisPoints: 500},
		Pricing: &events.Pricing{Method: events.PricingMarkUp, BasisPoints: 2000,
			AddOns: []events.AddOn{{Name: "Disposal of waste", BasisPoints: 150}}},
		Grades: []events.Grade{
			{Grade: foreman, CostPerHourE4: wageE4(foremanE4, years)},
			{Grade: painter, CostPerHourE4: wageE4(painterE4, years)},
			{Grade: apprentice, CostPerHourE4: wageE4(apprenticeE4, years)},
		},
	}
}

// purchases buys what a quarter's work uses, in whole packs.
func (g *generator) purchases(quarter events.Day) (bought []events.Payload) {
	_, number := g.quarterOf(quarter)
	for _, p := range products {
		need := g.used[quarter][p.Product]
		if need == 0 {
			continue
		}
		packs := (need + p.PackMilli - 1) / p.PackMilli
		milli := packs * p.PackMilli
		cost := math.Round(float64(milli) / 1000 * float64(g.priceOf(p.Product, number)))
		bought = append(bought, &events.Purchase{Product: p.Product, QuantityMilli: milli, Unit: p.Unit,
			CostE4: int64(cost), Supplier: supplier, Place: store})
	}
	return bought
}

// sheets buys what is laid again, once.
func (g *generator) sheets() (bought []events.Payload) {
	const milli = 250_000
	for _, p := range products {
		if p.Reusable {
			bought = append(bought, &events.Purchase{Product: p.Product, QuantityMilli: milli, Unit: p.Unit,
				CostE4: p.PriceE4 * milli / 1000, Supplier: supplier, Place: store})
		}
	}
	return bought
}

// loaded brings what was bought to the van.
func loaded(bought []events.Payload, left map[string]int64) (moves []events.Payload) {
	for _, b := range bought {
		p := b.(*events.Purchase)
		left[p.Product] += p.QuantityMilli
		moves = append(moves, &events.Move{Product: p.Product, QuantityMilli: p.QuantityMilli, Unit: p.Unit,
			From: store, To: van})
	}
	return moves
}

// counts counts what is left in the van, once a year: a little less than the books
// say.
func (g *generator) counts(quarter events.Day, left map[string]int64) (counted []events.Payload) {
	const inYear = 4
	if _, number := g.quarterOf(quarter); number%inYear != inYear-1 {
		return nil
	}
	for _, p := range products {
		if p.Reusable || left[p.Product] == 0 {
			continue
		}
		step := int64(500)
		if p.Unit == events.Each {
			step = 1000
		}
		found := max(0, left[p.Product]*97/100/step*step)
		left[p.Product] = found
		counted = append(counted, &events.Count{Product: p.Product, QuantityMilli: found, Unit: p.Unit, Place: van})
	}
	return counted
}
