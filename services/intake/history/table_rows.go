package history

import (
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"daysheet/events"
	"daysheet/services/typed"
)

// number reads an amount of a row; 0 where it is blank.
func (t *tableReader) number(row tableRow, column string, parse func(string, typed.Decimal) (int64, string)) int64 {
	text := row.cells[column]
	if text == "" {
		return 0
	}
	n, rule := parse(text, t.opts.Decimal)
	if rule == "" && n < 0 {
		rule = "not negative"
	}
	if rule != "" {
		t.refuse(row, column, rule)
	}
	return n
}

// counted reads numbers with so many decimals.
func counted(decimals int) func(string, typed.Decimal) (int64, string) {
	return func(text string, mark typed.Decimal) (int64, string) { return typed.Number(text, decimals, mark) }
}

func exactHours(text string, _ typed.Decimal) (int64, string) { return typed.ExactHours(text) }

// day reads a day of a row; empty where it is blank.
func (t *tableReader) day(row tableRow, column string) events.Day {
	if row.cells[column] == "" {
		return ""
	}
	day, rule := typed.Day(row.cells[column], t.opts.MonthFirst)
	if rule != "" {
		t.refuse(row, column, rule)
	}
	return day
}

// key reads a word that stands for something.
func (t *tableReader) key(row tableRow, column string) string {
	text := row.cells[column]
	key := typed.Key(text)
	if text != "" && !events.ValidToken(key) {
		t.refuse(row, column, "at least one letter a to z or digit, and at most 64")
	}
	return key
}

// unit reads the unit of a row; usual where it is blank.
func (t *tableReader) unit(row tableRow, usual events.Unit) events.Unit {
	text := row.cells["unit"]
	if text == "" {
		return usual
	}
	u, ok := typed.Unit(text)
	if !ok {
		t.refuse(row, "unit", "use one of m2, m, each, hour, l, kg, roll, sheet, pack")
	} else if usual != "" && usual != u {
		t.refuse(row, "unit", "it is counted in "+string(usual))
	}
	return u
}

// product lists a product, unless it is listed so already. What a row leaves blank
// stays as it is listed.
func (t *tableReader) product(row tableRow) error {
	key := t.key(row, "product")
	if key == "" {
		key = typed.Key(row.cells["name"])
	}
	p, after := events.Product{Product: key}, "nothing"
	if at := slices.IndexFunc(t.opts.Products, func(l events.Product) bool { return l.Product == key }); at >= 0 {
		p = t.opts.Products[at]
		was, err := json.Marshal(p)
		if err != nil {
			return fmt.Errorf("write product of line %d: %w", row.line, err)
		}
		after = string(was)
	}
	p.Name = row.cells["name"]
	if unit := t.unit(row, ""); unit != "" {
		p.Unit = unit
	}
	for _, c := range []struct {
		column string
		into   *int64
		parse  func(string, typed.Decimal) (int64, string)
	}{
		{"price", &p.PriceE4, typed.Money}, {"pack", &p.PackMilli, typed.Quantity},
		{"clean removal days", &p.CleanRemovalDays, counted(0)},
		{"volume solids", &p.VolumeSolidsBasisPoints, counted(2)}, {"recoat", &p.RecoatMinutes, exactHours},
		{"dry film", &p.DryFilmUm, counted(0)}, {"spreading rate", &p.SpreadingRateMilli, counted(3)},
	} {
		if row.cells[c.column] != "" {
			*c.into = t.number(row, c.column, c.parse)
		}
	}
	switch typed.Squeeze(row.cells["reusable"]) {
	case "yes", "y", "ja", "j", "true", "1", "x":
		p.Reusable = true
	case "no", "n", "nein", "false", "0":
		p.Reusable = false
	case "":
	default:
		t.refuse(row, "reusable", "yes or no")
	}
	is, err := json.Marshal(p)
	if err != nil {
		return fmt.Errorf("write product of line %d: %w", row.line, err)
	}
	if after == string(is) {
		t.plan.Summary.Repeats++
		return nil
	}
	return t.add(row, events.FirmJob, events.ProductListed, events.DayOf(t.opts.Now.In(t.opts.Zone)), &p, after)
}

// listed finds a product by its key or its name.
func (t *tableReader) listed(row tableRow) events.Product {
	text := row.cells["product"]
	said := typed.Squeeze(text)
	for _, p := range t.opts.Products {
		if typed.Squeeze(p.Product) == said || typed.Squeeze(p.Name) == said {
			return p
		}
	}
	if text != "" {
		t.refuse(row, "product", "a product that is listed: list it first")
	}
	return events.Product{}
}

func (t *tableReader) purchase(row tableRow) error {
	listed := t.listed(row)
	p := events.Purchase{Product: listed.Product, QuantityMilli: t.number(row, "quantity", typed.Quantity),
		Unit: t.unit(row, listed.Unit), CostE4: t.number(row, "cost", typed.Money), Supplier: row.cells["supplier"],
		Place: t.key(row, "place"), Day: t.day(row, "date")}
	return t.add(row, events.FirmJob, events.MaterialPurchased, p.Day, &p, "")
}

func (t *tableReader) count(row tableRow) error {
	listed := t.listed(row)
	c := events.Count{Product: listed.Product, QuantityMilli: t.number(row, "found", typed.Quantity),
		Unit: t.unit(row, listed.Unit), Place: t.key(row, "place"), Day: t.day(row, "date")}
	return t.add(row, events.FirmJob, events.MaterialCounted, c.Day, &c, "")
}

func (t *tableReader) booking(row tableRow) error {
	h := events.Hours{Person: t.person(row), Task: t.task(row).Task, Minutes: t.number(row, "hours", exactHours),
		Surface: t.key(row, "surface"), Method: t.key(row, "method"), Location: row.cells["location"],
		Grade: t.key(row, "grade"), Day: t.day(row, "date")}
	if h.Minutes > events.MinutesMax {
		t.refuse(row, "hours", "at most 24 hours of one person on a day")
	}
	job := t.key(row, "job")
	if _, open := t.opts.Jobs[job]; job != "" && !open {
		t.refuse(row, "job", "a job that is in the ledger: open it first")
	}
	return t.add(row, job, events.HoursBooked, h.Day, &h, "")
}

func (t *tableReader) task(row tableRow) events.Task {
	text := row.cells["task"]
	found, ok := typed.Task(text, t.opts.ownTasks())
	if !ok && t.table == Rates && t.opts.Book != nil { // one that the settings have no more
		at := slices.IndexFunc(t.opts.Book.Rates, func(r events.Rate) bool { return r.Task == text })
		if ok = at >= 0; ok {
			found = events.Task{Task: text, Unit: t.opts.Book.Rates[at].Unit}
		}
	}
	if text != "" && !ok {
		t.refuse(row, "task", "a standard task or one of the firm's settings, for example protect floor")
	}
	return found
}

// person finds who worked by key or name. A person whom the settings do not have is
// booked all the same: what happened happened.
func (t *tableReader) person(row tableRow) string {
	text := row.cells["person"]
	if t.opts.Settings != nil {
		for _, p := range t.opts.Settings.People {
			if typed.Squeeze(p.Person) == typed.Squeeze(text) || typed.Squeeze(p.Name) == typed.Squeeze(text) {
				return p.Person
			}
		}
	}
	key := t.key(row, "person")
	if key != "" && !slices.Contains(t.plan.Summary.NewPeople, key) {
		t.plan.Summary.NewPeople = append(t.plan.Summary.NewPeople, key)
	}
	return key
}

// add makes the event of a row that has no errors. after says what the event follows
// on, where saying the same later is something new: also what was so once before.
func (t *tableReader) add(row tableRow, job string, kind events.Type, day events.Day, payload events.Payload,
	after string) error {
	if t.bad[row.line] {
		return nil
	}
	data, err := json.Marshal(payload)
	if err != nil {
		return fmt.Errorf("write %s of line %d: %w", kind, row.line, err)
	}
	d := day.Time()
	e := events.Event{Source: t.opts.Source, Type: kind, Subject: job, Data: data,
		Time: time.Date(d.Year(), d.Month(), d.Day(), atWork, 0, 0, 0, t.opts.Zone).Format(time.RFC3339)}
	if after != "" {
		after += " at " + strconv.FormatUint(t.opts.Position, 10)
	}
	e.ID = t.ids.after(&e, after)
	if err := e.Validate(); err != nil {
		var refusal *events.Error
		if !errors.As(err, &refusal) {
			return err
		}
		from, column := t.rowOf(row, strings.TrimPrefix(refusal.Field, "data."))
		t.refuse(from, column, refusal.Rule)
		return nil
	}
	if t.byJob[job] == nil {
		t.jobs = append(t.jobs, job)
	}
	t.byJob[job] = append(t.byJob[job], e)
	return nil
}

// columnOf returns the column that holds a member of a payload.
func (t *tableReader) columnOf(member string) string {
	column := memberColumn(member)
	switch {
	case column == "minutes" && t.table == Bookings:
		return "hours"
	case column == "quantity" && t.table == Counts:
		return "found"
	case column == "cost per hour":
		return "cost of an hour"
	}
	return column
}
