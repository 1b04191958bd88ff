package reports

import (
	"cmp"
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

// jobLine is the work of one job in one cell of the rate book. No other line has
// the same job and cell.
type jobLine struct {
	job *JobRow
	cell
	minutes, milli int64
	crew           string // who did most of the work: of two with the same, the first by key
}

// rateLines joins hours and quantities of each job and task. Where the two name
// other surfaces or methods, they cannot be told apart below the task, and the
// task is one line. Work in another unit than the task's own is left out. Lines
// come in the order in which their jobs were finished.
func rateLines(a Answer) []jobLine {
	byKey := a.jobsByKey()
	units := map[string]events.Unit{}
	minutes, quantities := a.answered(rateMinutes), a.answered(rateQuantities)
	lines := make([]jobLine, 0, max(len(minutes), len(quantities)))
	for len(minutes)+len(quantities) > 0 {
		key := firstTask(minutes, quantities)
		var hours, work []Total
		hours, minutes = leading(minutes, key.job, key.task)
		work, quantities = leading(quantities, key.job, key.task)
		job := byKey[key.job]
		if job == nil {
			continue
		}
		if _, known := units[key.task]; !known {
			units[key.task] = a.Names.UnitOf(key.task)
		}
		lines = appendLines(lines, job, key.task, units[key.task], hours, work)
	}
	return byFinish(lines)
}

// firstTask returns the first job and task of sums that both come in their order.
func firstTask(minutes, quantities []Total) jobTask {
	first := func(sums []Total) jobTask { return jobTask{sums[0].By[0], sums[0].By[1]} }
	if len(minutes) == 0 {
		return first(quantities)
	}
	m := first(minutes)
	if len(quantities) == 0 {
		return m
	}
	q := first(quantities)
	if cmp.Or(cmp.Compare(m.job, q.job), cmp.Compare(m.task, q.task)) > 0 {
		return q
	}
	return m
}

// appendLines adds the lines of one job and task.
func appendLines(lines []jobLine, job *JobRow, task string, unit events.Unit, hours, work []Total) []jobLine {
	from := len(lines)
	of := func(surface, method string) *jobLine {
		c := cell{task, surface, method}
		for i := from; i < len(lines); i++ {
			if lines[i].cell == c {
				return &lines[i]
			}
		}
		lines = append(lines, jobLine{job: job, cell: c})
		return &lines[len(lines)-1]
	}
	for rest := hours; len(rest) > 0; {
		n, line := 0, of(rest[0].By[2], rest[0].By[3])
		for ; n < len(rest) && rest[n].By[2] == line.surface && rest[n].By[3] == line.method; n++ {
			line.minutes += rest[n].Minutes
		}
		line.crew = crewOf(rest[:n])
		rest = rest[n:]
	}
	for _, t := range work {
		if events.Unit(t.By[2]) == unit {
			of(t.By[3], t.By[4]).milli += t.QuantityMilli
		}
	}
	apart := true
	for _, l := range lines[from:] {
		apart = apart && (l.minutes > 0) == (l.milli > 0)
	}
	if apart || len(lines) == from+1 {
		return lines
	}
	one := together(lines[from:])
	one.crew = crewOf(hours)
	return append(lines[:from], one)
}

// together returns lines of one job and task as one, without its crew. It names
// surface and method where the lines name no other.
func together(lines []jobLine) jobLine {
	all := jobLine{job: lines[0].job, cell: cell{task: lines[0].task}}
	surfaces, methods := map[string]bool{}, map[string]bool{}
	for _, l := range lines {
		all.minutes += l.minutes
		all.milli += l.milli
		surfaces[l.surface] = true
		methods[l.method] = true
	}
	all.surface, all.method = onlyName(surfaces), onlyName(methods)
	return all
}

// onlyName returns the one name in the set; empty where there are none or several.
func onlyName(names map[string]bool) (only string) {
	delete(names, "")
	if len(names) == 1 {
		for only = range names {
		}
	}
	return only
}

// crewOf returns who has most of the minutes.
func crewOf(hours []Total) (best string) {
	byPerson := func(a, b Total) int { return cmp.Compare(a.By[4], b.By[4]) }
	if !slices.IsSortedFunc(hours, byPerson) {
		hours = slices.SortedFunc(slices.Values(hours), byPerson)
	}
	most := int64(0)
	for len(hours) > 0 {
		person, minutes := hours[0].By[4], int64(0)
		for ; len(hours) > 0 && hours[0].By[4] == person; hours = hours[1:] {
			minutes += hours[0].Minutes
		}
		if best == "" || minutes > most {
			best, most = person, minutes
		}
	}
	return best
}

// byFinish puts lines, which come by job, in the order of the days on which the
// jobs were finished, and those of a job in the order of their cells.
func byFinish(lines []jobLine) []jobLine {
	var jobs [][]jobLine
	for from, i := 0, 1; i <= len(lines); i++ {
		if i == len(lines) || lines[i].job != lines[from].job {
			slices.SortFunc(lines[from:i], func(x, y jobLine) int { return compareCells(x.cell, y.cell) })
			jobs = append(jobs, lines[from:i])
			from = i
		}
	}
	slices.SortFunc(jobs, func(x, y []jobLine) int {
		return cmp.Or(cmp.Compare(x[0].job.Finished, y[0].job.Finished), cmp.Compare(x[0].job.Job, y[0].job.Job))
	})
	return slices.Concat(jobs...)
}

func compareCells(a, b cell) int {
	return cmp.Or(cmp.Compare(a.task, b.task), cmp.Compare(a.surface, b.surface), cmp.Compare(a.method, b.method))
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
	var (
		of          *JobRow
		day, quoted int
		err         error
	)
	for _, l := range lines {
		if l.job != of {
			of = l.job
			day, quoted, err = daysOf(of)
		}
		if err != nil {
			continue // no day: the job runs, and does not come here
		}
		s := rates.Sample{
			Line: rates.Line{Job: l.job.Job, Task: l.task, Surface: l.surface, Method: l.method, Crew: l.crew,
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

// daysOf returns the days on which a job was finished and quoted.
func daysOf(job *JobRow) (finished, quoted int, err error) {
	if finished, err = rates.DayNumber(job.Finished); err != nil {
		return 0, 0, err
	}
	if quoted, err = rates.DayNumber(quotedOn(*job)); err != nil {
		quoted = finished
	}
	return finished, quoted, nil
}
