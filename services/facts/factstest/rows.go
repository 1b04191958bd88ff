package factstest

import (
	"database/sql/driver"
	"reflect"

	"daysheet/services/facts"
)

// Table is one table of a store as finished rows, in the order of its columns: what a
// benchmark gives to a raw engine to compare a store with.
type Table struct {
	Name string
	Rows [][]driver.Value
}

// Tables returns the rows of the facts, the jobs and the commits of a batch.
func Tables(batch facts.Batch) []Table {
	rows := Table{Name: "facts"}
	for i := range batch.Facts {
		f := &batch.Facts[i]
		rows.Rows = append(rows.Rows, append(values(facts.FactFields(f)), string(f.Day.Month())))
	}
	jobs := Table{Name: "jobs"}
	for i := range batch.Jobs {
		jobs.Rows = append(jobs.Rows, values(facts.JobFields(&batch.Jobs[i])))
	}
	commits := Table{Name: "commits"}
	for _, c := range batch.Commits {
		commits.Rows = append(commits.Rows, []driver.Value{c.Partition, c.Sequence, c.Raw})
	}
	return []Table{rows, jobs, commits}
}

// values reads the fields behind pointers.
func values(fields []any) []driver.Value {
	row := make([]driver.Value, len(fields))
	for i, f := range fields {
		row[i] = reflect.ValueOf(f).Elem().Interface()
	}
	return row
}
