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

// The places of what the hours are grouped by, in [Total.By].
const (
	keyPerson = iota
	keyTask
	keyFamily
	keyJob
	keyGrade
	keysAll // how many there are
)

// booked is the hours of one row, and how many people, tasks and jobs they are of.
type booked struct {
	of                  [2]string // keys of what the row is about; the second is empty where one is enough
	minutes             int64
	costE4              int64
	people, tasks, jobs int64
}

// bookings are the sums that count, with their keys as numbers: a number is found and
// compared many times faster than a name.
type bookings struct {
	sums  []Total
	codes [keysAll][]int32 // of the keys of each row, from 0 in the order in which they come
	many  [keysAll]int
}

// newBookings leaves out what was taken back.
func newBookings(sums []Total) *bookings {
	takenBack := func(t Total) bool { return t.Minutes == 0 && t.CostE4 == 0 }
	if slices.ContainsFunc(sums, takenBack) {
		sums = slices.DeleteFunc(slices.Clone(sums), takenBack)
	}
	b := &bookings{sums: sums}
	for k := range b.codes {
		b.codes[k] = make([]int32, len(b.sums))
		known := map[string]int32{}
		last, code := "", int32(-1)
		for i := range sums {
			if name := sums[i].By[k]; code < 0 || name != last {
				var ok bool
				if code, ok = known[name]; !ok {
					code = int32(len(known))
					known[name] = code
				}
				last = name
			}
			b.codes[k][i] = code
		}
		b.many[k] = len(known)
	}
	return b
}

// by adds hours up by one or two of the keys, given by their places; the second is -1
// for none. Rows are in the order of their keys.
func (b *bookings) by(first, second int) []booked {
	var (
		all     []booked
		members []int32
		groupOf = make([]int32, len(b.sums))
		groups  = map[[2]int32]int32{}
		last    [2]int32
		g       int32
	)
	for i := range b.sums {
		t, key := &b.sums[i], [2]int32{b.codes[first][i], -1}
		if second >= 0 {
			key[1] = b.codes[second][i]
		}
		if i == 0 || key != last {
			var known bool
			if g, known = groups[key]; !known {
				g = int32(len(all))
				groups[key] = g
				all, members = append(all, booked{of: [2]string{t.By[first]}}), append(members, 0)
				if second >= 0 {
					all[g].of[1] = t.By[second]
				}
			}
			last = key
		}
		all[g].minutes += t.Minutes
		all[g].costE4 += t.CostE4
		groupOf[i] = g
		members[g]++
	}
	b.count(all, groupOf, members)
	slices.SortFunc(all, func(a, b booked) int {
		return cmp.Or(cmp.Compare(a.of[0], b.of[0]), cmp.Compare(a.of[1], b.of[1]))
	})
	return all
}

// count fills in how many people, tasks and jobs each group is of. members is how
// many rows each has.
func (b *bookings) count(all []booked, groupOf, members []int32) {
	sorted, next := make([]int32, len(groupOf)), make([]int32, len(members))
	for g := 1; g < len(members); g++ {
		next[g] = next[g-1] + members[g-1]
	}
	for i, g := range groupOf {
		sorted[next[g]] = int32(i)
		next[g]++
	}
	for _, c := range []struct {
		key  int
		many func(*booked) *int64
	}{
		{keyPerson, func(r *booked) *int64 { return &r.people }}, {keyTask, func(r *booked) *int64 { return &r.tasks }},
		{keyJob, func(r *booked) *int64 { return &r.jobs }},
	} {
		seenBy := make([]int32, b.many[c.key]) // the last group that each was seen in, plus 1
		for _, i := range sorted {
			if code, g := b.codes[c.key][i], groupOf[i]; seenBy[code] != g+1 {
				seenBy[code] = g + 1
				*c.many(&all[g])++
			}
		}
	}
}

func makeHoursByPerson(f Filter, a Answer) Report {
	jobs := a.jobs()
	sums, titles := newBookings(a.answered(personHours)), make(map[string]*JobRow, len(jobs))
	for i := range jobs {
		titles[jobs[i].Job] = &jobs[i]
	}
	q := on(only(scope(f), KindLabour), SideActual)
	r := Report{Name: "hours-by-person", Title: phrase("Hours by person"), Filter: f, Names: a.Names,
		Tables: []Table{personTable(), personTaskTable(), personJobTable(), gradeTable()},
		Notes:  slices.Concat(scopeNotes(f, jobs), personNotes())}
	byFamily := sums.by(keyPerson, keyFamily)
	for _, b := range sums.by(keyPerson, -1) {
		n := 0
		for n < len(byFamily) && byFamily[n].of[0] == b.of[0] {
			n++
		}
		r.Tables[0].Rows = append(r.Tables[0].Rows, personRow(q.With(ByPerson, b.of[0]), b, byFamily[:n], a.Names))
		byFamily = byFamily[n:]
	}
	of := ofEach(q, ByPerson)
	for _, b := range sums.by(keyPerson, keyTask) {
		r.Tables[1].Rows = append(r.Tables[1].Rows, []Cell{nameCell(a.Names.People, b.of[0]),
			nameCell(a.Names.Tasks, b.of[1]), numberCell(b.jobs), sumCell(b.minutes, of(b.of[0]).With(ByTask, b.of[1]))})
	}
	for _, b := range sums.by(keyPerson, keyJob) {
		hours, job := of(b.of[0]), jobCell(JobRow{Job: b.of[1]})
		if f.Job == "" {
			hours = hours.With(ByJob, b.of[1])
		}
		if titles[b.of[1]] != nil {
			job = jobCell(*titles[b.of[1]])
		}
		r.Tables[2].Rows = append(r.Tables[2].Rows, []Cell{nameCell(a.Names.People, b.of[0]), job,
			numberCell(b.tasks), sumCell(b.minutes, hours)})
	}
	for _, b := range sums.by(keyGrade, -1) {
		of := q.With(ByGrade, b.of[0])
		r.Tables[3].Rows = append(r.Tables[3].Rows, []Cell{nameCell(nil, b.of[0]), numberCell(b.people),
			numberCell(b.jobs), sumCell(b.minutes, of), sumCell(b.costE4, of)})
	}
	return r
}

// ofEach returns a function that narrows q to a value of a dimension. It keeps the
// last answer, for rows that come in the order of that value.
func ofEach(q Query, d Dimension) func(string) Query {
	last, of := "", q.With(d, "")
	return func(value string) Query {
		if value != last {
			last, of = value, q.With(d, value)
		}
		return of
	}
}

// familiesShown are the columns of the first table; all other work is one more.
func familiesShown() []events.Family {
	return []events.Family{events.FamilyProtection, events.FamilyMasking, events.FamilyPreparation, events.FamilyCoating}
}

// personRow shows one person, whose hours are given by family too; q lets through the
// hours.
func personRow(q Query, b booked, byFamily []booked, names Names) []Cell {
	cells := []Cell{nameCell(names.People, b.of[0]), numberCell(b.jobs), sumCell(b.minutes, q)}
	rest, others := b.minutes, []string{""} // a task that nobody listed has no family
	for _, family := range events.Families() {
		if !slices.Contains(familiesShown(), family) {
			others = append(others, string(family))
		}
	}
	for _, family := range familiesShown() {
		minutes := int64(0)
		for _, part := range byFamily {
			if part.of[1] == string(family) {
				minutes += part.minutes
			}
		}
		cells = append(cells, sumCell(minutes, q.With(ByFamily, string(family))))
		rest -= minutes
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
