package reports

import (
	"slices"

	"daysheet/events"
)

// record sets the day of something that was seen or done and marks what does
// not fit the calendar of the job.
func (o *occasion) record(day events.Day) {
	o.on(day)
	switch happened := o.e.OccurredAt(); {
	case happened.After(o.c.RecordedAt.Add(ahead)):
		o.mark(MarkClockAhead)
	case o.c.RecordedAt.Sub(happened) > late && !o.p.history:
		o.mark(MarkRecordedLate)
	}
	if o.p.job.Opened != "" && o.day < o.p.job.Opened {
		o.mark(MarkBeforeOpening)
	}
	if f := o.p.job.Finished; f != "" && o.day > f {
		o.mark(MarkAfterFinish)
	}
}

// work is record for what counts as work on the job.
func (o *occasion) work(day events.Day) {
	o.record(day)
	o.p.worked[o.e.ID] = true
}

// describe fills in what was worked on, and the family of the task.
func (o *occasion) describe(f *Fact, task, surface, method, location string) {
	f.Task, f.Surface, f.Method, f.Location = task, surface, method, location
	if task != "" {
		f.Family, _ = o.task(task)
	}
}

// task returns the family and usual unit of a task; the unit is empty where the
// task is in no list.
func (o *occasion) task(task string) (events.Family, events.Unit) {
	if t, ok := events.StandardTask(task); ok {
		return t.Family, t.Unit
	}
	if s := o.p.firm.Settings(o.sequence); s != nil {
		for _, t := range s.Tasks {
			if t.Task == task {
				return t.Family, t.Unit
			}
		}
	}
	return events.FamilyOther, ""
}

// checkTask marks a task that is in no list.
func (o *occasion) checkTask(task string) {
	if _, unit := o.task(task); unit == "" && task != "" {
		o.mark(MarkUnknownTask)
	}
}

func (o *occasion) labour(e *events.Hours) {
	f := o.fact(SideActual, KindLabour)
	o.describe(&f, e.Task, e.Surface, e.Method, e.Location)
	f.Person, f.Minutes = e.Person, e.Minutes
	grade, known := o.gradeOf(e.Person)
	if e.Grade != "" {
		grade = e.Grade
	}
	f.Grade = grade
	rate, priced := o.wage(grade)
	f.CostE4 = labourCostE4(e.Minutes, rate)
	o.hold(o.withOverhead(make([]Fact, 0, 2), f)...)
	o.checkTask(e.Task)
	if !known {
		o.mark(MarkUnknownPerson)
	}
	if !priced {
		o.mark(MarkUnpriced)
	}
}

// gradeOf returns the usual grade of a person in the firm's list.
func (o *occasion) gradeOf(person string) (grade string, known bool) {
	s := o.p.firm.Settings(o.sequence)
	if s == nil {
		return "", false
	}
	i := slices.IndexFunc(s.People, func(p events.FirmPerson) bool { return p.Person == person })
	if i < 0 {
		return "", false
	}
	return s.People[i].Grade, true
}

// wage returns what an hour of a grade costs the firm.
func (o *occasion) wage(grade string) (costPerHourE4 int64, known bool) {
	s := o.p.firm.Settings(o.sequence)
	if s == nil {
		return 0, false
	}
	for _, g := range s.Grades {
		if g.Grade == grade {
			return g.CostPerHourE4, true
		}
	}
	return 0, false
}

// done says what was worked on, and with which product.
type done struct{ task, surface, method, location, product string }

func (o *occasion) quantity(d done, unit events.Unit, milli int64) {
	f := o.fact(SideActual, KindQuantity)
	o.describe(&f, d.task, d.surface, d.method, d.location)
	f.Product, f.Unit, f.QuantityMilli = d.product, unit, milli
	o.hold(f)
	o.checkTask(d.task)
	if _, usual := o.task(d.task); usual != "" && usual != unit {
		o.mark(MarkUnitDiffers)
	}
}

// taken is an amount of a product that came from a place. A stated cost goes
// before the firm's price.
type taken struct {
	product  string
	unit     events.Unit
	milli    int64
	statedE4 int64
	place    string
}

// material counts what was consumed for the work.
func (o *occasion) material(t taken, d done) {
	if t.milli == 0 {
		return
	}
	cost, marks := o.materialCost(t.product, t.unit, t.milli, t.statedE4)
	o.consumed(t, d, cost, marks)
}

// returned counts material that came back: a use with the opposite amounts.
func (o *occasion) returned(e *events.Return) {
	cost, marks := o.materialCost(e.Product, e.Unit, e.QuantityMilli, e.CostE4)
	o.consumed(taken{product: e.Product, unit: e.Unit, milli: -e.QuantityMilli, place: e.Place},
		done{task: e.Task}, -cost, marks)
}

func (o *occasion) consumed(t taken, d done, costE4 int64, marks []Mark) {
	f := o.fact(SideActual, KindMaterial)
	o.describe(&f, d.task, d.surface, d.method, d.location)
	f.Product, f.Unit, f.QuantityMilli, f.CostE4, f.Place = t.product, t.unit, t.milli, costE4, t.place
	o.hold(o.withOverhead(make([]Fact, 0, 2), f)...)
	for _, m := range marks {
		o.mark(m)
	}
}

// materialCost prices an amount of a product, and says what the office should
// look at.
func (o *occasion) materialCost(product string, unit events.Unit, milli, statedE4 int64) (costE4 int64, marks []Mark) {
	listed := o.p.firm.Product(product, o.sequence)
	switch {
	case listed == nil:
		marks = append(marks, MarkUnknownProduct)
	case listed.Unit != unit:
		marks = append(marks, MarkUnitDiffers)
	}
	if statedE4 != 0 {
		return statedE4, marks
	}
	cost, perMilli, ok := o.p.firm.Price(product, unit, o.sequence)
	if !ok {
		return 0, append(marks, MarkUnpriced)
	}
	return MaterialCostE4(milli, cost, perMilli), marks
}

// planned makes the facts of an estimate or a variation. What would distort the
// plan is marked, as it is for what happened.
func (o *occasion) planned(
	side Side, lines []events.EstimateLine, materials []events.EstimateMaterial, priceE4 int64,
) []Fact {
	facts := make([]Fact, 0, 3*len(lines)+2*len(materials)+1)
	for _, l := range lines {
		facts = o.plannedLine(facts, side, l)
	}
	for _, m := range materials {
		f := o.fact(side, KindMaterial)
		o.describe(&f, m.Task, "", "", "")
		cost, marks := o.materialCost(m.Product, m.Unit, m.QuantityMilli, m.CostE4)
		f.Product, f.Unit, f.QuantityMilli, f.CostE4 = m.Product, m.Unit, m.QuantityMilli, cost
		facts = o.withOverhead(facts, f)
		for _, mark := range marks {
			facts = append(facts, o.marked(side, mark))
		}
	}
	if priceE4 != 0 {
		f := o.fact(side, KindPrice)
		f.CostE4 = priceE4
		facts = append(facts, f)
	}
	return facts
}

// plannedLine adds the facts of one piece of planned work.
func (o *occasion) plannedLine(facts []Fact, side Side, l events.EstimateLine) []Fact {
	f := o.fact(side, KindLabour)
	o.describe(&f, l.Task, l.Surface, l.Method, l.Location)
	f.Grade, f.Minutes, f.CostE4 = l.Grade, l.Minutes, l.CostE4
	rate, priced := o.wage(l.Grade)
	if f.CostE4 == 0 {
		f.CostE4 = labourCostE4(l.Minutes, rate)
	}
	facts = o.withOverhead(facts, f)
	if l.Minutes > 0 && l.CostE4 == 0 && !priced {
		facts = append(facts, o.marked(side, MarkUnpriced))
	}
	_, usual := o.task(l.Task)
	if usual == "" {
		facts = append(facts, o.marked(side, MarkUnknownTask))
	}
	if l.QuantityMilli > 0 {
		q := o.fact(side, KindQuantity)
		o.describe(&q, l.Task, l.Surface, l.Method, l.Location)
		q.Unit, q.QuantityMilli = l.Unit, l.QuantityMilli
		facts = append(facts, q)
		if usual != "" && usual != l.Unit {
			facts = append(facts, o.marked(side, MarkUnitDiffers))
		}
	}
	return facts
}
