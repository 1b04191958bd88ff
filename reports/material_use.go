package reports

import (
	"cmp"
	"slices"

	"daysheet/events"
)

// The sums that the use of material asks for, in the order of the question.
const (
	useMaterial = iota // by product, unit, task, job and side
	useWork            // quantities by job, task, unit, product and side
	useBought          // purchases by product and unit, of all time
	useMarks           // by mark
)

func askMaterialUse(f Filter) Question {
	q := scope(f)
	return Question{
		Sums: []Query{
			grouped(only(q, KindMaterial), ByProduct, ByUnit, ByTask, ByJob, BySide),
			grouped(only(q, KindQuantity), ByJob, ByTask, ByUnit, ByProduct, BySide),
			grouped(only(Query{Firm: f.Firm, AsOf: f.AsOf}, KindPurchase), ByProduct, ByUnit),
			markQuery(f),
		},
		Jobs: namedJob(f),
	}
}

// usedFor is the use of one product for one task.
type usedFor struct {
	product  productKey
	task     string
	used     int64 // thousandths of the product's unit
	costE4   int64
	done     int64 // thousandths of the task's unit that were done with the product
	unit     events.Unit
	measured bool  // on some job the work was planned and measured, so that use and plan can be compared
	compared int64 // used on those jobs
	allowed  int64 // planned on those jobs for the work that was done
}

func makeMaterialUse(f Filter, a Answer) Report {
	jobs := a.jobs()
	r := Report{Name: "material-use", Title: phrase("Use of material"), Filter: f, Names: a.Names}
	if f.Job != "" && len(jobs) > 0 {
		r.Title = phrase("%s: %s", r.Title, jobCell(jobs[0]).Text)
	}
	all := usesFor(a)
	r.Tables = []Table{useTable(f, all, a.Names), reuseTable(f, a)}
	r.Figures = useFigures(all, a.Names)
	r.Notes = slices.Concat(scopeNotes(f, jobs), phrases(
		"Use for one unit is the product used for the work that was done with it. Planned for the work done is what each "+
			"job's estimate plans, in proportion to the work that was done of the task. Above plan is waste, a thirsty "+
			"surface, another product in its place, or a plan that was too low. Jobs on which the work was not planned or "+
			"not measured are left out of both.",
		"Sheets and boards that are laid again consume nothing when they are laid. What one laying costs is what was "+
			"paid for the product, divided by how often it was laid so far: it falls with every use.",
	), unpricedNotes(a.answered(useMarks)))
	return r
}

// usesFor joins material and work by product and task, in the order in which a job
// meets the tasks. Each job is compared by itself: one that planned much and did
// little must not lend its plan to another.
func usesFor(a Answer) []*usedFor {
	work, done := quantitiesOf(a.answered(useWork)), doneWith(a.answered(useWork))
	var all []*usedFor
	for sums := a.answered(useMaterial); len(sums) > 0; {
		key, task, job := productKey{sums[0].By[0], events.Unit(sums[0].By[1])}, sums[0].By[2], sums[0].By[3]
		var u *usedFor
		if len(all) > 0 {
			u = all[len(all)-1]
		}
		if u == nil || u.product != key || u.task != task {
			d := done[workWith{task, key.product}]
			u = &usedFor{product: key, task: task, done: d.milli, unit: d.unit}
			all = append(all, u)
		}
		var material sides // of the job
		of, others := leading(sums, key.product, string(key.unit), task, job)
		for _, t := range of {
			side := Side(t.By[4])
			material.add(side, t.QuantityMilli)
			if side == SideActual {
				u.used += t.QuantityMilli
				u.costE4 += t.CostE4
			}
		}
		u.compare(material, work[jobTask{job, task}])
		sums = others
	}
	// What was used for a whole job has no work to divide it by.
	all = slices.DeleteFunc(all, func(u *usedFor) bool { return u.task == "" })
	before := jobOrder()
	slices.SortFunc(all, func(x, y *usedFor) int {
		return cmp.Or(before(x.task, y.task), cmp.Compare(named(a.Names.Products, x.product.product),
			named(a.Names.Products, y.product.product)), cmp.Compare(x.product.product, y.product.product),
			cmp.Compare(x.product.unit, y.product.unit))
	})
	return all
}

// compare adds one job's use, where its work was planned and measured.
func (u *usedFor) compare(material, work sides) {
	if work.budget() <= 0 || work.actual <= 0 {
		return
	}
	u.measured = true
	u.compared += material.actual
	u.allowed += ratio(material.budget(), work.actual, work.budget())
}

// workWith is the work of a task that was done with a product.
type workWith struct{ task, product string }

// doneIn is a quantity in a unit.
type doneIn struct {
	milli int64 // thousandths
	unit  events.Unit
}

// doneWith adds up what was done of each task with each product. Where it was
// measured in several units, the first of them counts.
func doneWith(sums []Total) map[workWith]doneIn {
	done := map[workWith]doneIn{}
	for _, t := range sums {
		if Side(t.By[4]) != SideActual {
			continue
		}
		key, unit := workWith{t.By[1], t.By[3]}, events.Unit(t.By[2])
		d, known := done[key]
		switch {
		case !known || unit < d.unit:
			done[key] = doneIn{t.QuantityMilli, unit}
		case unit == d.unit:
			done[key] = doneIn{d.milli + t.QuantityMilli, unit}
		}
	}
	return done
}

// perUnit returns thousandths of the product for one unit of work.
func perUnit(material, work int64) (milli int64, ok bool) {
	if work <= 0 || material == 0 {
		return 0, false
	}
	return ratio(material, 1000, work), true
}

// abovePlan returns what was used beyond the plan for the work that was done.
func (u *usedFor) abovePlan() int64 { return u.compared - u.allowed }

func useTable(f Filter, all []*usedFor, names Names) Table {
	t := Table{
		Name: "use", Title: "Use for the work done",
		Columns: []Column{
			{"task", "Task", FormName}, {"product", "Product", FormName}, {"unit", "Unit", FormText},
			{"done_milli", "Work done with it", FormQuantity}, {"used_milli", "Used", FormQuantity},
			{"used_for_one_milli", "Used per unit", FormQuantity},
			{"planned_milli", "Planned for the work done", FormQuantity},
			{"above_plan_milli", "Above plan", FormQuantity}, {"above_plan_basis_points", "Share of use", FormShare},
			{"used_e4", "Cost", FormMoney},
		},
		Empty: "No material was used for a task. Record paint with its coat and covering with its protection, " +
			"and name the task of other material.",
	}
	q := scope(f)
	for _, u := range all {
		if u.used == 0 && u.allowed == 0 {
			continue
		}
		amount := func(n int64, ok bool, unit events.Unit) Cell { return Cell{Number: n, Blank: !ok, Unit: unit} }
		work := amount(0, false, u.unit)
		if u.done != 0 {
			work = sumCell(u.done, on(only(q, KindQuantity), SideActual).With(ByTask, u.task).
				With(ByProduct, u.product.product).With(ByUnit, string(u.unit)))
			work.Unit = u.unit
		}
		of := on(only(q, KindMaterial), SideActual).With(ByTask, u.task).With(ByProduct, u.product.product).
			With(ByUnit, string(u.product.unit))
		used := sumCell(u.used, of)
		used.Unit = u.product.unit
		one, divides := perUnit(u.used, u.done)
		share := Cell{Blank: true}
		if u.measured && u.compared > 0 {
			share = shareCell(u.abovePlan(), u.compared)
		}
		t.Rows = append(t.Rows, []Cell{
			nameCell(names.Tasks, u.task), nameCell(names.Products, u.product.product), textCell(string(u.product.unit)),
			work, used, amount(one, divides, u.product.unit), amount(u.allowed, u.measured, u.product.unit),
			amount(u.abovePlan(), u.measured, u.product.unit), share, sumCell(u.costE4, of),
		})
	}
	return t
}

// reuseTable shows what sheets and boards cost for each time they are laid.
func reuseTable(f Filter, a Answer) Table {
	t := Table{
		Name: "reuse", Title: "Sheets and boards that are laid again",
		Columns: []Column{
			{"product", "Product", FormName}, {"unit", "Unit", FormText}, {"bought_milli", "Bought", FormQuantity},
			{"cost_e4", "Paid", FormMoney}, {"layings_count", "Times laid", FormCount}, {"laid_milli", "Laid", FormQuantity},
			{"turns_index_milli", "Turns of the stock", FormIndex}, {"one_laying_e4", "Cost of one laying", FormMoney},
			{"one_unit_e4", "Cost of one unit laid", FormMoney},
		},
		Empty: "No product that is laid again was laid here. List sheets and boards as reusable, and name them when they " +
			"are laid.",
	}
	type laid struct{ times, milli int64 }
	layings := map[productKey]laid{}
	for _, s := range a.answered(useWork) {
		if Side(s.By[4]) == SideActual && a.Names.Listed[s.By[3]].Reusable {
			key := productKey{s.By[3], events.Unit(s.By[2])}
			l := layings[key]
			layings[key] = laid{l.times + s.Facts, l.milli + s.QuantityMilli}
		}
	}
	keys := make([]productKey, 0, len(layings))
	for key := range layings {
		keys = append(keys, key)
	}
	slices.SortFunc(keys, func(x, y productKey) int {
		return cmp.Or(cmp.Compare(x.product, y.product), cmp.Compare(x.unit, y.unit))
	})
	bought := map[string]Total{}
	for _, s := range a.answered(useBought) {
		bought[s.By[0]+" "+s.By[1]] = s
	}
	purchases := only(Query{Firm: f.Firm, AsOf: f.AsOf}, KindPurchase)
	for _, key := range keys {
		l := layings[key]
		product := a.Names.Listed[key.product]
		b, known := bought[key.product+" "+string(product.Unit)]
		paid, stock := Cell{Blank: true}, Cell{Blank: true, Unit: product.Unit}
		if known {
			q := purchases.With(ByProduct, key.product).With(ByUnit, string(product.Unit))
			paid, stock = sumCell(b.CostE4, q), sumCell(b.QuantityMilli, q)
			stock.Unit = product.Unit
		}
		times := sumCell(l.times, on(only(scope(f), KindQuantity), SideActual).With(ByProduct, key.product).
			With(ByUnit, string(key.unit)))
		turns := Cell{Blank: true}
		if n, ok := index(l.milli, b.QuantityMilli); ok && product.Unit == key.unit {
			turns = numberCell(n)
		}
		t.Rows = append(t.Rows, []Cell{
			nameCell(a.Names.Products, key.product), textCell(string(key.unit)), stock, paid, times,
			{Number: l.milli, Unit: key.unit}, turns, moneyCell(ratio(b.CostE4, 1, l.times), known && l.times > 0),
			moneyCell(ratio(b.CostE4, 1000, l.milli), known && l.milli > 0),
		})
	}
	return t
}

func useFigures(all []*usedFor, names Names) []Figure {
	var bars []bar
	inWords := map[string]Phrase{}
	for _, u := range all {
		if !u.measured || u.compared <= 0 {
			continue
		}
		actualE4 := ratio(u.costE4, u.compared, u.used)
		product, task := named(names.Products, u.product.product), named(names.Tasks, u.task)
		name := product + ": " + task
		inWords[name] = phrase("%s for %s", product, inside(task))
		bars = append(bars, bar{name,
			sides{estimate: ratio(u.costE4, u.allowed, u.used), actual: actualE4}})
	}
	say := sayMoney(names)
	var whole sides
	for _, b := range bars {
		whole = whole.plus(b.sides)
	}
	figures := againstBudget("use-against-plan", "Cost of material against the plan for the work done", FormMoney,
		joined(" ", phrase("Material with a plan: %s.", compared(whole, say)), mostOverNamed(bars, say,
			func(name string) Phrase { return inWords[name] })), bars)
	return figures
}
