package reports

import (
	"math"

	"daysheet/reports/rates"
)

func slipsTable(l learned, names Names) Table {
	t := Table{
		Name: "slips", Title: "Entries to check",
		Columns: []Column{
			{"job", "Job", FormName}, {"task", "Task", FormName}, {"surface", "Surface", FormText},
			{"method", "Method", FormText}, {"actual_minutes", "Booked", FormMinutes}, {"done_milli", "Done", FormQuantity},
			{"factor_index_milli", "Times what was expected", FormIndex},
		},
		Empty: "No entry is so far from what was expected that it looks like a slip.",
	}
	if l.fit == nil {
		return t
	}
	for _, s := range l.fit.Slips {
		t.Rows = append(t.Rows, []Cell{
			l.jobCell(s.Job), nameCell(names.Tasks, s.Task), textCell(s.Surface), textCell(s.Method), numberCell(s.Minutes),
			{Number: s.QuantityMilli, Unit: names.UnitOf(s.Task)}, numberCell(int64(math.Round(1000 * s.Factor))),
		})
	}
	return t
}

func excludedTable(l learned, names Names) Table {
	t := Table{
		Name: "excluded", Title: "Work that rates cannot be learned from",
		Columns: []Column{
			{"job", "Job", FormName}, {"task", "Task", FormName}, {"surface", "Surface", FormText},
			{"method", "Method", FormText}, {"actual_minutes", "Booked", FormMinutes}, {"done_milli", "Done", FormQuantity},
			{"reason", "Why", FormText},
		},
		Empty: "Every line has both hours and a quantity.",
	}
	if l.fit == nil {
		return t
	}
	reasons := map[rates.Reason]string{
		rates.Unmeasured: "hours without a quantity", rates.NotBooked: "a quantity without hours",
	}
	for _, e := range l.fit.Excluded {
		unit := names.UnitOf(e.Task)
		done := Cell{Number: e.QuantityMilli, Unit: unit, Blank: unit == ""}
		t.Rows = append(t.Rows, []Cell{
			l.jobCell(e.Job), nameCell(names.Tasks, e.Task), textCell(e.Surface), textCell(e.Method), numberCell(e.Minutes),
			done, wordCell(reasons[e.Reason]),
		})
	}
	return t
}
