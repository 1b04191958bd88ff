package reports

import (
	"cmp"
	"slices"

	"daysheet/events"
	"daysheet/reports/measure"
)

// The sums that job costing asks for beside those of progress, in the order of
// the question.
const (
	costingLabour   = iota + progressActual + 1 // by task, grade and side
	costingMaterial                             // by product, unit and side
	costingDamage                               // by cause
	costingSums                                 // by side and kind
	costingMarks                                // by mark
)

func askJobCosting(f Filter) Question {
	q := scope(f)
	return Question{
		Sums: append(progressQueries(f),
			grouped(only(q, KindLabour), ByTask, ByGrade, BySide),
			grouped(only(q, KindMaterial), ByProduct, ByUnit, BySide),
			grouped(only(q, KindDamage), ByMethod),
			grouped(only(q, append(slices.Clone(costs), KindPrice)...), BySide, ByKind),
			markQuery(f),
		),
		Jobs: scopeJobs(f),
	}
}

func makeJobCosting(f Filter, a Answer) Report {
	r := Report{Name: "job-costing", Title: phrase("Job costing"), Filter: f, Names: a.Names}
	jobs := a.jobs()
	if len(jobs) == 0 || len(a.Sums) <= costingMarks {
		r.Tables = []Table{resultTable(), taxedTable(), progressTable(), gradesTable(), consumablesTable(), damageTable()}
		r.Notes = phrases(noteNoJob)
		return r
	}
	job := jobs[0]
	r.Title = phrase("%s: %s", r.Title, jobCell(job).Text)
	var all account
	for _, t := range a.answered(costingSums) {
		all.add(Side(t.By[0]), Kind(t.By[1]), t)
	}
	p := progressOf(a.Sums, job)
	v := p.at(maxDay, scheduleOf(job))
	r.Tables = []Table{
		fillResult(f, all, v, job), fillTaxed(f, all, a.Names), fillProgress(all, v, job),
		fillGrades(f, a.answered(costingLabour), a.Names),
		fillProducts(f, uses(a.answered(costingMaterial)), a.Names), fillDamage(f, a.answered(costingDamage)),
	}
	r.Figures = costingFigures(all, v, job, a.Names)
	r.Notes = slices.Concat(scopeNotes(f, jobs), phrases(noteDifference), marginNotes(a.Names), phrases(notePrice,
		"Mark-up is the margin as a share of the cost: a margin of a quarter is a mark-up of a third.",
		"The forecast is the cost at completion: until a fifth of the budget is earned the rest is taken as planned, and "+
			"then as it went so far. For a finished job it is the actual cost."),
		unpricedNotes(a.answered(costingMarks)))
	return r
}

// forecastOf returns what the job is expected to cost in the end, and how that was
// reckoned.
func forecastOf(v EarnedValue, job JobRow) (e4 int64, how string) {
	if job.State.Finished() {
		return v.AC, "finished"
	}
	return v.Forecast()
}

func resultTable() Table {
	return Table{
		Name: "result", Title: "Cost, price and margin",
		Columns: []Column{
			{"side", "Side", FormText}, {"labour_e4", "Labour", FormMoney}, {"material_e4", "Material", FormMoney},
			{"damage_e4", "Damage", FormMoney}, {"direct_e4", "Direct cost", FormMoney},
			{"overhead_e4", "Overhead", FormMoney}, {"cost_e4", "Cost", FormMoney}, {"price_e4", "Price", FormMoney},
			{"margin_e4", "Margin", FormMoney}, {"margin_basis_points", "Margin as a share of price", FormShare},
			{"mark_up_basis_points", "Mark-up on cost", FormShare}, {"remark", "Remark", FormText},
		},
		Empty: "There is no cost to show before a job has an estimate, hours or material.",
	}
}

// fillResult sets the estimate, the budget, what happened and the forecast under
// each other.
func fillResult(f Filter, a account, v EarnedValue, job JobRow) Table {
	t := resultTable()
	q := scope(f)
	line := func(name string, pick func(sides) int64, of []Side, price int64, from string, ok bool, priceOf []Side) {
		cells := []Cell{wordCell(name)}
		for _, part := range []struct {
			amount sides
			kinds  []Kind
		}{
			{a.labour, []Kind{KindLabour}}, {a.material, []Kind{KindMaterial}}, {a.damage, []Kind{KindDamage}},
			{a.direct(), []Kind{KindLabour, KindMaterial, KindDamage}}, {a.overhead, []Kind{KindOverhead}},
			{a.cost(), costs},
		} {
			cells = append(cells, sumCell(pick(part.amount), on(only(q, part.kinds...), of...)))
		}
		priced := priceCells(price, pick(a.cost()), from, ok, on(only(q, KindPrice), priceOf...))
		t.Rows = append(t.Rows, append(cells, priced...))
	}
	estimate := []Side{SideEstimate}
	line("Estimate", func(s sides) int64 { return s.estimate }, estimate, a.price.estimate, "estimate", a.offered,
		estimate)
	line("Budget", sides.budget, planned, a.price.budget(), "with variations", a.offered, planned)
	actual := "Actual"
	if !job.State.Finished() {
		actual = "Actual so far"
	}
	price, from, ok := a.priceNow()
	line(actual, func(s sides) int64 { return s.actual }, []Side{SideActual}, price, from, ok, a.priceSides())
	if !job.State.Finished() { // a margin on half of the cost would look like a good one
		last, blank := t.Rows[len(t.Rows)-1], Cell{Blank: true}
		copy(last[len(last)-4:], []Cell{blank, blank, blank, wordCell("see the forecast for the margin")})
	}
	forecast, how := forecastOf(v, job)
	blank := Cell{Blank: true}
	t.Rows = append(t.Rows, append([]Cell{wordCell("Forecast"), blank, blank, blank, blank, blank, numberCell(forecast)},
		priceCells(price, forecast, how, ok, on(only(q, KindPrice), a.priceSides()...))...))
	return t
}

// priceCells returns price, margin, its share, mark-up and remark.
func priceCells(price, cost int64, remark string, ok bool, priceOf Query) []Cell {
	if !ok {
		blank := Cell{Blank: true}
		return []Cell{blank, blank, blank, blank, wordCell(priceNone)}
	}
	return []Cell{sumCell(price, priceOf), numberCell(price - cost), shareCell(price-cost, price),
		shareCell(price-cost, cost), wordCell(remark)}
}

func taxedTable() Table {
	return Table{
		Name: "price", Title: "Price with tax",
		Columns: []Column{
			{"price_from", "Price", FormText}, {"net_e4", "Net", FormMoney}, {"tax_basis_points", "Value added tax", FormShare},
			{"tax_e4", "Tax", FormMoney}, {"gross_e4", "To pay", FormMoney},
		},
		Empty: "This job has no price yet.",
	}
}

// fillTaxed shows what the customer pays. Tax is not rounded here: what is shown
// in whole hundredths is rounded where it is shown.
func fillTaxed(f Filter, a account, names Names) Table {
	t := taxedTable()
	net, from, ok := a.priceNow()
	if !ok || names.Settings == nil {
		return t
	}
	rate := names.Settings.VATBasisPoints
	tax := measure.VATOn(net, rate, 1)
	t.Rows = [][]Cell{{wordCell(from), sumCell(net, on(only(scope(f), KindPrice), a.priceSides()...)),
		numberCell(rate), numberCell(tax), numberCell(net + tax)}}
	return t
}

func progressTable() Table {
	return Table{
		Name: "progress", Title: "Work in progress",
		Columns: []Column{
			{"done_basis_points", "Share done", FormShare}, {"earned_cost_e4", "Budget earned", FormMoney},
			{"cost_e4", "Cost so far", FormMoney}, {"earned_price_e4", "Price earned", FormMoney},
			{"billed_e4", "Billed", FormMoney}, {"unbilled_e4", "Earned, not billed", FormMoney},
			{"to_complete_e4", "Cost to complete", FormMoney},
		},
		Empty: "Nothing is planned yet, so that nothing is in progress.",
	}
}

// fillProgress shows what of the price is earned by the work done and not billed
// yet: the work in progress at its value.
func fillProgress(a account, v EarnedValue, job JobRow) Table {
	t := progressTable()
	if v.BAC == 0 {
		return t
	}
	forecast, _ := forecastOf(v, job)
	price, _, ok := a.priceNow()
	earned := ratio(price, v.EV, v.BAC)
	t.Rows = [][]Cell{{
		shareCell(v.EV, v.BAC), numberCell(v.EV), numberCell(v.AC), moneyCell(earned, ok), numberCell(a.price.actual),
		moneyCell(earned-a.price.actual, ok), numberCell(forecast - v.AC),
	}}
	return t
}

func gradesTable() Table {
	return Table{
		Name: "labour", Title: "Labour by task and grade",
		Columns: []Column{
			{"task", "Task", FormName}, {"grade", "Grade", FormText}, {"budget_minutes", "Budget hours", FormMinutes},
			{"actual_minutes", "Actual hours", FormMinutes}, {"difference_minutes", "Difference", FormMinutes},
			{"budget_e4", "Budget cost", FormMoney}, {"actual_e4", "Actual cost", FormMoney},
			{"difference_e4", "Difference in cost", FormMoney},
			{"difference_basis_points", "Difference as a share of budget", FormShare},
		},
		Empty: "No hours are planned or booked.",
	}
}

func fillGrades(f Filter, sums []Total, names Names) Table {
	t := gradesTable()
	type key struct{ task, grade string }
	minutes, cost := map[key]sides{}, map[key]sides{}
	var allMinutes, allCost sides
	for _, s := range sums {
		k, side := key{s.By[0], s.By[1]}, Side(s.By[2])
		m, c := minutes[k], cost[k]
		m.add(side, s.Minutes)
		c.add(side, s.CostE4)
		minutes[k], cost[k] = m, c
		allMinutes.add(side, s.Minutes)
		allCost.add(side, s.CostE4)
	}
	keys := make([]key, 0, len(minutes))
	for k := range minutes {
		keys = append(keys, k)
	}
	before := jobOrder()
	slices.SortFunc(keys, func(a, b key) int { return cmp.Or(before(a.task, b.task), cmp.Compare(a.grade, b.grade)) })
	q := only(scope(f), KindLabour)
	for _, k := range keys {
		of := q.With(ByTask, k.task).With(ByGrade, k.grade)
		t.Rows = append(t.Rows, slices.Concat([]Cell{nameCell(names.Tasks, k.task), textCell(k.grade)},
			budgetCells(minutes[k], of)[:3], budgetCells(cost[k], of)))
	}
	if len(t.Rows) > 0 {
		t.Total = slices.Concat([]Cell{wordCell("All labour"), {}}, budgetCells(allMinutes, q)[:3], budgetCells(allCost, q))
	}
	return t
}

// fillProducts is the table of consumables for one job.
func fillProducts(f Filter, all []productUse, names Names) Table {
	t := consumablesTable()
	t.Name, t.Title = "material", "Material by product"
	for _, u := range all {
		t.Rows = append(t.Rows, productRow(scope(f), u, names))
	}
	return t
}

func damageTable() Table {
	return Table{
		Name: "damage", Title: "Damage",
		Columns: []Column{{"cause", "Cause", FormText}, {"found_quantity_milli", "Found", FormQuantity},
			{"cost_e4", "Cost beside hours and material", FormMoney}},
		Empty: "No damage was found.",
	}
}

func fillDamage(f Filter, sums []Total) Table {
	t := damageTable()
	for _, s := range sums {
		q := only(scope(f), KindDamage).With(ByMethod, s.By[0])
		found := sumCell(s.QuantityMilli, q)
		found.Unit = events.Each
		t.Rows = append(t.Rows, []Cell{wordCell(s.By[0]), found, sumCell(s.CostE4, q)})
	}
	return t
}

func costingFigures(a account, v EarnedValue, job JobRow, names Names) []Figure {
	forecast, how := forecastOf(v, job)
	say := sayMoney(names)
	finding := phrase("Cost: %s.", reached(a.cost(), !job.State.Finished(), say))
	if !job.State.Finished() && v.BAC != 0 {
		finding = joined(" ", finding, phrase("Forecast: %s (%s).", say(forecast), phrase(how)))
	}
	return againstBudget("cost-parts", "Budget and actual cost", FormMoney, finding,
		[]bar{{"Labour", a.labour}, {"Material", a.material}, {"Damage", a.damage}, {"Overhead", a.overhead},
			{"Cost", a.cost()}})
}
