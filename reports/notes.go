package reports

import "slices"

// What the reader of a report has to know to read it right.
const (
	noteDifference = "Difference is actual less budget: above zero is more than planned. " +
		"Budget is the estimate in force with the variations agreed since."
	noteMargin = "Margin is price less labour, material and damage cost and overhead. " +
		"The share of margin is of the price."
	noteNoOverhead = "The firm has set no overhead, so that margins are told before it: " +
		"what the office, the vans and the insurance cost is still to be paid from them."
	notePrice = "The price is what was billed. Where nothing was billed yet it is the budget price, " +
		"and the table says so."
	noteFinished = "A job counts as finished on the day of its sign-off, or of its closing where nobody signed. " +
		"Jobs that still run are not part of this report."
	noteRunning = "The job still runs: its actual figures are so far."
	noteReturns = "Used material is less what was returned. Purchases for the store are not counted: " +
		"material costs a job when it is used."
	noteNoJob = "No job with this key is known at this position of the log."
	noteCoats = "Quantity is work done, so that two coats on 10 m² are 20 m²."
)

// scopeNotes returns what has to be said about the jobs of a report.
func scopeNotes(f Filter, jobs []JobRow) []Phrase {
	if f.Job == "" {
		return phrases(noteFinished)
	}
	for _, j := range jobs {
		if !j.State.Finished() {
			return phrases(noteRunning)
		}
	}
	return nil
}

// marginNotes says what a margin is, and what is not in it.
func marginNotes(names Names) []Phrase {
	if s := names.Settings; s == nil || s.Overhead == nil {
		return phrases(noteMargin, noteNoOverhead)
	}
	return phrases(noteMargin)
}

// markQuery returns the question for the marks of a scope, by mark.
func markQuery(f Filter) Query { return grouped(only(scope(f), KindMark), ByTask) }

// unpricedNotes says how much was counted at no cost. marks are the sums of
// [markQuery].
func unpricedNotes(marks []Total) []Phrase {
	for _, t := range marks {
		if Mark(t.By[0]) == MarkUnpriced && t.Facts > 0 {
			return []Phrase{phrase("%s no price or wage known and counted at no cost: the true cost is higher.",
				counted(t.Facts, "1 entry had", "%s entries had"))}
		}
	}
	return nil
}

// pricelessNotes says how many jobs are left out of the margin.
func pricelessNotes(l ledger) []Phrase {
	if n := l.jobs - l.priced; n > 0 {
		return []Phrase{phrase("%s no price: counted in hours and cost, but not in price and margin.",
			counted(n, "1 job has", "%s jobs have"))}
	}
	return nil
}

// marksTable lists what the office should look at.
func marksTable(f Filter, sums []Total) Table { return marksTableOf(scope(f), sums, nil) }

// marksTableOf is marksTable for the facts that q lets through, and for some marks
// alone where any are named.
func marksTableOf(q Query, sums []Total, some []Mark) Table {
	t := Table{
		Name: "marks", Title: "To look at",
		Columns: []Column{
			{"mark", "Mark", FormText}, {"meaning", "What it means", FormText}, {"entries_count", "Entries", FormCount},
		},
		Empty: "Nothing was marked: everything recorded fits the calendar of the job, the firm's lists and prices.",
	}
	counts := map[Mark]int64{}
	for _, s := range sums {
		counts[Mark(s.By[0])] += s.Facts
	}
	for _, m := range markMeanings {
		if n := counts[m.mark]; n != 0 && (len(some) == 0 || slices.Contains(some, m.mark)) {
			of := only(q, KindMark).With(ByTask, string(m.mark))
			t.Rows = append(t.Rows, row(textCell(string(m.mark)), wordCell(m.words), sumCell(n, of)))
		}
	}
	return t
}
