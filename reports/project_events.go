package reports

import (
	"slices"

	"daysheet/events"
)

// project makes the facts of one event.
func (p *JobProjection) project(o *occasion, payload events.Payload) {
	switch e := payload.(type) {
	case *events.Purchase:
		o.on(e.Day)
		f := o.stock(KindPurchase, e.Product, e.Unit, e.Place, e.QuantityMilli)
		f.CostE4 = e.CostE4
		o.hold(f)
	case *events.Move:
		o.on(e.Day)
		o.hold(o.stock(KindMove, e.Product, e.Unit, e.From, -e.QuantityMilli),
			o.stock(KindMove, e.Product, e.Unit, e.To, e.QuantityMilli))
	case *events.Count:
		o.on(e.Day)
		p.count(o, e)
	case *events.Opening:
		p.open(o, e)
	case *events.Estimate:
		o.on(e.Day)
		p.offers[o.e.ID] = o.planned(SideEstimate, e.Lines, e.Materials, e.PriceE4)
		p.issued = append(p.issued, o.e.ID)
		p.useEstimate(o)
	case *events.Acceptance:
		o.on(e.Day)
		p.acceptances = append(p.acceptances, acceptance{o.e.ID, e.Estimate, o.day})
		p.accept(o)
	case *events.Variation:
		o.on(e.Day)
		o.hold(o.planned(SideVariation, e.Lines, e.Materials, e.PriceE4)...)
	case *events.SignOff:
		o.on(e.Day)
		p.finish(o)
	case *events.Closing:
		o.on(e.Day)
		f := o.fact(SideActual, KindPrice)
		f.CostE4 = e.BilledE4
		p.bills[o.e.ID] = f
		p.finish(o)
	case *events.Reopening:
		o.on(e.Day)
		p.turned(o)
	case *events.Void:
		p.void(o, e.Event)
	default:
		p.projectSite(o, payload)
	}
}

// projectSite makes the facts of site work and of quality.
func (p *JobProjection) projectSite(o *occasion, payload events.Payload) {
	switch e := payload.(type) {
	case *events.Hours:
		o.work(e.Day)
		o.labour(e)
	case *events.Protection:
		o.work(e.Day)
		o.quantity(done{e.Task, e.Surface, "", e.Location, e.Product}, e.Unit, e.QuantityMilli)
		o.material(taken{e.Product, e.ProductUnit, e.ProductQuantityMilli, 0, e.Place},
			done{e.Task, e.Surface, "", e.Location, ""})
		p.lay(o, e)
	case *events.Lifting:
		o.work(e.Day)
		p.lift(o, e)
	case *events.Preparation:
		o.work(e.Day)
		o.quantity(done{e.Task, e.Surface, e.Method, e.Location, ""}, e.Unit, e.QuantityMilli)
	case *events.Coat:
		o.work(e.Day)
		with := e.Product
		if e.VolumeMilli == 0 {
			with = "" // so that area and volume of a product belong together
		}
		o.quantity(done{e.Task, e.Surface, e.Method, e.Location, with}, e.Unit, e.QuantityMilli)
		p.checkCoat(o, e)
		o.material(taken{e.Product, events.Litre, e.VolumeMilli, 0, e.Place},
			done{e.Task, e.Surface, "", e.Location, ""})
	case *events.Usage:
		o.work(e.Day)
		o.material(taken{e.Product, e.Unit, e.QuantityMilli, e.CostE4, e.Place}, done{task: e.Task})
	case *events.Return:
		o.record(e.Day)
		o.returned(e)
	case *events.Damage:
		o.record(e.Day)
		p.damage(o, e)
	case *events.MakingGood:
		o.record(e.Day)
		p.makeGood(o, e)
	case *events.Snag:
		o.record(e.Day)
		p.snags[o.e.ID] = true
	case *events.SnagClearance:
		o.record(e.Day)
		p.settled[o.e.ID] = e.Snag
		o.quantity(done{task: "snag"}, events.Each, 1000)
	case *events.Condition:
		o.record(e.Day)
	case *events.ProtectionCheck:
		o.record(e.Day)
	case *events.Photo:
		o.record(e.Day)
	case *events.Note:
		o.record(e.Day)
	}
}

func (p *JobProjection) open(o *occasion, e *events.Opening) {
	if p.job.Opened == "" {
		p.job.Opened = o.day
		p.history = o.c.RecordedAt.Sub(o.e.OccurredAt()) > late
	} else if e.JobType != p.job.JobType {
		o.retype(e.JobType)
	}
	o.withdraw(p.opening) // its mark was about what is now restated
	p.opening = o.e.ID
	p.job.JobType, p.job.Title, p.job.Customer, p.job.Built = e.JobType, e.Title, e.Customer, e.Built
	p.job.Start, p.job.Due = e.Start, e.Due
	if s := p.firm.Settings(o.sequence); s != nil &&
		!slices.ContainsFunc(s.JobTypes, func(t events.JobType) bool { return t.JobType == e.JobType }) {
		o.mark(MarkUnknownJobType)
	}
}

// useEstimate makes the facts of the estimate in force hold, and cancels those
// of the one that was: the accepted estimate, else the last one issued.
func (p *JobProjection) useEstimate(o *occasion) {
	want := ""
	if n := len(p.acceptances); n > 0 {
		want = p.acceptances[n-1].estimate
	} else if n := len(p.issued); n > 0 {
		want = p.issued[n-1]
	}
	if want == p.inUse {
		return
	}
	o.withdraw(p.inUse)
	p.inUse = want
	o.restore(want, p.offers[want]...)
}

// useBill makes the price charged by the last closing hold: a closing states
// what the whole job was charged, so it replaces that of a closing before it.
func (p *JobProjection) useBill(o *occasion) {
	const slot = "the bill"
	want := ""
	for _, t := range p.turnings {
		if t.kind == events.JobClosed {
			want = t.event
		}
	}
	if want == p.billed {
		return
	}
	o.withdraw(slot)
	p.billed = want
	if want != "" {
		o.restore(slot, p.bills[want])
	}
}

func (p *JobProjection) accept(o *occasion) {
	p.job.Accepted = ""
	if n := len(p.acceptances); n > 0 {
		p.job.Accepted = p.acceptances[n-1].day
	}
	p.useEstimate(o)
}

// finish records a sign-off or closing and marks what was left open.
func (p *JobProjection) finish(o *occasion) {
	p.turned(o)
	if anyOpen(p.snags, p.settled) {
		o.mark(MarkOpenSnags)
	}
	if anyOpen(p.damages, p.settled) {
		o.mark(MarkOpenDamage)
	}
	for _, left := range p.down {
		if left > 0 {
			o.mark(MarkProtectionDown)
			break
		}
	}
}

// anyOpen reports whether one of the snags or damages was not settled.
func anyOpen[T any](found map[string]T, settled map[string]string) bool {
	for id := range found {
		if !settles(settled, id) {
			return true
		}
	}
	return false
}

// settles reports whether one of the clearances and makings good is of id.
func settles(settled map[string]string, id string) bool {
	for _, found := range settled {
		if found == id {
			return true
		}
	}
	return false
}

func (p *JobProjection) turned(o *occasion) {
	p.turnings = append(p.turnings, turning{o.e.ID, o.e.Type, o.day})
	p.job.Finished = p.finishedDay()
	p.useBill(o)
}

func (p *JobProjection) lift(o *occasion, e *events.Lifting) {
	milli := e.QuantityMilli
	if milli == 0 {
		milli = p.down[e.Laid]
	}
	p.down[e.Laid] -= milli
	p.lifted[o.e.ID] = lifting{e.Laid, milli}
	laid := p.first(e.Laid, KindQuantity)
	f := o.fact(SideActual, KindQuantity)
	o.describe(&f, "lift-protection", laid.Surface, "", laid.Location)
	f.Unit, f.QuantityMilli = laid.Unit, milli
	o.hold(f)
	p.useCover(o, e.Laid)
}

// lay notes protection as being down.
func (p *JobProjection) lay(o *occasion, e *events.Protection) {
	p.down[o.e.ID] = e.QuantityMilli
	f := o.fact(SideActual, KindDown)
	o.describe(&f, e.Task, e.Surface, "", e.Location)
	f.Product, f.Unit, f.Method = e.Product, e.Unit, string(o.removeBy(e))
	p.covers[o.e.ID] = f
	p.useCover(o, o.e.ID)
}

// useCover makes the fact hold of what is still down of protection that was laid.
func (p *JobProjection) useCover(o *occasion, laid string) {
	slot := "down of " + laid
	o.withdraw(slot)
	f, known := p.covers[laid]
	if left := p.down[laid]; known && left > 0 {
		f.QuantityMilli = left
		o.restore(slot, f)
	}
}

// removeBy returns the last day for clean removal: the one that was stated, else
// the one by the product's listing, counted from the day of laying.
func (o *occasion) removeBy(e *events.Protection) events.Day {
	if e.RemoveBy != "" || e.Product == "" {
		return e.RemoveBy
	}
	listed := o.p.firm.Product(e.Product, o.sequence)
	if listed == nil || listed.CleanRemovalDays == 0 {
		return ""
	}
	return o.day.Add(int(listed.CleanRemovalDays))
}

func (p *JobProjection) damage(o *occasion, e *events.Damage) {
	d := damage{e.CostE4, e.Cause == "ours" || e.Cause == "unknown"}
	p.damages[o.e.ID] = d
	f := o.fact(SideActual, KindDamage)
	o.describe(&f, e.Task, "", e.Cause, e.Location)
	f.Unit, f.QuantityMilli = events.Each, 1000
	if d.counts {
		f.CostE4 = d.costE4
	}
	o.hold(f)
}

// expected names the slot that takes the expected cost of a damage back while
// the damage is made good.
func expected(damage string) string { return "expected cost of " + damage }

// makeGood replaces the expected cost of the damage by what it came to. A
// damage that is made good more than once costs all of it.
func (p *JobProjection) makeGood(o *occasion, e *events.MakingGood) {
	d := p.damages[e.Damage]
	p.settled[o.e.ID] = e.Damage
	if !d.counts {
		return
	}
	f := o.fact(SideActual, KindDamage)
	found := p.first(e.Damage, KindDamage)
	f.Task, f.Family, f.Method, f.Location = found.Task, found.Family, found.Method, found.Location
	f.Unit = events.Each
	if replaced := expected(e.Damage); len(p.live[replaced]) == 0 && d.costE4 != 0 {
		found.QuantityMilli, found.CostE4 = 0, -d.costE4
		o.restore(replaced, found)
	}
	f.CostE4 = e.CostE4
	o.hold(f)
}

// void cancels what the event id made and restores what it changed.
func (p *JobProjection) void(o *occasion, id string) {
	if lifted, ok := p.lifted[id]; ok {
		p.down[lifted.laid] += lifted.milli
		delete(p.lifted, id)
		p.useCover(o, lifted.laid)
	}
	if damage, ok := p.settled[id]; ok {
		delete(p.settled, id)
		if !settles(p.settled, damage) {
			o.withdraw(expected(damage))
		}
	}
	if _, ok := p.covers[id]; ok {
		delete(p.covers, id)
		p.useCover(o, id)
	}
	delete(p.down, id)
	delete(p.snags, id)
	delete(p.damages, id)
	delete(p.worked, id)
	if id != p.inUse { // an estimate in force is withdrawn by useEstimate
		o.withdraw(id)
	}
	p.issued = slices.DeleteFunc(p.issued, func(e string) bool { return e == id })
	p.acceptances = slices.DeleteFunc(p.acceptances, func(a acceptance) bool { return a.event == id })
	p.turnings = slices.DeleteFunc(p.turnings, func(t turning) bool { return t.event == id })
	p.accept(o)
	p.useBill(o)
	p.uncount(o, id)
	p.coats = slices.DeleteFunc(p.coats, func(c coated) bool { return c.event == id })
	p.job.Finished = p.finishedDay()
}
