package reports

import (
	"cmp"
	"maps"
	"math"
	"slices"

	"daysheet/events"
	"daysheet/reports/rates"
)

// rateMaterial is the third sum of what the report on rates asks for: material by job,
// task, surface, method, product and unit.
const rateMaterial = rateQuantities + 1

func askRatesOfAll(f Filter) Question {
	q := askRates(f)
	q.Sums = append(q.Sums, grouped(on(only(scope(f), KindMaterial), SideActual), ByJob, ByTask, BySurface, ByMethod,
		ByProduct, ByUnit))
	return q
}

// useOf is a product for the work of a cell of the rate book.
type useOf struct {
	cell
	product string
}

// useRate is what one unit of work takes of a product, in thousandths of the product's
// unit, by the firm's own jobs.
type useRate struct {
	shownRate    // where it is used: the typical use
	product      string
	unit, of     events.Unit // of the product, and of the task
	averageMilli int64       // over all jobs, those that used none included: what a book needs
	chance       int64       // that a job uses it, in hundredths of a per cent
	bookMilli    int64       // of the book, by the work that was done; 0 where it has none
}

// useRates learns what the firm's jobs took of each product for one unit of work. A job
// that used nothing of what the book lists for its work counts as such; of a product that
// the book does not list, the jobs that used it count.
func useRates(f Filter, a Answer, l learned) ([]useRate, error) {
	uses, book := usesOfJobs(a, l)
	if len(uses) == 0 {
		return nil, nil
	}
	asOf, err := rates.DayNumber(asOfDay(f, l.lines))
	if err != nil {
		return nil, err
	}
	fit, err := rates.FitUse(uses, asOf, rates.Options{})
	if err != nil {
		return nil, err
	}
	jobs := map[useOf]int64{}
	for _, u := range uses {
		if u.UsedMilli > 0 {
			jobs[useOf{cell{u.Task, u.Surface, u.Method}, u.Product}]++
		}
	}
	var all []useRate
	for of, n := range jobs {
		r := useRate{product: of.product, unit: a.Names.Listed[of.product].Unit, of: a.Names.UnitOf(of.task),
			bookMilli: book[of]}
		q := rates.Query{Task: of.task, Surface: of.surface, Method: of.method, QuantityMilli: 1000,
			BookMinutesMilli: r.bookMilli}
		p, err := fit.Predict(of.product, q)
		if err != nil {
			return nil, err
		}
		why, err := fit.Explain(of.product, q)
		if err != nil {
			return nil, err
		}
		r.shownRate = shownRate{of.cell, why, n}
		r.averageMilli, r.chance = rates.UseMilli(p.Expected), int64(math.Round(10_000*(1-p.None)))
		all = append(all, r)
	}
	before := jobOrder()
	slices.SortFunc(all, func(x, y useRate) int {
		return cmp.Or(before(x.task, y.task), compareCells(x.cell, y.cell), cmp.Compare(named(a.Names.Products, x.product),
			named(a.Names.Products, y.product)), cmp.Compare(x.product, y.product))
	})
	return all, nil
}

// jobWork is the measured work of one job in one cell.
type jobWork struct {
	job *JobRow
	cell
	milli int64            // thousandths of the task's unit
	book  map[string]int64 // by product: what the book gives the work, in thousandths of the product's unit
	taken map[string]int64 // by product: what was used, in the same
}

// usesOfJobs returns what each job used of each product for its work, and what the book
// gives one unit of it over all work that was done. A product counts in its own unit
// alone.
func usesOfJobs(a Answer, l learned) (uses []rates.Use, book map[useOf]int64) {
	works := worksOf(l, a.Names)
	for sums := a.answered(rateMaterial); len(sums) > 0; {
		of, others := leading(sums, sums[0].By[0], sums[0].By[1])
		if w := works[jobTask{of[0].By[0], of[0].By[1]}]; w != nil {
			w.take(of, a.Names)
		}
		sums = others
	}
	done, given := map[cell]int64{}, map[useOf]int64{}
	for _, line := range l.lines {
		key := jobTask{line.job.Job, line.task}
		if works[key] == nil {
			continue
		}
		for _, w := range *works[key] {
			done[w.cell] += w.milli
			for product, milli := range w.book {
				given[useOf{w.cell, product}] += milli
			}
			uses = w.appendTo(uses)
		}
		delete(works, key)
	}
	book = map[useOf]int64{}
	for of, milli := range given {
		book[of] = ratio(milli, 1000, done[of.cell])
	}
	return uses, book
}

// jobWorks is the measured work of one job on one task, by its cells.
type jobWorks []jobWork

// worksOf returns the measured work of each job on each task.
func worksOf(l learned, names Names) map[jobTask]*jobWorks {
	works := map[jobTask]*jobWorks{}
	for _, line := range l.lines {
		if line.milli <= 0 {
			continue
		}
		key := jobTask{line.job.Job, line.task}
		if works[key] == nil {
			works[key] = &jobWorks{}
		}
		w := jobWork{job: line.job, cell: line.cell, milli: line.milli, book: map[string]int64{}, taken: map[string]int64{}}
		if rate := rateIn(l.book, line.cell); rate != nil {
			for _, use := range rate.Consumables {
				if names.Listed[use.Product].Unit == use.Unit {
					w.book[use.Product] += ratio(line.milli, use.QuantityMilli, 1000)
				}
			}
		}
		*works[key] = append(*works[key], w)
	}
	return works
}

// take adds what was used for the task. Where that names other surfaces or methods than the
// work, the two cannot be told apart below the task, and the task is one.
func (w *jobWorks) take(sums []Total, names Names) {
	of := func(s Total) int {
		if len(*w) == 1 {
			return 0
		}
		return slices.IndexFunc(*w, func(j jobWork) bool { return j.cell == cell{s.By[1], s.By[2], s.By[3]} })
	}
	if slices.ContainsFunc(sums, func(s Total) bool { return of(s) < 0 }) {
		w.together()
	}
	for _, s := range sums {
		if product := s.By[4]; events.Unit(s.By[5]) == names.Listed[product].Unit {
			(*w)[of(s)].taken[product] += s.QuantityMilli
		}
	}
}

// together makes one of the cells.
func (w *jobWorks) together() {
	all := (*w)[0]
	all.cell = cell{task: all.task}
	for _, j := range (*w)[1:] {
		all.milli += j.milli
		for product, milli := range j.book {
			all.book[product] += milli
		}
	}
	*w = jobWorks{all}
}

// appendTo adds what the job used: of each product that it took or should have taken.
func (w jobWork) appendTo(uses []rates.Use) []rates.Use {
	day, quoted, err := daysOf(w.job)
	if err != nil {
		return uses // no day: the job runs, and does not come here
	}
	products := slices.Collect(maps.Keys(w.book))
	for product, milli := range w.taken {
		if _, listed := w.book[product]; !listed && milli > 0 {
			products = append(products, product)
		}
	}
	slices.Sort(products)
	for _, product := range products {
		uses = append(uses, rates.Use{
			Line: rates.Line{Job: w.job.Job, Task: w.task, Surface: w.surface, Method: w.method, Day: day, QuotedDay: quoted,
				QuantityMilli: w.milli},
			Product: product, UsedMilli: max(w.taken[product], 0), BookMilli: ratio(w.book[product], 1000, w.milli),
		})
	}
	return uses
}

func useRatesTable(all []useRate, names Names) Table {
	t := Table{
		Name: "use-rates", Title: "Consumables for one unit of work",
		Columns: []Column{
			{"task", "Task", FormName}, {"surface", "Surface", FormText}, {"method", "Method", FormText},
			{"product", "Product", FormName}, {"unit", "Unit", FormText}, {"for_milli", "For", FormQuantity},
			{"average_use_milli", "On average", FormQuantity}, {"book_use_milli", "Book", FormQuantity},
			{"difference_basis_points", "Against the book", FormShare}, {"jobs_count", "Jobs that used it", FormCount},
			{"chance_of_use_basis_points", "Chance of use", FormShare}, {"typical_use_milli", "Where it is used", FormQuantity},
			{"low_use_milli", "From", FormQuantity}, {"high_use_milli", "To", FormQuantity},
			{"credibility_basis_points", "Credibility", FormShare}, {"sentence", "Why", FormText},
		},
		Empty: "No finished job has material and a quantity for the same task. Record paint with its coat, covering with " +
			"its protection, and name the task of other material.",
	}
	for _, r := range all {
		t.Rows = append(t.Rows, r.cells(names))
	}
	return t
}

func (r useRate) cells(names Names) []Cell {
	amount := func(milli int64) Cell { return Cell{Number: milli, Unit: r.unit} }
	book, difference, why := Cell{Blank: true}, Cell{Blank: true}, Cell{Blank: true}
	if r.bookMilli > 0 {
		book, difference = amount(r.bookMilli), shareCell(r.averageMilli-r.bookMilli, r.bookMilli)
		why = phraseCell(r.sentence())
	}
	return []Cell{
		nameCell(names.Tasks, r.task), textCell(r.surface), textCell(r.method), nameCell(names.Products, r.product),
		textCell(string(r.unit)), {Number: 1000, Unit: r.of},
		amount(r.averageMilli), book, difference, numberCell(r.jobs), numberCell(r.chance),
		amount(r.why.Recommended), amount(r.why.Low), amount(r.why.High), numberCell(r.z()), why,
	}
}
