package main

import (
	"reflect"
	"strings"

	"daysheet/reports"
	"daysheet/services/facts"
)

// table is rows of one table, ready for any driver: made outside what is timed.
type table struct {
	name    string
	columns string
	rows    [][]any
}

func (t table) columnNames() []string { return strings.Split(t.columns, ", ") }

// tablesOf returns the rows of a batch by table.
func tablesOf(b facts.Batch) []table {
	tables := []table{
		{name: "facts", columns: facts.FactColumns + ", month"}, {name: "jobs", columns: facts.JobColumns},
		{name: "commits", columns: "partition, sequence, raw"},
	}
	var (
		f          reports.Fact
		j          reports.JobRow
		factFields = facts.FactFields(&f)
		jobFields  = facts.JobFields(&j)
	)
	for i := range b.Facts {
		f = b.Facts[i]
		tables[0].rows = append(tables[0].rows, append(values(factFields), string(f.Day.Month())))
	}
	for i := range b.Jobs {
		j = b.Jobs[i]
		tables[1].rows = append(tables[1].rows, values(jobFields))
	}
	for _, c := range b.Commits {
		tables[2].rows = append(tables[2].rows, []any{c.Partition, c.Sequence, c.Raw})
	}
	return tables
}

// values returns what the fields point at, with room for one value more.
func values(fields []any) []any {
	row := make([]any, len(fields), len(fields)+1)
	for i, field := range fields {
		switch p := field.(type) {
		case *string:
			row[i] = *p
		case *int64:
			row[i] = *p
		default:
			row[i] = reflect.ValueOf(field).Elem().Interface()
		}
	}
	return row
}

// byColumn returns rows as one slice for each column, of the column's own type.
func byColumn(rows [][]any) []any {
	if len(rows) == 0 {
		return nil
	}
	columns := make([]any, len(rows[0]))
	for c := range columns {
		switch rows[0][c].(type) {
		case string:
			columns[c] = gather[string](rows, c)
		case int64:
			columns[c] = gather[int64](rows, c)
		case uint64:
			columns[c] = gather[uint64](rows, c)
		case uint32:
			columns[c] = gather[uint32](rows, c)
		case uint8:
			columns[c] = gather[uint8](rows, c)
		case int8:
			columns[c] = gather[int8](rows, c)
		case []byte:
			columns[c] = gather[[]byte](rows, c)
		}
	}
	return columns
}

func gather[T any](rows [][]any, column int) []T {
	out := make([]T, len(rows))
	for i, row := range rows {
		out[i], _ = row[column].(T)
	}
	return out
}
