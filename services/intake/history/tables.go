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
	lists lists    // of the settings, or the rates, as the rows leave them
	heads heads
}

// ReadTable reads a table as [Read] does a sheet: with a header row, in any order of
// columns, and with every error of every row. The id of an event is made of what its
// row says, so that a file can be read again, with rows added, and only those are
// new. A row that says what is so already makes no event: a list that was handed out and
// comes in again changes nothing. Rows of a list add to it or change what it has; what the
// file does not name stays.
func ReadTable(r io.Reader, table Table, opts Options) (Plan, error) {
	if !slices.Contains(Tables(), table) {
		return Plan{}, events.Refuse("table", string(table), "no such table comes in here")
	}
	if opts.Settings == nil && table.ofSettings() {
		return Plan{}, events.Refuse("table", string(table), "record the firm's settings first")
	}
	if !events.ValidToken(opts.Firm) {
		return Plan{}, events.Refuse("firm", opts.Firm, events.TokenRule)
	}
	text, err := readAll(r)
	if err != nil {
		return Plan{}, err
	}
	file, err := readTable(text, table)
	if err != nil {
		return Plan{}, err
	}
	opts.Zone = cmp.Or(opts.Zone, time.UTC)
	opts.Source = cmp.Or(opts.Source, "/import/tables")
	t := &tableReader{table: table, opts: opts, ids: newIDs(opts.Firm), bad: map[int]bool{}, seen: map[string]int{},
		byJob: map[string][]events.Event{}, lists: newLists(opts), heads: file.heads}
	t.plan.Summary.UnknownColumns = file.unknown
	for _, row := range file.rows {
		if err := t.row(row); err != nil {
			return Plan{}, err
		}
	}
	if err := t.addLists(); err != nil {
		return Plan{}, err
	}
	t.finish(len(file.rows))
	return t.plan, nil
}

// tableRow is a row with its cells by the name of their column.
type tableRow struct {
	line  int
	cells map[string]string
}

// tableFile is a file cut into the rows of a table.
type tableFile struct {
	rows    []tableRow
	heads   heads
	unknown []string // names of columns that were passed over
}

// readTable finds the separator and the header, and sorts cells into columns.
func readTable(text string, table Table) (tableFile, error) {
	if strings.TrimSpace(text) == "" {
		return tableFile{}, events.Refuse("file", nil, "it is empty")
	}
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
				file := headed(records[at], place)
				file.rows = tableRows(records[at+1:], lines[at+1:], place, table == customers)
				return file, nil
			}
			if missing == nil || len(lacks) < len(missing) {
				missing = lacks
			}
		}
	}
	return tableFile{}, events.Refuse("file", nil, "no header row in the first %d rows has every column that is needed; "+
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

// headed returns a file by its header alone, with the columns that its cells name.
func headed(header, place []string) tableFile {
	file := tableFile{heads: heads{}}
	for i, cell := range header {
		switch name := headOf(cell); {
		case place[i] != "":
			file.heads[place[i]] = name
		case name != "":
			file.unknown = append(file.unknown, name)
		}
	}
	return file
}

// tableRows sorts cells into columns. keep leaves line breaks within them.
func tableRows(records [][]string, lines []int, place []string, keep bool) []tableRow {
	var rows []tableRow
	clean := printable
	if keep {
		clean = keepLines
	}
	for i, record := range records {
		row := tableRow{lines[i], map[string]string{}}
		filled := false
		for j, cell := range record {
			cell = typed.Bare(strings.TrimSpace(strings.Map(clean, cell)))
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
	t.plan.Errors = append(t.plan.Errors, RowError{Line: row.line, Column: t.heads.of(column),
		Value: shorten(row.cells[column]), Rule: rule})
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
	happens := t.table == Purchases || t.table == Counts || t.table == Bookings
	if first, repeated := t.seen[says]; repeated && happens {
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
	case Counts:
		return t.count(row)
	case Bookings:
		return t.booking(row)
	case Jobs:
		return t.opening(row)
	case Rates:
		t.rate(row)
	default:
		t.setting(row)
	}
	return nil
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
		for part := range slices.Chunk(t.byJob[job], batchMax) {
			t.plan.Batches = append(t.plan.Batches, Batch{job, part})
		}
	}
}
