package reports

import (
	"context"
	"math"
	"slices"

	"daysheet/events"
	"daysheet/reports/rates"
)

// backtestMost bounds the jobs that a page is tested on: each is quoted from all
// those before it. The command tests all of them.
const backtestMost = 300

// Backtest quotes each finished job of the answer from the jobs that were finished
// before its own quote, with the book of that day, and compares it with what it
// took. progress may be nil. It stops with ctx.
func Backtest(ctx context.Context, a Answer, progress func(done, total int)) (*rates.Backtest, error) {
	return backtest(ctx, rateLines(a), a.Names, progress)
}

func backtest(ctx context.Context, lines []jobLine, names Names, progress func(done, total int)) (*rates.Backtest,
	error) {
	book := func(l jobLine) int64 {
		if r := rateIn(names.BookOn(quotedOn(*l.job)), l.cell); r != nil {
			return r.MinutesMilli
		}
		return 0
	}
	return rates.RunBacktest(ctx, samples(lines, true, book), rates.BacktestOptions{Progress: progress})
}

// newestJobs returns the lines of the last jobs to be finished, and how many jobs
// were left out. Lines come in the order of days.
func newestJobs(lines []jobLine, most int) (kept []jobLine, out int) {
	from, jobs := len(lines), 0
	for i, l := range slices.Backward(lines) {
		if i == len(lines)-1 || l.job != lines[i+1].job {
			jobs++
		}
		if jobs <= most {
			from = i
		}
	}
	return lines[from:], max(jobs-most, 0)
}

func makeBacktest(f Filter, a Answer) Report {
	r := Report{Name: "backtest", Title: phrase("Would tuned rates have quoted better?"), Filter: f, Names: a.Names}
	lines, out := newestJobs(rateLines(a), backtestMost)
	b, err := backtest(context.Background(), lines, a.Names, nil)
	if err != nil {
		r.Tables = []Table{scoreTable(rates.Score{}), monthTable(nil, a.Names)}
		r.Notes = []Phrase{phrase("The history cannot be tested: %s", err.Error())}
		return r
	}
	r.Tables = []Table{scoreTable(b.Score), backtestJobsTable(b, lines), monthTable(b, a.Names), leftOutTable(b, lines)}
	r.Figures = backtestFigures(b)
	r.Notes = backtestNotes(b, out)
	return r
}

func backtestNotes(b *rates.Backtest, out int) []Phrase {
	notes := phrases(
		"Each job is quoted from the jobs that were finished before its own quote, and then set beside what it took. "+
			"The book is the revision of that day.",
		"Pinball is the loss of a promise: at P80, hours short cost four times as much as hours too many. Skill is the "+
			"part "+
			"of the book's loss that tuned rates save.",
	)
	if b.Score.Few {
		notes = append(notes, phrase("%s could be tested: below 20 the figures say little.",
			counted(int64(b.Score.Jobs), "1 job", "%s jobs")))
	}
	if out > 0 {
		notes = append(notes, phrase("The page tests the last %d finished jobs; %s before them. "+
			"\"daysheet backtest\" tests all.", backtestMost, counted(int64(out), "1 job lies", "%s jobs lie")))
	}
	return notes
}

// basisPoints turns a fraction into hundredths of a per cent.
func basisPoints(fraction float64) int64 { return int64(math.Round(fraction * 10_000)) }

func scoreTable(s rates.Score) Table {
	t := Table{
		Name: "score", Title: "Book and tuned rates",
		Columns: []Column{
			{"measure", "Measure", FormText}, {"book_basis_points", "Book", FormShare}, {"tuned_basis_points", "Tuned",
				FormShare},
			{"promised_basis_points", "Promised", FormShare}, {"meaning", "What it says", FormText},
		},
		Empty: "No job could be tested yet: it takes eight finished jobs before the first can be quoted from history.",
	}
	if s.Lines == 0 {
		return t
	}
	blank := Cell{Blank: true}
	share := func(v float64) Cell { return numberCell(basisPoints(v)) }
	add := func(measure Phrase, book, tuned, promised Cell, meaning string) {
		t.Rows = append(t.Rows, []Cell{phraseCell(measure), book, tuned, promised, wordCell(meaning)})
	}
	add(phrase("Error of a line"), share(s.MAPEBook), share(s.MAPE), blank, "mean error as a share of what it took (MAPE)")
	add(phrase("Bias of all hours"), share(s.BiasBook), share(s.Bias), share(0), "quoted over taken, less 1: below "+
		"zero is too "+
		"low")
	add(phrase("Lines within P10 to P90"), blank, share(s.Within80), share(.8), "took between the low and the high end "+
		"of what was quoted")
	add(phrase("Lines within P80"), blank, share(s.BelowP80), share(.8), "took no longer than the safe hours of the line")
	add(phrase("Lines within P90"), blank, share(s.BelowP90), share(.9), "took no longer than the safer hours of the line")
	add(phrase("Jobs within P80"), blank, share(s.JobBelowP80), share(.8), "took no longer than the safe hours of the "+
		"whole job")
	add(phrase("Jobs within P90"), blank, share(s.JobBelowP90), share(.9), "took no longer than the safer hours of the "+
		"whole job")
	for i, p := range []string{"P50", "P80", "P90"} {
		add(phrase("Pinball loss at %s", p), share(s.PinballBook[i]), share(s.Pinball[i]), blank, "what being off costs, "+
			"hours short more than hours too many: less is better")
		add(phrase("Skill at %s", p), blank, share(s.Skill[i]), blank, "part of the book's loss that is saved")
	}
	return t
}

// jobRowsOf returns the jobs of lines by key.
func jobRowsOf(lines []jobLine) map[string]JobRow {
	byKey := map[string]JobRow{}
	for i, l := range lines {
		if i == 0 || l.job != lines[i-1].job {
			byKey[l.job.Job] = *l.job
		}
	}
	return byKey
}

func backtestJobsTable(b *rates.Backtest, lines []jobLine) Table {
	t := Table{
		Name: "jobs", Title: "Jobs as they would have been quoted",
		Columns: []Column{
			{"job", "Job", FormName}, {"quoted", "Quoted", FormDay}, {"book_minutes", "Book", FormMinutes},
			{"typical_minutes", "Typical", FormMinutes}, {"expected_minutes", "Expected", FormMinutes},
			{"safe_minutes", "Safe (P80)", FormMinutes}, {"actual_minutes", "Took", FormMinutes},
			{"off_basis_points", "Took, against expected", FormShare},
		},
		Empty: "No job could be tested yet.",
	}
	byKey := jobRowsOf(lines)
	for _, j := range slices.Backward(b.Jobs) {
		actual, expected := minutes(j.Actual), minutes(j.Expected)
		t.Rows = append(t.Rows, []Cell{
			jobCell(byKey[j.Job]), dayCell(quotedOn(byKey[j.Job])), numberCell(minutes(j.Book)), numberCell(minutes(j.Median)),
			numberCell(expected), numberCell(minutes(j.P80)), numberCell(actual), shareCell(actual-expected, expected),
		})
	}
	return t
}

// monthScore adds up the jobs quoted in a month.
type monthScore struct {
	month                   events.Day
	jobs                    int64
	book, expected, actual  float64
	bookOff, tunedOff, many float64
}

func months(b *rates.Backtest) []monthScore {
	var all []monthScore
	for _, j := range b.Jobs {
		month := events.Day("1970-01-01").Add(j.Quoted).Month()
		if len(all) == 0 || all[len(all)-1].month != month {
			all = append(all, monthScore{month: month})
		}
		m := &all[len(all)-1]
		m.jobs++
		m.book, m.expected, m.actual = m.book+j.Book, m.expected+j.Expected, m.actual+j.Actual
		for _, l := range j.Lines {
			m.bookOff += math.Abs(l.Book/l.Actual - 1)
			m.tunedOff += math.Abs(l.Median/l.Actual - 1)
			m.many++
		}
	}
	return all
}

func monthTable(b *rates.Backtest, _ Names) Table {
	t := Table{
		Name: "months", Title: "By month of the quote",
		Columns: []Column{
			{"month", "Month", FormText}, {"jobs_count", "Jobs", FormCount}, {"book_minutes", "Book", FormMinutes},
			{"expected_minutes", "Expected", FormMinutes}, {"actual_minutes", "Took", FormMinutes},
			{"book_error_basis_points", "Error of the book", FormShare}, {"tuned_error_basis_points", "Error tuned", FormShare},
		},
		Empty: "No job could be tested yet.",
	}
	if b == nil {
		return t
	}
	for _, m := range months(b) {
		t.Rows = append(t.Rows, []Cell{textCell(string(m.month[:7])), numberCell(m.jobs), numberCell(minutes(m.book)),
			numberCell(minutes(m.expected)), numberCell(minutes(m.actual)), numberCell(basisPoints(m.bookOff / m.many)),
			numberCell(basisPoints(m.tunedOff / m.many))})
	}
	return t
}

func leftOutTable(b *rates.Backtest, lines []jobLine) Table {
	t := Table{
		Name: "left-out", Title: "Jobs that were not scored",
		Columns: []Column{{"job", "Job", FormName}, {"reason", "Why", FormText}},
		Empty:   "Every job was scored.",
	}
	byKey := jobRowsOf(lines)
	for _, job := range b.LeftOut {
		t.Rows = append(t.Rows, []Cell{jobCell(byKey[job]), wordCell("one line is more than six times off: check its " +
			"entries")})
	}
	for _, job := range b.WarmUp {
		t.Rows = append(t.Rows, []Cell{jobCell(byKey[job]), wordCell("too few jobs were finished before its quote")})
	}
	return t
}

func backtestFigures(b *rates.Backtest) []Figure {
	if b.Score.Lines == 0 {
		return nil
	}
	s := b.Score
	calibration := Figure{
		Name: "calibration", Title: phrase("Promised and kept"), Form: FormShare, Shape: ShapeBars,
		Finding: phrase("Of all lines %s were within what four of five should be, and of all jobs %s.",
			ShareText(basisPoints(s.BelowP80)), ShareText(basisPoints(s.JobBelowP80))),
		Categories: []string{"Lines within P80", "Lines within P90", "Jobs within P80", "Jobs within P90"},
		Series: []Series{
			{Name: "Promised", Values: []int64{8_000, 9_000, 8_000, 9_000}},
			{Name: "Kept", Values: []int64{basisPoints(s.BelowP80), basisPoints(s.BelowP90), basisPoints(s.JobBelowP80),
				basisPoints(s.JobBelowP90)}},
		},
	}
	byMonth := Figure{
		Name: "error-by-month", Title: phrase("Error of a line by month of the quote"), Form: FormShare, Shape: ShapeLine,
		Finding: phrase("A line was off by %s with the book and by %s with tuned rates.",
			ShareText(basisPoints(s.MAPEBook)), ShareText(basisPoints(s.MAPE))),
		Series: []Series{{Name: "Book"}, {Name: "Tuned"}},
	}
	for _, m := range months(b) {
		byMonth.Categories = append(byMonth.Categories, string(m.month[:7]))
		byMonth.Series[0].Values = append(byMonth.Series[0].Values, basisPoints(m.bookOff/m.many))
		byMonth.Series[1].Values = append(byMonth.Series[1].Values, basisPoints(m.tunedOff/m.many))
	}
	return []Figure{calibration, byMonth}
}
