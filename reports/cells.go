package reports

import "daysheet/events"

func textCell(s string) Cell { return Cell{Text: s} }

func stateCell(s events.State) Cell {
	c := wordCell(stateName(s))
	c.Key = string(s)
	return c
}

func familyCell(f events.Family) Cell {
	c := wordCell(familyName(f))
	c.Key = string(f)
	return c
}

// nameCell is a thing that has a key and, by names, a name.
func nameCell(names map[string]string, key string) Cell {
	return Cell{Key: key, Text: named(names, key)}
}

func dayCell(d events.Day) Cell { return Cell{Text: string(d)} }

// jobCell leads to a job, and shows its title where it has one.
func jobCell(j JobRow) Cell {
	if j.Title == "" {
		return Cell{Key: j.Job, Text: j.Job, Job: j.Job}
	}
	return Cell{Key: j.Job, Text: j.Title, Job: j.Job}
}

// jobLabel names a job where it cannot be followed: by title and key, since several
// jobs may have one title.
func jobLabel(j JobRow) string {
	if j.Title == "" {
		return j.Job
	}
	return j.Title + " (" + j.Job + ")"
}

// sumCell is a number that is the plain sum of the facts of q.
func sumCell(n int64, q Query) Cell { return Cell{Number: n, Explain: &q} }

// numberCell is a number made of other cells.
func numberCell(n int64) Cell { return Cell{Number: n} }

// shareCell is part of whole; blank where the whole is nothing.
func shareCell(part, whole int64) Cell {
	points, ok := BasisPoints(part, whole)
	return Cell{Number: points, Blank: !ok}
}

// moneyCell is a number that has no meaning where ok is false.
func moneyCell(e4 int64, ok bool) Cell {
	if !ok {
		return Cell{Blank: true}
	}
	return Cell{Number: e4}
}

// comparison returns the cells of a measure: budget, actual, difference, actual as
// a share of budget, and then what the budget is made of, estimated and
// variation. On a phone the first columns are what is seen. q lets through the
// facts of the measure.
func comparison(s sides, q Query) []Cell {
	return []Cell{
		sumCell(s.budget(), on(q, planned...)),
		sumCell(s.actual, on(q, SideActual)),
		numberCell(s.difference()),
		shareCell(s.actual, s.budget()),
		sumCell(s.estimate, on(q, SideEstimate)),
		sumCell(s.variation, on(q, SideVariation)),
	}
}

// budgetCells returns the cells of a measure in short: budget, actual,
// difference, difference as a share of budget. q is as in [comparison].
func budgetCells(s sides, q Query) []Cell {
	return []Cell{
		sumCell(s.budget(), on(q, planned...)), sumCell(s.actual, on(q, SideActual)),
		numberCell(s.difference()), shareCell(s.difference(), s.budget()),
	}
}

// comparisonColumns returns the columns of [comparison]. unit ends the keys.
func comparisonColumns(unit string, form Form) []Column {
	return []Column{
		{"budget_" + unit, "Budget", form},
		{"actual_" + unit, "Actual", form},
		{"difference_" + unit, "Difference", form},
		{"actual_share_of_budget_basis_points", "Actual as a share of budget", FormShare},
		{"estimated_" + unit, "Budget from estimate", form},
		{"variation_" + unit, "Budget from variations", form},
	}
}

// row puts cells in one row.
func row(first Cell, rest ...Cell) []Cell { return append([]Cell{first}, rest...) }

// columns puts columns in one list.
func columns(first Column, rest ...Column) []Column { return append([]Column{first}, rest...) }
