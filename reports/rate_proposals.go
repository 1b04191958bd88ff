package reports

import (
	"cmp"
	"slices"

	"daysheet/events"
	"daysheet/reports/rates"
)

// RateProposal is a rate that the firm's history proposes in place of the book's.
// Rates are thousandths of a minute for one unit.
type RateProposal struct {
	Task, Surface, Method string
	Unit                  events.Unit
	BookMilli             int64 // 0 where the book has no rate for it
	ProposedMilli         int64
	LowMilli, HighMilli   int64 // the typical rate lies between them in four of five cases
	Jobs                  int64
	CredibilityPoints     int64 // hundredths of a per cent
	Sentence              Phrase
	// Rejected is the last rejection that still holds: nothing much is new since.
	Rejected *events.RateRejection
}

// Below these a difference is not worth a revision, and history not worth
// following. Common practice, no source.
const (
	proposalLeastJobs   = 3
	proposalLeastPoints = 300 // hundredths of a per cent from the book
	rejectionHolds      = 500 // the same, from what was rejected
)

// RateProposals returns what the history proposes, in the order in which a job
// meets the tasks. It returns none while fewer than eight jobs are finished.
func RateProposals(f Filter, a Answer) ([]RateProposal, error) {
	l, err := learn(f, a, false, rates.Options{})
	if err != nil || l.fit == nil || l.fit.Jobs < fewJobsForRates {
		return nil, err
	}
	var all []RateProposal
	for _, c := range l.cells {
		e, ok := l.explain(c, "")
		s := shownRate{c, e, l.many[c]}
		if !ok || s.jobs < proposalLeastJobs {
			continue
		}
		book := l.bookMilli(c)
		if off, known := BasisPoints(e.Recommended-book, book); known && max(off, -off) < proposalLeastPoints {
			continue
		}
		all = append(all, RateProposal{
			Task: c.task, Surface: c.surface, Method: c.method, Unit: a.Names.UnitOf(c.task), BookMilli: book,
			ProposedMilli: e.Recommended, LowMilli: e.Low, HighMilli: e.High, Jobs: s.jobs, CredibilityPoints: s.z(),
			Sentence: s.sentence(), Rejected: rejectionOf(a.Names.RateRejections, c, e.Recommended),
		})
	}
	return all, nil
}

// rejectionOf returns the last rejection of a cell, where what is proposed now is
// much the same as what was rejected.
func rejectionOf(rejections []*events.RateRejection, c cell, proposed int64) *events.RateRejection {
	for _, r := range slices.Backward(rejections) {
		if (cell{r.Task, r.Surface, r.Method}) != c {
			continue
		}
		if off, ok := BasisPoints(proposed-r.MinutesMilli, r.MinutesMilli); ok && max(off, -off) < rejectionHolds {
			return r
		}
		return nil
	}
	return nil
}

// RevisedBook returns the book with the proposals taken over. A rate that the book
// had for the task alone stays, and the new one stands beside it with the same
// consumables. book may be nil. The caller names revision, first day, reason and
// evidence.
func RevisedBook(book *events.RateBook, taken []RateProposal) events.RateBook {
	var revised events.RateBook
	if book != nil {
		revised = *book
		revised.Rates = slices.Clone(book.Rates)
	}
	for _, p := range taken {
		c := cell{p.Task, p.Surface, p.Method}
		r := events.Rate{Task: p.Task, Surface: p.Surface, Method: p.Method, Unit: p.Unit}
		if was := rateIn(book, c); was != nil {
			r.Consumables = slices.Clone(was.Consumables)
		}
		r.MinutesMilli, r.Source, r.Jobs = p.ProposedMilli, "own-history", p.Jobs
		at := slices.IndexFunc(revised.Rates, func(o events.Rate) bool { return (cell{o.Task, o.Surface, o.Method}) == c })
		if at < 0 {
			revised.Rates = append(revised.Rates, r)
		} else {
			revised.Rates[at] = r
		}
	}
	return revised
}

func makeRateProposals(f Filter, a Answer) Report {
	r := Report{Name: "rate-proposals", Title: phrase("Proposed rates"), Filter: f, Names: a.Names}
	proposals, err := RateProposals(f, a)
	t := Table{
		Name: "proposals", Title: "Rates that the history proposes",
		Columns: []Column{
			{"task", "Task", FormName}, {"surface", "Surface", FormText}, {"method", "Method", FormText},
			{"unit", "Unit", FormText}, {"book_minutes_per_unit_milli", "Book", FormRate},
			{"proposed_minutes_per_unit_milli", "Proposed", FormRate}, {"change_basis_points", "Change", FormShare},
			{"low_minutes_per_unit_milli", "From", FormRate}, {"high_minutes_per_unit_milli", "To", FormRate},
			{"jobs_count", "Jobs", FormCount}, {"credibility_basis_points", "Credibility", FormShare},
			{"sentence", "Why", FormText}, {"rejected", "Not taken before", FormText},
		},
		Empty: "Nothing is proposed: either the book fits, or there are too few finished jobs yet.",
	}
	for _, p := range proposals {
		t.Rows = append(t.Rows, p.cells(a.Names))
	}
	r.Tables = []Table{t}
	r.Figures = proposalFigures(proposals, a.Names)
	r.Notes = []Phrase{
		phrase("A rate is proposed where at least %d jobs show that it is %s or more from the book. Nothing changes by "+
			"itself: take proposals over into a new revision of the book, or turn them down with a reason.",
			proposalLeastJobs, ShareText(proposalLeastPoints)),
	}
	if err != nil {
		r.Notes = append(r.Notes, phrase("Rates cannot be learned: %s", err.Error()))
	}
	return r
}

func (p RateProposal) cells(names Names) []Cell {
	rate := func(milli int64) Cell { return Cell{Number: milli, Unit: p.Unit} }
	rejected := ""
	if p.Rejected != nil {
		rejected = p.Rejected.Reason
	}
	book := rate(p.BookMilli)
	book.Blank = p.BookMilli == 0
	return []Cell{
		nameCell(names.Tasks, p.Task), textCell(p.Surface), textCell(p.Method), textCell(string(p.Unit)), book,
		rate(p.ProposedMilli), shareCell(p.ProposedMilli-p.BookMilli, p.BookMilli), rate(p.LowMilli), rate(p.HighMilli),
		numberCell(p.Jobs), numberCell(p.CredibilityPoints), phraseCell(p.Sentence), textCell(rejected),
	}
}

func proposalFigures(proposals []RateProposal, names Names) []Figure {
	f := Figure{Name: "proposed-changes", Title: phrase("Proposed change of the book"), Form: FormShare, Shape: ShapeBars,
		Series: []Series{{Name: "Change"}}}
	type step struct {
		name   string
		change int64
	}
	var steps []step
	up, unknown := int64(0), int64(0)
	for _, p := range proposals {
		change, ok := BasisPoints(p.ProposedMilli-p.BookMilli, p.BookMilli)
		if !ok {
			unknown++
			continue
		}
		if change > 0 {
			up++
		}
		steps = append(steps, step{cell{p.Task, p.Surface, p.Method}.name(names), change})
	}
	if len(steps) == 0 {
		return nil
	}
	all := int64(len(steps))
	f.Finding = phrase("%s proposed: %d up, %d down.", counted(all, "1 change is", "%s changes are"), up, all-up)
	if unknown > 0 {
		f.Finding = joined(" ", f.Finding, phrase("%s.", counted(unknown, "1 rate is not in the book yet",
			"%s rates are not in the book yet")))
	}
	if all > barsMost {
		f.Title = phrase("%s (the %d that differ most)", f.Title, barsMost)
		slices.SortStableFunc(steps, func(a, b step) int {
			return cmp.Compare(max(b.change, -b.change), max(a.change, -a.change))
		})
		steps = steps[:barsMost]
	}
	for _, s := range steps {
		f.Categories, f.Series[0].Values = append(f.Categories, s.name), append(f.Series[0].Values, s.change)
	}
	return []Figure{f}
}
