package reports

import (
	"cmp"
	"slices"

	"daysheet/events"
)

// The sums that the report on differences asks for, in the order of the question.
const (
	whyLabour     = iota // by job, task and side
	whyQuantities        // by job, task, unit and side
	whyMaterial          // by job, product, unit, task and side
	whyOther             // of damage, overhead and price, by job, kind and side
	whyMarks             // by mark
)

func askWhy(f Filter) Question {
	q := scope(f)
	return Question{
		Sums: []Query{
			grouped(only(q, KindLabour), ByJob, ByTask, BySide),
			grouped(only(q, KindQuantity), ByJob, ByTask, ByUnit, BySide),
			grouped(only(q, KindMaterial), ByJob, ByProduct, ByUnit, ByTask, BySide),
			grouped(only(q, KindDamage, KindOverhead, KindPrice), ByJob, ByKind, BySide),
			markQuery(f),
		},
		Jobs: scopeJobs(f),
	}
}

// lineDifference is one line: what was estimated, agreed and spent, and why what was
// spent differs from the budget.
type lineDifference struct {
	task, product string
	unit          events.Unit
	cost          sides
	split         Split
}

// why is the differences of several jobs, with each job split by itself before
// they are added up: a job with more and one with less must not cancel.
type why struct {
	labour   map[string]*lineDifference
	material map[productKey]*lineDifference
	damage   sides
	overhead sides
	price    sides // of jobs with a price; actual is what was billed, else the budget
	priced   bool
}

type productKey struct {
	product string
	unit    events.Unit
}

type jobTask struct{ job, task string }

func makeWhy(f Filter, a Answer) Report {
	r := Report{Name: "cost-differences", Title: phrase("Why the cost differs"), Filter: f, Names: a.Names}
	jobs := a.jobs()
	if f.Job != "" && len(jobs) > 0 {
		r.Title = phrase("%s: %s", r.Title, jobCell(jobs[0]).Text)
	}
	w := whyOf(a)
	parts := w.parts()
	r.Tables = []Table{partsTable(f, w, parts), labourTable(f, w, a.Names), materialTable(f, w, a.Names)}
	r.Figures = whyFigures(parts, w, a.Names)
	r.Notes = slices.Concat(scopeNotes(f, jobs), phrases(noteSplit, noteUnmeasured),
		unpricedNotes(a.answered(whyMarks)))
	return r
}

const (
	noteSplit = "Quantity is more or less work than was planned, at the planned cost of a unit. " +
		"Efficiency is more or less time or material for the work that was done. Price is dearer or cheaper hours " +
		"and material. The parts add up to the whole, to the last unit; work that was never planned is all quantity."
	noteUnmeasured = "Where a line was not measured, more work cannot be told from slower work: " +
		"the difference stands under efficiency. Above zero is more cost than planned."
)

// whyOf splits every line of every job and adds the parts up.
func whyOf(a Answer) why {
	w := why{labour: map[string]*lineDifference{}, material: map[productKey]*lineDifference{}}
	quantities := quantitiesOf(a.answered(whyQuantities))
	w.addLabour(a.answered(whyLabour), quantities)
	w.addMaterial(a.answered(whyMaterial), quantities)
	prices := map[string]*account{}
	for _, t := range a.answered(whyOther) {
		switch kind, side := Kind(t.By[1]), Side(t.By[2]); kind {
		case KindDamage:
			w.damage.add(side, t.CostE4)
		case KindOverhead:
			w.overhead.add(side, t.CostE4)
		case KindPrice:
			if prices[t.By[0]] == nil {
				prices[t.By[0]] = &account{}
			}
			prices[t.By[0]].add(side, kind, t)
		}
	}
	for _, p := range prices {
		w.priced = true
		w.price.estimate += p.price.estimate
		w.price.variation += p.price.variation
		now, _, _ := p.priceNow()
		w.price.actual += now
	}
	return w
}

// quantitiesOf adds quantities up by job and task. The sums come by job, task, unit
// and last side. A task that is planned or measured in more than one unit has none
// that could be compared.
func quantitiesOf(sums []Total) map[jobTask]sides {
	found := map[jobTask]sides{}
	for len(sums) > 0 {
		key, unit := jobTask{sums[0].By[0], sums[0].By[1]}, sums[0].By[2]
		of, others := leading(sums, key.job, key.task)
		if of[len(of)-1].By[2] == unit { // and so all between
			var s sides
			for _, t := range of {
				s.add(Side(t.By[len(t.By)-1]), t.QuantityMilli)
			}
			found[key] = s
		}
		sums = others
	}
	return found
}

func (w why) addLabour(sums []Total, quantities map[jobTask]sides) {
	for len(sums) > 0 {
		key := jobTask{sums[0].By[0], sums[0].By[1]}
		of, others := leading(sums, key.job, key.task)
		var minutes, cost sides
		for _, t := range of {
			side := Side(t.By[2])
			minutes.add(side, t.Minutes)
			cost.add(side, t.CostE4)
		}
		d := w.labour[key.task]
		if d == nil {
			d = &lineDifference{task: key.task}
			w.labour[key.task] = d
		}
		d.take(cost, quantities[key], minutes)
		sums = others
	}
}

// addMaterial compares the use of a product with the work it was planned for,
// where it was planned for one task alone.
func (w why) addMaterial(sums []Total, quantities map[jobTask]sides) {
	for len(sums) > 0 {
		job, key := sums[0].By[0], productKey{sums[0].By[1], events.Unit(sums[0].By[2])}
		var (
			used, cost sides
			planned    = jobTask{job: job}
			tasks      int // for which it was planned
		)
		of, others := leading(sums, job, key.product, string(key.unit))
		for _, t := range of {
			side := Side(t.By[4])
			used.add(side, t.QuantityMilli)
			cost.add(side, t.CostE4)
			if side != SideActual && (tasks == 0 || t.By[3] != planned.task) {
				planned.task = t.By[3]
				tasks++
			}
		}
		d := w.material[key]
		if d == nil {
			d = &lineDifference{product: key.product, unit: key.unit}
			w.material[key] = d
		}
		var quantity sides
		if tasks == 1 {
			quantity = quantities[planned]
		}
		d.take(cost, quantity, used)
		sums = others
	}
}

// take adds the line of one job.
func (d *lineDifference) take(cost, quantity, input sides) {
	d.cost = d.cost.plus(cost)
	s := SplitOf(Amounts{quantity.budget(), input.budget(), cost.budget()},
		Amounts{quantity.actual, input.actual, cost.actual})
	d.split = d.split.plus(s)
}

// part is one step from the estimated to the actual cost.
type part struct {
	name, meaning string
	e4            int64
	explain       *Query
}

// The keys of the steps that are more than a sum of one kind of facts.
const (
	partQuantity   = "Quantity"
	partEfficiency = "Efficiency"
	partPrice      = "Price of hours and material"
)

// parts returns the steps from estimated to actual cost, both excluded.
func (w why) parts() []part {
	var split Split
	for _, d := range w.labour {
		split = split.plus(d.split)
	}
	labour := split
	for _, d := range w.material {
		split = split.plus(d.split)
	}
	return []part{
		{partQuantity, "more or less work than planned", split.QuantityE4, nil},
		{partEfficiency + " of labour", "more or less time for the work done", labour.EfficiencyE4, nil},
		{partEfficiency + " of material", "more or less material for the work done",
			split.EfficiencyE4 - labour.EfficiencyE4, nil},
		{partPrice, "dearer or cheaper than planned", split.PriceE4, nil},
		{"Damage", "what the firm bears", w.damage.difference(), nil},
		{"Overhead", "more or less borne than planned", w.overhead.difference(), nil},
	}
}

// cost returns what was planned and spent on everything.
func (w why) cost() sides {
	all := w.damage.plus(w.overhead)
	for _, d := range w.labour {
		all = all.plus(d.cost)
	}
	for _, d := range w.material {
		all = all.plus(d.cost)
	}
	return all
}

func partsTable(f Filter, w why, parts []part) Table {
	t := Table{
		Name: "cost-differences", Title: "From estimate to actual cost",
		Columns: []Column{{"part", "Part", FormText}, {"cost_e4", "Cost", FormMoney},
			{"share_of_budget_basis_points", "Share of budget", FormShare}, {"meaning", "What it says", FormText}},
		Empty: "Nothing is planned or spent here yet. Issue an estimate, and book hours, quantities and material.",
	}
	cost := w.cost()
	if cost == (sides{}) {
		return t
	}
	q := only(scope(f), costs...)
	line := func(name string, of Cell, meaning string) {
		t.Rows = append(t.Rows, []Cell{wordCell(name), of, shareCell(of.Number, cost.budget()), wordCell(meaning)})
	}
	line("Estimated cost", sumCell(cost.estimate, on(q, SideEstimate)), "by the estimate in force")
	line("Variations agreed", sumCell(cost.variation, on(q, SideVariation)), "changes of scope that the customer ordered")
	for _, p := range parts {
		line(p.name, numberCell(p.e4), p.meaning)
	}
	t.Total = []Cell{wordCell("Actual cost"), sumCell(cost.actual, on(q, SideActual)),
		shareCell(cost.actual, cost.budget()), {}}
	return t
}

var splitColumns = []Column{
	{"budget_e4", "Budget", FormMoney}, {"quantity_e4", "Quantity", FormMoney},
	{"efficiency_e4", "Efficiency", FormMoney}, {"price_e4", "Price", FormMoney}, {"actual_e4", "Actual", FormMoney},
	{"difference_e4", "Difference", FormMoney}, {"variation_e4", "Variations in the budget", FormMoney},
	{"remark", "Remark", FormText},
}

// cells returns the cells of [splitColumns]; q lets through the facts of the line.
func (d lineDifference) cells(q Query) []Cell {
	remark := ""
	if d.split.Unmeasured {
		remark = "not measured on both sides"
	}
	return []Cell{
		sumCell(d.cost.budget(), on(q, planned...)), numberCell(d.split.QuantityE4),
		numberCell(d.split.EfficiencyE4), numberCell(d.split.PriceE4), sumCell(d.cost.actual, on(q, SideActual)),
		numberCell(d.cost.difference()), sumCell(d.cost.variation, on(q, SideVariation)), wordCell(remark),
	}
}

func labourTable(f Filter, w why, names Names) Table {
	t := Table{
		Name: "labour", Title: "Labour by task",
		Columns: columns(Column{"task", "Task", FormName}, splitColumns...),
		Empty:   "No hours are planned or booked.",
	}
	q := only(scope(f), KindLabour)
	var all lineDifference
	for _, task := range inJobOrder(w.labour) {
		d := w.labour[task]
		all.cost, all.split = all.cost.plus(d.cost), all.split.plus(d.split)
		t.Rows = append(t.Rows, row(nameCell(names.Tasks, task), d.cells(q.With(ByTask, task))...))
	}
	if len(t.Rows) > 0 {
		all.split.Unmeasured = false
		t.Total = row(wordCell("All labour"), all.cells(q)...)
	}
	return t
}

func materialTable(f Filter, w why, names Names) Table {
	t := Table{
		Name: "material", Title: "Material by product",
		Columns: slices.Concat([]Column{{"product", "Product", FormName}, {"unit", "Unit", FormText}}, splitColumns),
		Empty:   "No material is planned or used.",
	}
	q := only(scope(f), KindMaterial)
	keys := make([]productKey, 0, len(w.material))
	for key := range w.material {
		keys = append(keys, key)
	}
	slices.SortFunc(keys, func(a, b productKey) int {
		return cmp.Or(cmp.Compare(named(names.Products, a.product), named(names.Products, b.product)),
			cmp.Compare(a.product, b.product), cmp.Compare(a.unit, b.unit))
	})
	var all lineDifference
	for _, key := range keys {
		d := w.material[key]
		all.cost, all.split = all.cost.plus(d.cost), all.split.plus(d.split)
		of := q.With(ByProduct, key.product).With(ByUnit, string(key.unit))
		t.Rows = append(t.Rows, slices.Concat(
			[]Cell{nameCell(names.Products, key.product), textCell(string(key.unit))}, d.cells(of)))
	}
	if len(t.Rows) > 0 {
		all.split.Unmeasured = false
		t.Total = slices.Concat([]Cell{wordCell("All material"), {}}, all.cells(q))
	}
	return t
}

// whyFigures draws the way from the estimated to the actual margin; nil where
// there is no price to leave a margin of.
func whyFigures(parts []part, w why, names Names) []Figure {
	if !w.priced {
		return nil
	}
	cost := w.cost()
	f := Figure{
		Name: "margin-steps", Title: phrase("From estimated to actual margin"), Form: FormMoney, Shape: ShapeSteps,
		Series: []Series{{Name: "Margin"}},
	}
	step := func(name string, e4 int64, whole bool) {
		f.Categories = append(f.Categories, name)
		f.Series[0].Values = append(f.Series[0].Values, e4)
		f.Whole = append(f.Whole, whole)
	}
	estimated := w.price.estimate - cost.estimate
	step("Estimated margin", estimated, true)
	step("Variations agreed", w.price.variation-cost.variation, false)
	worst := part{}
	for _, p := range parts {
		step(p.name, -p.e4, false)
		if p.e4 > worst.e4 {
			worst = p
		}
	}
	step("Price billed", w.price.actual-w.price.budget(), false)
	actual := w.price.actual - cost.actual
	step("Actual margin", actual, true)
	say := sayMoney(names)
	f.Finding = phrase("Margin %s, estimated %s.", say(actual), say(estimated))
	if worst.e4 > 0 {
		f.Finding = joined(" ", f.Finding, phrase("Most was lost to %s: %s.", phrase(lowerFirst(worst.name)), say(worst.e4)))
	}
	return []Figure{f}
}
