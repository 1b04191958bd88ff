package reports

import (
	"cmp"
	"maps"
	"slices"

	"daysheet/events"
	"daysheet/reports/rates"
)

// The sums that rates are learned from, in the order of the question. They are of
// finished jobs alone: a line that still runs says too little.
const (
	rateMinutes    = iota // labour by job, task, surface, method and person
	rateQuantities        // by job, task, unit, surface and method
)

// rateQueries asks for what rates are learned from.
func rateQueries(f Filter) []Query {
	q := on(scope(f), SideActual)
	return []Query{
		grouped(only(q, KindLabour), ByJob, ByTask, BySurface, ByMethod, ByPerson),
		grouped(only(q, KindQuantity), ByJob, ByTask, ByUnit, BySurface, ByMethod),
	}
}

// cell names a rate: a task, and the surface and method where it depends on them.
type cell struct{ task, surface, method string }

// ofCell is what one job did in one cell.
type ofCell struct {
	minutes, milli int64
	byPerson       map[string]int64
}

// jobLine is the work of one job in one cell of the rate book, with what the cell
// is called.
type jobLine struct {
	job JobRow
	cell
	ofCell
}

// rateLines joins hours and quantities of each job and task. Where the two name
// other surfaces or methods, they cannot be told apart below the task, and the
// task is one line. Work in another unit than the task's own is left out.
func rateLines(a Answer) []jobLine {
	byKey := map[string]JobRow{}
	for _, j := range a.jobs() {
		byKey[j.Job] = j
	}
	work := map[jobTask]map[cell]*ofCell{}
	of := func(job, task, surface, method string) *ofCell {
		key, c := jobTask{job, task}, cell{task, surface, method}
		if work[key] == nil {
			work[key] = map[cell]*ofCell{}
		}
		if work[key][c] == nil {
			work[key][c] = &ofCell{byPerson: map[string]int64{}}
		}
		return work[key][c]
	}
	for _, t := range a.answered(rateMinutes) {
		c := of(t.By[0], t.By[1], t.By[2], t.By[3])
		c.minutes += t.Minutes
		c.byPerson[t.By[4]] += t.Minutes
	}
	for _, t := range a.answered(rateQuantities) {
		if events.Unit(t.By[2]) == a.Names.UnitOf(t.By[1]) {
			of(t.By[0], t.By[1], t.By[3], t.By[4]).milli += t.QuantityMilli
		}
	}
	var lines []jobLine
	for key, cells := range work {
		job, known := byKey[key.job]
		if !known {
			continue
		}
		for c, w := range together(key.task, cells) {
			lines = append(lines, jobLine{job, c, *w})
		}
	}
	slices.SortFunc(lines, func(x, y jobLine) int {
		return cmp.Or(cmp.Compare(x.job.Finished, y.job.Finished), cmp.Compare(x.job.Job, y.job.Job),
			compareCells(x.cell, y.cell))
	})
	return lines
}

func compareCells(a, b cell) int {
	return cmp.Or(cmp.Compare(a.task, b.task), cmp.Compare(a.surface, b.surface), cmp.Compare(a.method, b.method))
}

// together returns the cells as they are where each has hours and a quantity or
// neither, and all of them as one otherwise.
func together(task string, cells map[cell]*ofCell) map[cell]*ofCell {
	if len(cells) == 1 {
		return cells
	}
	apart := true
	for _, w := range cells {
		apart = apart && (w.minutes > 0) == (w.milli > 0)
	}
	if apart {
		return cells
	}
	all := &ofCell{byPerson: map[string]int64{}}
	surfaces, methods := map[string]bool{}, map[string]bool{}
	for c, w := range cells {
		all.minutes += w.minutes
		all.milli += w.milli
		for person, minutes := range w.byPerson {
			all.byPerson[person] += minutes
		}
		if c.surface != "" {
			surfaces[c.surface] = true
		}
		if c.method != "" {
			methods[c.method] = true
		}
	}
	return map[cell]*ofCell{{task, only1(surfaces), only1(methods)}: all}
}

// only1 returns the one name in the set; empty where there are none or several.
func only1(names map[string]bool) string {
	if len(names) != 1 {
		return ""
	}
	return slices.Collect(maps.Keys(names))[0]
}

// UnitOf returns what a task is counted in: the standard unit, or that of the
// firm's own task.
func (n Names) UnitOf(task string) events.Unit {
	if t, ok := events.StandardTask(task); ok {
		return t.Unit
	}
	if n.Settings != nil {
		for _, t := range n.Settings.Tasks {
			if t.Task == task {
				return t.Unit
			}
		}
	}
	return ""
}

// BookOn returns the revision in force for quotes of a day: the last one recorded
// of those that are effective. It is nil where there is none.
func (n Names) BookOn(day events.Day) *events.RateBook {
	var book *events.RateBook
	for _, b := range n.RateBooks {
		if b.EffectiveFrom <= day && (book == nil || b.EffectiveFrom >= book.EffectiveFrom) {
			book = b
		}
	}
	return book
}

// rateIn returns the rate of a cell in a book: the one for its surface and method,
// else for its method, else for its surface, else for the task. It is nil where the
// book has none.
func rateIn(book *events.RateBook, c cell) *events.Rate {
	if book == nil {
		return nil
	}
	for _, want := range []cell{c, {c.task, "", c.method}, {c.task, c.surface, ""}, {c.task, "", ""}} {
		for i := range book.Rates {
			if r := &book.Rates[i]; (cell{r.Task, r.Surface, r.Method}) == want {
				return r
			}
		}
	}
	return nil
}

// quotedOn returns the day on which a job was quoted, as far as it is known.
func quotedOn(j JobRow) events.Day {
	return cmp.Or(j.Accepted, j.Opened, j.Finished)
}

// samples turns lines into samples. book returns the rate that a line is compared
// with; 0 where there is none.
func samples(lines []jobLine, byType bool, book func(jobLine) int64) []rates.Sample {
	all := make([]rates.Sample, 0, len(lines))
	for _, l := range lines {
		day, err := rates.DayNumber(l.job.Finished)
		if err != nil {
			continue // no day: the job runs, and does not come here
		}
		quoted, err := rates.DayNumber(quotedOn(l.job))
		if err != nil {
			quoted = day
		}
		s := rates.Sample{
			Line: rates.Line{Job: l.job.Job, Task: l.task, Surface: l.surface, Method: l.method, Crew: l.mostly(),
				Day: day, QuotedDay: quoted, QuantityMilli: max(l.milli, 0)},
			Minutes: max(l.minutes, 0), BookMinutesMilli: book(l),
		}
		if byType {
			s.JobType = l.job.JobType
		}
		all = append(all, s)
	}
	return all
}

// mostly returns who did most of the work: of two with the same, the first by key.
func (w ofCell) mostly() string {
	best := ""
	for _, person := range slices.Sorted(maps.Keys(w.byPerson)) {
		if best == "" || w.byPerson[person] > w.byPerson[best] {
			best = person
		}
	}
	return best
}
