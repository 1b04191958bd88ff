package history

import (
	"cmp"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"daysheet/events"
	"daysheet/services/typed"
)

// Table names a list of one kind of things that can be read beside the sheet of past
// jobs: what a firm keeps up to date, not its history.
type Table string

// The tables.
const (
	Products  Table = "products"  // what is listed, with its prices
	Purchases Table = "purchases" // what was bought
	Bookings  Table = "hours"     // hours on jobs that are open in the ledger
)

// Tables returns every table.
func Tables() []Table { return []Table{Products, Purchases, Bookings} }

// tableColumn is a column of a table.
type tableColumn struct {
	Column
	needed bool
}

// Columns returns the columns of a table in the order in which it would have them.
// Those that are needed come first.
func (t Table) Columns() []Column {
	var list []Column
	for _, c := range t.columns() {
		list = append(list, c.Column)
	}
	return list
}

func (t Table) columns() []tableColumn {
	product := tableColumn{Column{"product", []string{"material", "item"}, "Key or name of a listed product",
		"tape-30"}, true}
	date := tableColumn{Column{"date", []string{"day"}, "Day", "2026-03-04"}, true}
	place := tableColumn{Column{"place", []string{"store", "van"}, "Store or van", "van-2"}, false}
	unit := tableColumn{Column{"unit", []string{"units"}, "Unit; blank for the usual one", "l"}, false}
	optional := func(name, meaning, example string, also ...string) tableColumn {
		return tableColumn{Column{name, also, meaning, example}, false}
	}
	needed := func(name, meaning, example string, also ...string) tableColumn {
		return tableColumn{Column{name, also, meaning, example}, true}
	}
	switch t {
	case Products:
		unit.needed, unit.Meaning = true, "What it is counted in: m2, m, each, hour, l, kg, roll, sheet or pack"
		return []tableColumn{needed("name", "How it is shown", "Wall paint, matt"), unit,
			needed("price", "List price of one unit, net of tax", "9.73", "unit price", "list price"),
			optional("product", "Key; made of the name where it is blank", "wall-matt", "key"),
			optional("pack", "Content of a pack, in the unit", "10", "pack size"),
			optional("reusable", "yes where it is laid again on other jobs", "no"),
			optional("clean removal days", "By the maker's data sheet", "14"),
			optional("volume solids", "Per cent, by the maker's data sheet", "45"),
			optional("recoat", "Hours to the next coat, by the maker's data sheet", "4:00", "recoat hours"),
			optional("dry film", "Micrometres of one coat, by the maker's data sheet", "40"),
			optional("spreading rate", "Square metres of one litre, by the maker's data sheet", "11.25")}
	case Purchases:
		return []tableColumn{date, product, needed("quantity", "How much, in the unit", "40", "qty", "amount"),
			needed("cost", "Paid for all of it, net of tax", "371.33", "total", "net cost"), unit,
			optional("supplier", "Where it was bought", "invented merchant", "merchant"), place}
	case Bookings:
		return []tableColumn{date, needed("job", "Key of a job in the ledger", "j-104", "job no", "job number"),
			needed("person", "Key or name of a person in the settings", "una", "who", "name"),
			needed("task", "Key or name of a task", "coat", "work"), needed("hours", "Working time", "7:30", "time"),
			optional("surface", "What was worked on", "wall"), optional("method", "How it was done", "roller"),
			optional("location", "Room or part of the building", "hall", "room", "where"),
			optional("grade", "Grade of labour, where it is not the person's usual one", "painter")}
	}
	return nil
}

// tableReader turns rows of a table into events.
type tableReader struct {
	table Table
	opts  Options
	plan  Plan
	ids   *ids
	bad   map[int]bool
	seen  map[string]int // rows by what they say, with their line
	byJob map[string][]events.Event
	jobs  []string // in the order in which they are met
}

// ReadTable reads a table as [Read] does a sheet: with a header row, in any order of
// columns, and with every error of every row. The id of an event is made of what its
// row says, so that a file can be read again, with rows added, and only those are
// new. A product that is listed as its row says makes no event.
func ReadTable(r io.Reader, table Table, opts Options) (Plan, error) {
	if !slices.Contains(Tables(), table) {
		return Plan{}, events.Refuse("table", string(table), "use products, purchases or hours")
	}
	if !events.ValidToken(opts.Firm) {
		return Plan{}, events.Refuse("firm", opts.Firm, events.TokenRule)
	}
	text, err := readAll(r)
	if err != nil {
		return Plan{}, err
	}
	rows, err := readTable(text, table)
	if err != nil {
		return Plan{}, err
	}
	opts.Zone = cmp.Or(opts.Zone, time.UTC)
	opts.Source = cmp.Or(opts.Source, "/import/tables")
	t := &tableReader{table: table, opts: opts, ids: newIDs(opts.Firm), bad: map[int]bool{}, seen: map[string]int{},
		byJob: map[string][]events.Event{}}
	for _, row := range rows {
		if err := t.row(row); err != nil {
			return Plan{}, err
		}
	}
	t.finish(len(rows))
	return t.plan, nil
}

// tableRow is a row with its cells by the name of their column.
type tableRow struct {
	line  int
	cells map[string]string
}

// readTable finds the separator and the header, and sorts cells into columns.
func readTable(text string, table Table) ([]tableRow, error) {
	columns := table.columns()
	var missing []string
	for _, separator := range []rune{';', '\t', ','} {
		records, lines, err := cut(text, separator, -1)
		if err != nil {
			continue // it may be readable with another separator
		}
		for at := range min(headerSearch, len(records)) {
			place, lacks := placeColumns(records[at], columns)
			if len(lacks) == 0 {
				return tableRows(records[at+1:], lines[at+1:], place), nil
			}
			if missing == nil || len(lacks) < len(missing) {
				missing = lacks
			}
		}
	}
	return nil, events.Refuse("file", nil, "no header row in the first %d rows has every column that is needed; "+
		"missing: %s",
		headerSearch, strings.Join(missing, ", "))
}

// placeColumns returns which column each cell of a header names, and the columns that
// are needed and not there.
func placeColumns(header []string, columns []tableColumn) (place []string, lacks []string) {
	place = make([]string, len(header))
	for _, c := range columns {
		at := slices.IndexFunc(header, func(cell string) bool {
			named := func(name string) bool { return typed.Squeeze(name) == typed.Squeeze(cell) }
			return strings.TrimSpace(cell) != "" && (named(c.Name) || slices.ContainsFunc(c.Also, named))
		})
		switch {
		case at >= 0:
			place[at] = c.Name
		case c.needed:
			lacks = append(lacks, c.Name)
		}
	}
	return place, lacks
}

func tableRows(records [][]string, lines []int, place []string) []tableRow {
	var rows []tableRow
	for i, record := range records {
		row := tableRow{lines[i], map[string]string{}}
		filled := false
		for j, cell := range record {
			cell = typed.Bare(strings.TrimSpace(strings.Map(printable, cell)))
			filled = filled || cell != ""
			if j < len(place) && place[j] != "" {
				row.cells[place[j]] = cell
			}
		}
		if filled {
			rows = append(rows, row)
		}
	}
	return rows
}

func (t *tableReader) refuse(row tableRow, column, rule string) {
	t.plan.Errors = append(t.plan.Errors, RowError{Line: row.line, Column: column, Value: shorten(row.cells[column]),
		Rule: rule})
	t.bad[row.line] = true
}

// row makes the event of a row, or notes why it cannot.
func (t *tableReader) row(row tableRow) error {
	for _, c := range t.table.columns() {
		if c.needed && row.cells[c.Name] == "" {
			t.refuse(row, c.Name, "it must be given")
		}
	}
	says := fmt.Sprint(row.cells) // prints maps in the order of their keys
	if first, repeated := t.seen[says]; repeated && t.table != Products {
		t.plan.Summary.Repeats++
		if !t.opts.KeepRepeats {
			t.plan.Notices = append(t.plan.Notices, Notice{row.line,
				fmt.Sprintf("left out: it says exactly what line %d says; keep it if both happened", first)})
			return nil
		}
	} else {
		t.seen[says] = row.line
	}
	switch t.table {
	case Products:
		return t.product(row)
	case Purchases:
		return t.purchase(row)
	default:
		return t.booking(row)
	}
}

// finish gathers the events into batches, the firm's own or job by job.
func (t *tableReader) finish(rows int) {
	t.plan.Summary.Rows, t.plan.Summary.Bad = rows, len(t.bad)
	for _, job := range t.jobs {
		t.plan.Summary.Events += len(t.byJob[job])
		if job != events.FirmJob {
			t.plan.Summary.Jobs++
		}
		if len(t.plan.Errors) > 0 && !t.opts.SkipBad {
			continue
		}
		for part := range slices.Chunk(t.byJob[job], BatchMax) {
			t.plan.Batches = append(t.plan.Batches, Batch{job, part})
		}
	}
}
