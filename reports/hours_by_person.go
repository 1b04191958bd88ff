package reports

import (
	"cmp"
	"slices"

	"daysheet/events"
)

// The sums that the report by person asks for, in the order of the question.
const personHours = 0 // by person, task, family, job and grade

func askHoursByPerson(f Filter) Question {
	q := on(only(scope(f), KindLabour), SideActual)
	return Question{Sums: []Query{grouped(q, ByPerson, ByTask, ByFamily, ByJob, ByGrade)}, Jobs: scopeJobs(f)}
}

// booked is the hours of one row, and the jobs that they were booked on.
type booked struct {
	of            [2]string // keys of what the row is about; the second is empty where one is enough
	minutes       int64
	costE4        int64
	families      map[events.Family]int64 // minutes
	jobs          map[string]bool
	others, tasks map[string]bool // people who booked, and tasks
}

// bookedBy adds hours up by one or two of the grouped dimensions, given by their places
// in [Total.By]; the second is -1 for none. Rows are in the order of their keys.
func bookedBy(sums []Total, first, second int) []*booked {
	found := map[[2]string]*booked{}
	for _, t := range sums {
		if t.Minutes == 0 && t.CostE4 == 0 {
			continue // all of it was taken back
		}
		key := [2]string{t.By[first]}
		if second >= 0 {
			key[1] = t.By[second]
		}
		b := found[key]
		if b == nil {
			b = &booked{of: key, families: map[events.Family]int64{}, jobs: map[string]bool{},
				others: map[string]bool{}, tasks: map[string]bool{}}
			found[key] = b
		}
		b.minutes += t.Minutes
		b.costE4 += t.CostE4
		b.families[events.Family(t.By[2])] += t.Minutes
		b.others[t.By[0]], b.tasks[t.By[1]], b.jobs[t.By[3]] = true, true, true
	}
	all := make([]*booked, 0, len(found))
	for _, b := range found {
		all = append(all, b)
	}
	slices.SortFunc(all, func(a, b *booked) int {
		return cmp.Or(cmp.Compare(a.of[0], b.of[0]), cmp.Compare(a.of[1], b.of[1]))
	})
	return all
}

func makeHoursByPerson(f Filter, a Answer) Report {
	const person, task, job, grade = 0, 1, 3, 4
	sums, jobs := a.answered(personHours), a.jobs()
	titles := map[string]JobRow{}
	for _, j := range jobs {
		titles[j.Job] = j
	}
	q := on(only(scope(f), KindLabour), SideActual)
	r := Report{Name: "hours-by-person", Title: phrase("Hours by person"), Filter: f, Names: a.Names,
		Tables: []Table{personTable(), personTaskTable(), personJobTable(), gradeTable()},
		Notes:  slices.Concat(scopeNotes(f, jobs), personNotes())}
	for _, b := range bookedBy(sums, person, -1) {
		r.Tables[0].Rows = append(r.Tables[0].Rows, personRow(q.With(ByPerson, b.of[0]), b, a.Names))
	}
	for _, b := range bookedBy(sums, person, task) {
		of := q.With(ByPerson, b.of[0]).With(ByTask, b.of[1])
		r.Tables[1].Rows = append(r.Tables[1].Rows, []Cell{nameCell(a.Names.People, b.of[0]),
			nameCell(a.Names.Tasks, b.of[1]), numberCell(int64(len(b.jobs))), sumCell(b.minutes, of)})
	}
	for _, b := range bookedBy(sums, person, job) {
		of := q.With(ByPerson, b.of[0])
		if f.Job == "" {
			of = of.With(ByJob, b.of[1])
		}
		row := titles[b.of[1]]
		row.Job = b.of[1]
		r.Tables[2].Rows = append(r.Tables[2].Rows, []Cell{nameCell(a.Names.People, b.of[0]), jobCell(row),
			numberCell(int64(len(b.tasks))), sumCell(b.minutes, of)})
	}
	for _, b := range bookedBy(sums, grade, -1) {
		of := q.With(ByGrade, b.of[0])
		r.Tables[3].Rows = append(r.Tables[3].Rows, []Cell{nameCell(nil, b.of[0]), numberCell(int64(len(b.others))),
			numberCell(int64(len(b.jobs))), sumCell(b.minutes, of), sumCell(b.costE4, of)})
	}
	return r
}

// familiesShown are the columns of the first table; all other work is one more.
func familiesShown() []events.Family {
	return []events.Family{events.FamilyProtection, events.FamilyMasking, events.FamilyPreparation, events.FamilyCoating}
}

// personRow shows one person; q lets through the hours.
func personRow(q Query, b *booked, names Names) []Cell {
	cells := []Cell{nameCell(names.People, b.of[0]), numberCell(int64(len(b.jobs))), sumCell(b.minutes, q)}
	rest, others := b.minutes, []string{""} // a task that nobody listed has no family
	for _, family := range events.Families() {
		if !slices.Contains(familiesShown(), family) {
			others = append(others, string(family))
		}
	}
	for _, family := range familiesShown() {
		cells = append(cells, sumCell(b.families[family], q.With(ByFamily, string(family))))
		rest -= b.families[family]
	}
	return append(cells, sumCell(rest, q.With(ByFamily, others...)))
}

// noHours says what to do where there is nothing to show.
const noHours = "No hours are booked here. Book hours with the person who worked them to see them by person."

func personTable() Table {
	t := Table{Name: "people", Title: "Hours by person", Columns: []Column{
		{"person", "Person", FormName}, {"jobs_count", "Jobs", FormCount}, {"actual_minutes", "Hours", FormMinutes},
	}, Empty: noHours}
	for _, family := range familiesShown() {
		t.Columns = append(t.Columns, Column{string(family) + "_minutes", familyName(family), FormMinutes})
	}
	t.Columns = append(t.Columns, Column{"other_minutes", "Other work", FormMinutes})
	return t
}

func personTaskTable() Table {
	return Table{Name: "tasks", Title: "By person and task", Columns: []Column{
		{"person", "Person", FormName}, {"task", "Task", FormName}, {"jobs_count", "Jobs", FormCount},
		{"actual_minutes", "Hours", FormMinutes},
	}, Empty: noHours}
}

func personJobTable() Table {
	return Table{Name: "jobs", Title: "By person and job", Columns: []Column{
		{"person", "Person", FormName}, {"job", "Job", FormName}, {"tasks_count", "Tasks", FormCount},
		{"actual_minutes", "Hours", FormMinutes},
	}, Empty: noHours}
}

func gradeTable() Table {
	return Table{Name: "grades", Title: "By grade", Columns: []Column{
		{"grade", "Grade", FormName}, {"people_count", "People", FormCount}, {"jobs_count", "Jobs", FormCount},
		{"actual_minutes", "Hours", FormMinutes}, {"actual_cost_e4", "Cost", FormMoney},
	}, Empty: noHours}
}

// personNotes keep the reader from what the table cannot tell.
func personNotes() []Phrase {
	return phrases(
		"Hours tell where somebody worked, and not how well: who is sent into rooms in use, to large jobs or to clear "+
			"snags has other hours than who is not. They are no measure to compare people by.",
		"The table is for those who record and plan. What is kept of people is told to them: the law of data protection "+
			"wants a reason for every use of it.")
}
