package reports

import (
	"cmp"
	"maps"
	"slices"

	"daysheet/events"
)

// The sums that the comparison by task asks for, in the order of the question.
const (
	taskMinutes    = iota // by task and side
	taskQuantities        // by task, unit and side
	taskMarks             // by mark
)

func askEstimateVsActual(f Filter) Question {
	q := scope(f)
	return Question{
		Sums: []Query{
			grouped(only(q, KindLabour), ByTask, BySide),
			grouped(only(q, KindQuantity), ByTask, ByUnit, BySide),
			markQuery(f),
		},
		Jobs: namedJob(f),
	}
}

// taskWork is what was planned and done of one task. Hours have no unit and
// quantities have, and a task may be measured in several.
type taskWork struct {
	task       string
	minutes    sides
	quantities map[events.Unit]sides
}

// works joins minutes and quantities by task, in the order in which a job meets
// the tasks; tasks of the firm's own come last.
func works(a Answer) []taskWork {
	byTask := map[string]*taskWork{}
	of := func(task string) *taskWork {
		if byTask[task] == nil {
			byTask[task] = &taskWork{task: task, quantities: map[events.Unit]sides{}}
		}
		return byTask[task]
	}
	for _, t := range a.answered(taskMinutes) {
		of(t.By[0]).minutes.add(Side(t.By[1]), t.Minutes)
	}
	for _, t := range a.answered(taskQuantities) {
		w, unit := of(t.By[0]), events.Unit(t.By[1])
		s := w.quantities[unit]
		s.add(Side(t.By[2]), t.QuantityMilli)
		w.quantities[unit] = s
	}
	all := make([]taskWork, 0, len(byTask))
	for _, w := range byTask {
		all = append(all, *w)
	}
	before := jobOrder()
	slices.SortFunc(all, func(a, b taskWork) int { return before(a.task, b.task) })
	return all
}

// jobOrder returns how to compare tasks by the order in which a job meets them;
// tasks of the firm's own come last, by their keys.
func jobOrder() func(a, b string) int {
	place := map[string]int{}
	for i, t := range events.StandardTasks() {
		place[t.Task] = i - len(events.StandardTasks())
	}
	return func(a, b string) int { return cmp.Or(cmp.Compare(place[a], place[b]), cmp.Compare(a, b)) }
}

// inJobOrder returns the keys of a map by task in the order of [jobOrder].
func inJobOrder[T any](byTask map[string]T) []string {
	return slices.SortedFunc(maps.Keys(byTask), jobOrder())
}

// units returns the units that the task was planned or measured in, its usual
// unit first. It is one empty unit where the task was never measured.
func (w taskWork) units() []events.Unit {
	standard, _ := events.StandardTask(w.task)
	var units []events.Unit
	for _, u := range events.Units() {
		if _, ok := w.quantities[u]; !ok {
			continue
		}
		if u == standard.Unit {
			units = slices.Insert(units, 0, u)
		} else {
			units = append(units, u)
		}
	}
	if len(units) == 0 {
		return []events.Unit{""}
	}
	return units
}

// rate returns the minutes for one unit on a side. It is blank where the side
// measured nothing in the unit, or measured in another unit as well: hours
// cannot be told apart by unit.
func (w taskWork) rate(unit events.Unit, amount func(sides) int64) Cell {
	measured := 0
	for _, s := range w.quantities {
		if amount(s) != 0 {
			measured++
		}
	}
	milli, ok := minutesPerUnitMilli(amount(w.minutes), amount(w.quantities[unit]))
	if !ok || measured != 1 || amount(w.minutes) == 0 {
		return Cell{Blank: true, Unit: unit}
	}
	return Cell{Number: milli, Unit: unit}
}

// remark says in words what the numbers of the task do not.
func (w taskWork) remark(running bool) string {
	var quantity sides
	for _, s := range w.quantities {
		quantity = quantity.plus(s)
	}
	isPlanned := w.minutes.budget() != 0 || quantity.budget() != 0
	done := w.minutes.actual != 0 || quantity.actual != 0
	switch {
	case isPlanned && !done && running:
		return "planned, not done yet"
	case isPlanned && !done:
		return "planned, never done"
	case done && !isPlanned:
		return "done, never planned"
	case w.minutes.budget() != 0 && w.minutes.actual == 0:
		return "done, but no hours booked"
	}
	return ""
}

func makeEstimateVsActual(f Filter, a Answer) Report {
	jobs := a.jobs()
	running := slices.ContainsFunc(jobs, func(j JobRow) bool { return !j.State.Finished() })
	r := Report{Name: "estimate-vs-actual", Title: phrase("Estimate against actual"), Filter: f, Names: a.Names}
	if f.Job != "" && len(jobs) > 0 {
		r.Title = phrase("%s: %s", r.Title, jobCell(jobs[0]).Text)
	}
	all := works(a)
	t := taskTable()
	var minutes sides
	for _, w := range all {
		minutes = minutes.plus(w.minutes)
		t.Rows = append(t.Rows, taskRows(scope(f), w, running, a.Names)...)
	}
	if len(t.Rows) > 0 {
		labour := only(scope(f), KindLabour)
		blank := Cell{Blank: true}
		t.Total = slices.Concat([]Cell{wordCell("All tasks"), {}}, budgetCells(minutes, labour),
			[]Cell{blank, blank, blank, blank, {}})
	}
	r.Tables = []Table{t}
	r.Figures = taskFigures(all, minutes, running, a.Names)
	r.Notes = slices.Concat(scopeNotes(f, jobs), phrases(noteDifference, noteCoats,
		"Where a task was measured in more than one unit, each unit has a row and the minutes stand in the first "+
			"alone, because hours are booked by task and not by unit. Minutes for one unit are then left blank."),
		unpricedNotes(a.answered(taskMarks)))
	return r
}

func taskTable() Table {
	return Table{
		Name: "tasks", Title: "Tasks",
		Columns: []Column{
			{"task", "Task", FormName}, {"unit", "Unit", FormText},
			{"budget_minutes", "Budget hours", FormMinutes}, {"actual_minutes", "Actual hours", FormMinutes},
			{"difference_minutes", "Difference", FormMinutes},
			{"difference_basis_points", "Difference as a share of budget", FormShare},
			{"budget_quantity_milli", "Budget quantity", FormQuantity},
			{"actual_quantity_milli", "Actual quantity", FormQuantity},
			{"budget_minutes_per_unit_milli", "Budget minutes per unit", FormRate},
			{"actual_minutes_per_unit_milli", "Actual minutes per unit", FormRate},
			{"remark", "Remark", FormText},
		},
		Empty: "Nothing is planned or done here yet. Put the tasks with quantity and minutes into the estimate, " +
			"and book hours and quantities to the same tasks: then this table shows which of them you misjudge.",
	}
}

// taskRows returns a row for each unit of the task.
func taskRows(q Query, w taskWork, running bool, names Names) [][]Cell {
	q = q.With(ByTask, w.task)
	var rows [][]Cell
	for i, unit := range w.units() {
		minutes, remark := budgetCells(w.minutes, only(q, KindLabour)), w.remark(running)
		if i > 0 {
			minutes = []Cell{{Blank: true}, {Blank: true}, {Blank: true}, {Blank: true}}
			remark = "hours stand in the first row of the task"
		}
		rows = append(rows, slices.Concat(
			[]Cell{nameCell(names.Tasks, w.task), textCell(string(unit))},
			minutes,
			[]Cell{w.quantity(q, unit, planned...), w.quantity(q, unit, SideActual),
				w.rate(unit, sides.budget), w.rate(unit, func(s sides) int64 { return s.actual }), wordCell(remark)},
		))
	}
	return rows
}

// quantity returns what was measured in the unit on the sides; blank where that
// is nothing.
func (w taskWork) quantity(q Query, unit events.Unit, of ...Side) Cell {
	s := w.quantities[unit]
	milli := s.actual
	if of[0] != SideActual {
		milli = s.budget()
	}
	if milli == 0 {
		return Cell{Blank: true, Unit: unit}
	}
	c := sumCell(milli, on(only(q, KindQuantity).With(ByUnit, string(unit)), of...))
	c.Unit = unit
	return c
}
