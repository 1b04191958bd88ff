package reporting

import (
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/services/typed"
)

// table is a plain table on its way to CSV: a header of keys, and rows of texts
// and whole numbers.
type table struct {
	header []string
	rows   [][]string
	comma  bool // commas stand before decimals, and so semicolons between the columns
}

// pickTable returns the table of the report that was asked for by name; the
// main one where none was.
func pickTable(r reports.Report, name string) (reports.Table, error) {
	names := make([]string, len(r.Tables))
	for i, t := range r.Tables {
		names[i] = t.Name
	}
	at := slices.Index(names, name)
	switch {
	case len(r.Tables) == 0:
		return reports.Table{}, fmt.Errorf("report %s has no table", r.Name)
	case name == "":
		return r.Tables[0], nil
	case at < 0:
		return reports.Table{}, events.Refuse("table", name, "use one of %s", strings.Join(names, ", "))
	}
	return r.Tables[at], nil
}

// plain turns a table of a report into keys and raw values. The total is left
// out: a program that reads the rows would count it twice.
func plain(t reports.Table) table {
	return written(t, func(c reports.Column) string { return c.Key }, csvValue)
}

// written turns a table into text by how keys and values are written.
func written(t reports.Table, key func(reports.Column) string, value func(reports.Cell, reports.Form) string) table {
	var out table
	for _, c := range t.Columns {
		out.header = append(out.header, key(c))
		if c.Form == reports.FormName {
			out.header = append(out.header, c.Key+nameSuffix)
		}
	}
	for _, cells := range t.Rows {
		row := make([]string, 0, len(out.header))
		for i, c := range cells {
			row = append(row, value(c, t.Columns[i].Form))
			if t.Columns[i].Form == reports.FormName {
				row = append(row, typed.Harmless(c.Text))
			}
		}
		out.rows = append(out.rows, row)
	}
	return out
}

func csvValue(c reports.Cell, form reports.Form) string {
	switch v := rawValue(c, form).(type) {
	case string:
		return typed.Harmless(v)
	case int64:
		return strconv.FormatInt(v, 10)
	}
	return ""
}

// fileName joins what says what a file holds, leaving out what was not asked for.
// The parts are keys, numbers and days, so that they can stand in a header.
func fileName(parts ...string) string {
	return strings.Join(slices.DeleteFunc(parts, func(part string) bool { return part == "" }), "-")
}

// writeCSV writes a table, with a byte order mark for spreadsheets or without.
func writeCSV(w io.Writer, t table, mark bool) error {
	return typed.CSV{Mark: mark, Comma: t.comma}.Write(w, slices.Concat([][]string{t.header}, t.rows))
}
