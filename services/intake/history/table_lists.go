package history

import (
	"cmp"
	"encoding/json"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"daysheet/events"
	"daysheet/services/typed"
)

// lists is what rows of a table add up to where one event says all of it: the settings, or
// the rate book.
type lists struct {
	settings events.Settings
	book     events.RateBook
	lines    map[string]tableRow // by key, the row that a thing comes from
	last     tableRow            // that was taken
}

// newLists returns what is in force, to be changed by rows.
func newLists(opts Options) lists {
	l := lists{lines: map[string]tableRow{}}
	if s := opts.Settings; s != nil {
		l.settings = *s
		l.settings.People, l.settings.Grades = slices.Clone(s.People), slices.Clone(s.Grades)
		l.settings.JobTypes, l.settings.Tasks = slices.Clone(s.JobTypes), slices.Clone(s.Tasks)
	}
	if opts.Book != nil {
		l.book = *opts.Book
		l.book.Rates = slices.Clone(l.book.Rates)
	}
	return l
}

// named returns the key of the thing that a row is about: the one that is given, else one
// made of its name. ok is false where the row was refused, or another one has that key.
func (t *tableReader) named(row tableRow, column, from string) (key string, ok bool) {
	key = cmp.Or(t.key(row, column), typed.Key(row.cells[from]))
	switch first, twice := t.lists.lines[key]; {
	case t.bad[row.line]:
		return key, false
	case !events.ValidToken(key):
		t.refuse(row, from, "at least one letter a to z or digit, and at most 64")
	case twice && first.line != row.line:
		t.refuse(row, cmp.Or(emptyBut(row, column), from), "it stands twice in the list")
	}
	t.lists.lines[key] = row
	return key, !t.bad[row.line]
}

// emptyBut returns the name of a column that is filled in.
func emptyBut(row tableRow, column string) string {
	if row.cells[column] == "" {
		return ""
	}
	return column
}

// put adds a thing to a list, or puts it in the place of the one with its key.
func put[T any](list []T, thing T, is func(T) bool) []T {
	if at := slices.IndexFunc(list, is); at >= 0 {
		list[at] = thing
		return list
	}
	return append(list, thing)
}

// setting takes a row into its list of the settings.
func (t *tableReader) setting(row tableRow) {
	s, name := &t.lists.settings, row.cells["name"]
	switch t.table {
	case People:
		grade := typed.Key(row.cells["grade"])
		if !slices.ContainsFunc(s.Grades, func(g events.Grade) bool { return g.Grade == grade }) && row.cells["grade"] != "" {
			t.refuse(row, "grade", "one of the grades in the firm's settings")
		}
		if key, ok := t.named(row, "person", "name"); ok {
			s.People = put(s.People, events.FirmPerson{Person: key, Name: name, Grade: grade},
				func(p events.FirmPerson) bool { return p.Person == key })
		}
	case Grades:
		cost := t.number(row, "cost of an hour", typed.Money)
		if key, ok := t.named(row, "grade", "grade"); ok {
			s.Grades = put(s.Grades, events.Grade{Grade: key, CostPerHourE4: cost},
				func(g events.Grade) bool { return g.Grade == key })
		}
	case JobTypes:
		if key, ok := t.named(row, "job type", "name"); ok {
			s.JobTypes = put(s.JobTypes, events.JobType{JobType: key, Name: name},
				func(j events.JobType) bool { return j.JobType == key })
		}
	case Tasks:
		t.firmTask(row)
	}
	if !t.bad[row.line] {
		t.lists.last = row
	}
}

func (t *tableReader) firmTask(row tableRow) {
	family, unit := events.Family(typed.Key(row.cells["family"])), t.unit(row, "")
	for f, name := range t.opts.Families {
		if typed.Squeeze(name) == typed.Squeeze(row.cells["family"]) {
			family = f
		}
	}
	var families []string
	for _, f := range events.Families() {
		families = append(families, string(f))
	}
	if row.cells["family"] != "" && !slices.Contains(families, string(family)) {
		t.refuse(row, "family", "use one of "+strings.Join(families, ", "))
	}
	key, ok := t.named(row, "task", "name")
	if _, standard := events.StandardTask(key); standard && ok {
		t.refuse(row, cmp.Or(emptyBut(row, "task"), "name"), "it is a standard task already")
		return
	}
	if ok {
		t.lists.settings.Tasks = put(t.lists.settings.Tasks,
			events.FirmTask{Task: key, Family: family, Unit: unit, Name: row.cells["name"]},
			func(task events.FirmTask) bool { return task.Task == key })
	}
}

// rate takes a row into the rate book. The first row of a rate says what it is, and each of
// them one product that it consumes.
func (t *tableReader) rate(row tableRow) {
	task := t.task(row)
	r := events.Rate{Task: task.Task, Surface: t.key(row, "surface"), Method: t.key(row, "method"),
		Unit: task.Unit}
	if row.cells["unit"] != "" {
		r.Unit = t.unit(row, "")
	}
	use := t.use(row)
	if t.bad[row.line] {
		return
	}
	is := func(o events.Rate) bool { return o.Task == r.Task && o.Surface == r.Surface && o.Method == r.Method }
	at := slices.IndexFunc(t.lists.book.Rates, is)
	key := rateKey(r)
	if _, met := t.lists.lines[key]; met {
		switch {
		case row.cells["minutes"] != "" || use.Product == "":
			t.refuse(row, "task", "the same task, surface and method stands twice in the book")
		default:
			t.lists.book.Rates[at].Consumables = append(t.lists.book.Rates[at].Consumables, use)
		}
		return
	}
	if row.cells["minutes"] == "" {
		t.refuse(row, "minutes", "it must be given")
		return
	}
	r.MinutesMilli, r.Jobs = t.number(row, "minutes", counted(3)), t.number(row, "jobs", counted(0))
	if r.Source = typed.Key(row.cells["source"]); r.Source == "" {
		r.Source = "from-memory"
	}
	if use.Product != "" {
		r.Consumables = []events.RateUse{use}
	}
	if t.bad[row.line] {
		return
	}
	t.lists.lines[key], t.lists.last = row, row
	t.lists.book.Rates = put(t.lists.book.Rates, r, is)
}

// use reads what one unit of a rate consumes; nothing where the row names no product.
func (t *tableReader) use(row tableRow) events.RateUse {
	if row.cells["product"] == "" {
		if row.cells["quantity"] != "" {
			t.refuse(row, "product", "say which product was consumed")
		}
		return events.RateUse{}
	}
	listed := t.listed(row)
	if row.cells["quantity"] == "" {
		t.refuse(row, "quantity", "it must be given")
	}
	return events.RateUse{Product: listed.Product, Unit: listed.Unit,
		QuantityMilli: t.number(row, "quantity", typed.Quantity)}
}

// addLists makes the one event of a table that is part of the settings, or is the rate book.
// Where nothing changed there is none. What breaks a rule is said of the row it comes from.
func (t *tableReader) addLists() error {
	today := events.DayOf(t.opts.Now.In(t.opts.Zone))
	var kind events.Type
	var is, was any
	var payload events.Payload
	switch {
	case t.lists.last.line == 0:
		return nil
	case t.table.ofSettings():
		kind, payload, is, was = events.FirmSettingsChanged, &t.lists.settings, t.lists.settings, *t.opts.Settings
	case t.table == Rates:
		var before []events.Rate
		if t.opts.Book != nil {
			before = t.opts.Book.Rates
		}
		book := &t.lists.book
		kind, payload, is, was = events.RateBookRevised, book, book.Rates, before
		book.Revision, book.EffectiveFrom, book.Reason = t.revision(today), today, ""
	default:
		return nil
	}
	after, err := json.Marshal(was)
	if err != nil {
		return fmt.Errorf("write what is in force: %w", err)
	}
	now, err := json.Marshal(is)
	if err != nil {
		return fmt.Errorf("write what the table says: %w", err)
	}
	if string(now) == string(after) {
		return nil
	}
	return t.add(t.lists.last, events.FirmJob, kind, today, payload, string(after))
}

// revision returns a name that no book had yet.
func (t *tableReader) revision(today events.Day) string {
	name := "table-" + string(today)
	for n := 2; slices.Contains(t.opts.Revisions, name); n++ {
		name = "table-" + string(today) + "-" + strconv.Itoa(n)
	}
	return name
}

// rowOf finds the row that a member of a payload came from, and the column that holds it.
// row is the one that made the event.
func (t *tableReader) rowOf(row tableRow, field string) (tableRow, string) {
	list, rest, _ := strings.Cut(field, "[")
	number, member, ok := strings.Cut(rest, "].")
	i, err := strconv.Atoi(number)
	if !ok || err != nil {
		return row, t.columnOf(field)
	}
	key, s := "", t.lists.settings
	switch {
	case list == "people" && i < len(s.People):
		key = s.People[i].Person
	case list == "grades" && i < len(s.Grades):
		key = s.Grades[i].Grade
	case list == "job_types" && i < len(s.JobTypes):
		key = s.JobTypes[i].JobType
	case list == "tasks" && i < len(s.Tasks):
		key = s.Tasks[i].Task
	case list == "rates" && i < len(t.lists.book.Rates):
		key = rateKey(t.lists.book.Rates[i])
	}
	if from, met := t.lists.lines[key]; met {
		row = from
	}
	return row, t.columnOf(member)
}

// rateKey is what makes a rate of the book another one.
func rateKey(r events.Rate) string { return strings.Join([]string{r.Task, r.Surface, r.Method}, " ") }
