package reports

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"

	"daysheet/events"
	"daysheet/reports/rates"
)

func askRates(f Filter) Question { return Question{Sums: rateQueries(f), Jobs: scopeJobs(f)} }

// learned is what a firm's history says about its rates.
type learned struct {
	lines []jobLine
	jobs  map[string]JobRow // of the lines
	book  *events.RateBook  // in force now; nil where there is none
	fit   *rates.Fit
	tried map[string]int64 // rates by task in place of those learned, for a quote that asks what if
	cells []cell           // with history, in the order in which a job meets them
	many  map[cell]int64   // jobs with history in the cell
	rates map[cell]int64   // of the book, for the cells of the lines
}

// asOfDay is the day up to which history counts: today, else that of the last
// finished job.
func asOfDay(f Filter, lines []jobLine) events.Day {
	day := f.Today
	for _, l := range lines {
		day = max(day, l.job.Finished)
	}
	return day
}

// learn fits the rates of the book's cells to the jobs of the answer. Every row is
// compared with the book in force now, so that a revision moves the reference and
// not the result.
func learn(f Filter, a Answer, byType bool, o rates.Options) (learned, error) {
	return learnFrom(rateLines(a), f, a, byType, o)
}

// learnFrom does it from the lines of the answer.
func learnFrom(lines []jobLine, f Filter, a Answer, byType bool, o rates.Options) (learned, error) {
	l := learned{lines: lines}
	l.jobs = jobRowsOf(l.lines)
	day := asOfDay(f, l.lines)
	if day == "" {
		return l, nil
	}
	l.book = a.Names.BookOn(day)
	asOf, err := rates.DayNumber(day)
	if err != nil {
		return l, err
	}
	l.seen()
	against := func(line jobLine) int64 { return l.rates[line.cell] }
	l.fit, err = rates.FitLabour(samples(l.lines, byType, against), asOf, o)
	if err != nil {
		return l, err
	}
	before := jobOrder()
	slices.SortFunc(l.cells, func(x, y cell) int { return cmp.Or(before(x.task, y.task), compareCells(x, y)) })
	return l, nil
}

// seen notes the cells of the lines, with the book's rates and the jobs that have
// history there.
func (l *learned) seen() {
	l.many, l.rates = map[cell]int64{}, map[cell]int64{}
	for _, line := range l.lines {
		if _, known := l.rates[line.cell]; !known {
			l.rates[line.cell] = l.bookMilli(line.cell)
		}
		if line.minutes > 0 && line.milli > 0 {
			l.many[line.cell]++
		}
	}
	l.cells = slices.Collect(maps.Keys(l.many))
}

// bookMilli returns the book's rate for a cell; 0 where it has none.
func (l learned) bookMilli(c cell) int64 {
	if r := rateIn(l.book, c); r != nil {
		return r.MinutesMilli
	}
	return 0
}

// explain returns where the rate of a cell comes from; ok is false where neither
// book nor history has one.
func (l learned) explain(c cell, jobType string) (rates.Explanation, bool) {
	e, err := l.fit.Explain(rates.Query{Task: c.task, Surface: c.surface, Method: c.method, JobType: jobType,
		BookMinutesMilli: l.bookMilli(c)})
	return e, err == nil
}

func makeRates(f Filter, a Answer) Report {
	r := Report{Name: "rates", Title: phrase("Quote rates from history"), Filter: f, Names: a.Names}
	l, err := learn(f, a, false, rates.Options{})
	r.Notes = rateNotes(l, err)
	t := ratesTable()
	var shown []shownRate
	var uses []useRate
	if err == nil && l.fit != nil {
		var wrong error
		if uses, wrong = useRates(f, a, l); wrong != nil {
			r.Notes = append(r.Notes, phrase("Consumables cannot be learned: %s", wrong.Error()))
		}
		for _, c := range l.cells {
			if e, ok := l.explain(c, ""); ok {
				shown = append(shown, shownRate{c, e, l.many[c]})
			}
		}
		for _, s := range shown {
			t.Rows = append(t.Rows, s.cells(l, a.Names))
		}
	}
	r.Tables = []Table{t, useRatesTable(uses, a.Names), slipsTable(l, a.Names), excludedTable(l, a.Names)}
	r.Figures = rateFigures(shown, l, a.Names)
	return r
}

func rateNotes(l learned, err error) []Phrase {
	notes := phrases(
		"A rate is a blend: credibility says how far the firm's own average of that work is trusted, and the rest comes "+
			"from the work that is most like it. It is the typical rate, half of the jobs take more; a price is made from the "+
			"expected hours, which are somewhat more.",
		"What is used is learned like time. Where it is used is the typical job that used some. Chance of use is the share "+
			"of jobs that did, of those that should have by the book, drawn towards that of the whole firm while jobs are "+
			"few. On average is both together: what a rate book needs.",
		"Only finished jobs count. The interval holds the typical rate in four of five cases; single jobs spread wider.",
	)
	switch {
	case err != nil:
		notes = append([]Phrase{phrase("Rates cannot be learned: %s", err.Error())}, notes...)
	case l.fit == nil:
		notes = append(notes, phrase("No job is finished yet: rates are the book's until then."))
	case l.book == nil:
		notes = append(notes, phrase("The firm has no rate book: its own history is the reference. "+
			"Record a first book to compare with."))
	case l.fit.Jobs < fewJobsForRates:
		notes = append(notes, phrase("There are %d finished jobs only: look at book and rate side by side.", l.fit.Jobs))
	}
	return notes
}

// fewJobsForRates is the number of jobs below which nothing is proposed.
const fewJobsForRates = 8

func ratesTable() Table {
	return Table{
		Name: "rates", Title: "Rates",
		Columns: []Column{
			{"task", "Task", FormName}, {"surface", "Surface", FormText}, {"method", "Method", FormText},
			{"unit", "Unit", FormText}, {"recommended_minutes_per_unit_milli", "Recommended", FormRate},
			{"book_minutes_per_unit_milli", "Book", FormRate}, {"difference_basis_points", "Against the book", FormShare},
			{"low_minutes_per_unit_milli", "From", FormRate}, {"high_minutes_per_unit_milli", "To", FormRate},
			{"jobs_count", "Jobs", FormCount}, {"own_minutes_per_unit_milli", "Own average", FormRate},
			{"group_minutes_per_unit_milli", "Of similar work", FormRate},
			{"credibility_basis_points", "Credibility", FormShare}, {"sentence", "Why", FormText},
		},
		Empty: "No finished job has hours and a quantity for the same task. Book hours by task, and record what was done " +
			"of it.",
	}
}

// shownRate is a rate with where it comes from.
type shownRate struct {
	cell
	why  rates.Explanation
	jobs int64
}

// blend is what a recommended rate is made of: its own average, that of similar
// work, both as factors of the book, and how far its own is trusted, 0 to 1.
type blend struct{ own, group, z float64 }

// blend returns it. Levels of the tree that hold the same rows are one: each
// draws what the one above left over towards the same average, so that together
// they trust it by 1 - (1-Z1)(1-Z2)...
func (s shownRate) blend() blend {
	steps := s.why.Steps
	if len(steps) == 0 {
		return blend{1, 1, 0}
	}
	last := steps[len(steps)-1]
	left := 1.0
	b := blend{own: last.Own}
	for i := len(steps) - 1; i >= 0 && steps[i].Rows == last.Rows; i-- {
		left *= 1 - steps[i].Z
		b.group = steps[i].Group
	}
	b.z = 1 - left
	return b
}

// z returns how far the cell's own average is trusted, in hundredths of a per cent.
func (s shownRate) z() int64 { return int64(math.Round(10_000 * s.blend().z)) }

// sentence says where the rate comes from. It is the arithmetic itself: the blend
// is exact in logarithms.
func (s shownRate) sentence() Phrase {
	b := s.blend()
	if s.jobs == 0 {
		return phrase("No finished job yet: the rate is the book's.")
	}
	text := phrase("%s took %s. That is trusted %.0f %%", counted(s.jobs, "1 job: it", "%s jobs: they"), against(b.own),
		100*b.z)
	if rest := 100 - math.Round(100*b.z); rest > 0 {
		text = phrase("%s; the other %.0f %% is similar work, which takes %s", text, rest, against(b.group))
	}
	if p := math.Round(100 * (s.why.Recent - 1)); p != 0 {
		text = phrase("%s. The last months move it by %+.0f %%", text, p)
	}
	return phrase("%s.", text)
}

// against says a factor of the book in words.
func against(factor float64) Phrase {
	switch p := math.Round(100 * (factor - 1)); {
	case p > 0:
		return phrase("%.0f %% more than the book", p)
	case p < 0:
		return phrase("%.0f %% less than the book", -p)
	}
	return phrase("what the book says")
}

func (s shownRate) cells(l learned, names Names) []Cell {
	unit := names.UnitOf(s.task)
	rate := func(milli int64) Cell { return Cell{Number: milli, Unit: unit} }
	book := rate(l.bookMilli(s.cell))
	book.Blank = book.Number == 0
	difference := Cell{Blank: true}
	reference := book.Number
	if !book.Blank {
		difference = shareCell(s.why.Recommended-book.Number, book.Number)
	} else {
		reference = s.why.Book
	}
	b := s.blend()
	of := func(factor float64) Cell { return rate(rates.MinutesMilli(float64(reference) / 1000 * factor)) }
	return []Cell{
		nameCell(names.Tasks, s.task), textCell(s.surface), textCell(s.method), textCell(string(unit)),
		rate(s.why.Recommended), book, difference, rate(s.why.Low), rate(s.why.High), numberCell(s.jobs), of(b.own),
		of(b.group), numberCell(s.z()), phraseCell(s.sentence()),
	}
}

// jobCell leads to a job of the history.
func (l learned) jobCell(job string) Cell {
	if row, known := l.jobs[job]; known {
		return jobCell(row)
	}
	return Cell{Key: job, Text: job, Job: job}
}

// name says a cell in words.
func (c cell) name(names Names) string {
	text := named(names.Tasks, c.task)
	for _, part := range []string{c.surface, c.method} {
		if part != "" {
			text += ", " + Spoken(part)
		}
	}
	return text
}

// rateFigures draws each rate as a multiple of the book, with its interval, and how
// far each is trusted.
func rateFigures(shown []shownRate, l learned, names Names) []Figure {
	intervals := Figure{
		Name: "rate-intervals", Title: phrase("Rate against the book"), Form: FormShare, Shape: ShapeRange,
		Middle: "Four of five times within",
		Series: []Series{{Name: "Low"}, {Name: "From"}, {Name: "Recommended"}, {Name: "To"}, {Name: "High"}},
	}
	trust := Figure{
		Name: "credibility", Title: phrase("How far the firm's own jobs are trusted"), Form: FormShare, Shape: ShapeBars,
		Series: []Series{{Name: "Credibility"}},
	}
	over := 0
	kept := slices.Clone(shown)
	slices.SortStableFunc(kept, func(a, b shownRate) int { return cmp.Compare(b.jobs, a.jobs) })
	for _, s := range kept[:min(len(kept), barsMost)] {
		book := l.bookMilli(s.cell)
		if book == 0 {
			continue
		}
		name := s.name(names)
		intervals.Categories = append(intervals.Categories, name)
		for i, v := range []int64{s.why.Low, s.why.Low, s.why.Recommended, s.why.High, s.why.High} {
			intervals.Series[i].Values = append(intervals.Series[i].Values, ratio(v-book, 10_000, book))
		}
		if s.why.Low > book {
			over++
		}
		trust.Categories = append(trust.Categories, fmt.Sprintf("%s (%d)", name, s.jobs))
		trust.Series[0].Values = append(trust.Series[0].Values, s.z())
	}
	if len(intervals.Categories) == 0 {
		return nil
	}
	intervals.Finding = phrase("Nothing is the book. %s of %d shown take more than the book, even at the low end.",
		counted(int64(over), "1 rate", "%s rates"), len(intervals.Categories))
	trust.Finding = phrase("A rate with many jobs rests on them; one with few rests on similar work.")
	return []Figure{intervals, trust}
}
