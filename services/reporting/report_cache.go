package reporting

import (
	"slices"

	"daysheet/reports"
	"daysheet/services/recent"
)

// cellsKept bounds the reports that are kept, by their cells and the points of their
// charts: some 30 MB.
const cellsKept = 100_000

// reportKey says all that a report depends on. The position of the answer stands for the
// facts; the one that the store has reached stands for names and prices, which are those
// of now.
type reportKey struct {
	name     string
	language string         // of the names of tasks
	filter   reports.Filter // with its position
	reached  uint64
}

// madeReports are the reports made last. A page is asked for once, and each of its charts
// after it; and the owner looks at the same reports again until something is recorded.
type madeReports = recent.Values[reportKey, reports.Report]

// weigh returns how much a report holds.
func weigh(r reports.Report) int {
	n := 1
	for _, t := range r.Tables {
		n += (len(t.Rows) + 2) * len(t.Columns)
	}
	for _, f := range r.Figures {
		n += len(f.Categories) * (len(f.Series) + 1)
	}
	return n
}

// ofOnesOwn returns a report whose tables, columns, notes and charts may be changed
// without those of the one that is kept. Rows are shared.
func ofOnesOwn(r reports.Report) reports.Report {
	r.Tables, r.Figures, r.Notes = slices.Clone(r.Tables), slices.Clone(r.Figures), slices.Clone(r.Notes)
	for i := range r.Tables {
		r.Tables[i].Columns = slices.Clone(r.Tables[i].Columns)
	}
	return r
}
