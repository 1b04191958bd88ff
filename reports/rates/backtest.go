package rates

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
)

// BacktestOptions say how to backtest.
type BacktestOptions struct {
	Fit      Options
	WarmUp   int                   // finished jobs that a quote needs before it is scored. 0 means 8
	Progress func(done, total int) // called after each job; nil where nobody looks
}

// BacktestLine is one line as it would have been quoted on its day, beside what
// it took. Amounts are minutes.
type BacktestLine struct {
	Line
	Actual float64
	Prediction
	BookP10, BookP80, BookP90 float64 // of the book with the spread of a firm without history
	Z                         float64 // how many standard deviations the logarithm was off
}

// BacktestJob is the total of a job.
type BacktestJob struct {
	Job    string
	Quoted int // day of the quote
	Actual float64
	Total
	Lines []BacktestLine
}

// Backtest is a rolling-origin test: each job is quoted from the jobs that were
// finished before its quote, in the order of days, and then compared with what
// it took.
type Backtest struct {
	Jobs    []BacktestJob
	LeftOut []string // jobs with a line more than six times off, which is an entry to be checked
	WarmUp  []string // jobs quoted before there was enough history
	Score   Score
}

// leftOutLog is the logarithm beyond which an entry is taken for a slip.
const leftOutLog = 1.8

// RunBacktest tests the method on a firm's own jobs. It refuses what
// [FitLabour] refuses, and stops with ctx.
func RunBacktest(ctx context.Context, samples []Sample, o BacktestOptions) (*Backtest, error) {
	warmUp := cmp.Or(o.WarmUp, 8)
	byDay := slices.Clone(samples)
	slices.SortStableFunc(byDay, func(a, b Sample) int { return cmp.Compare(a.Day, b.Day) })
	jobs := jobsByQuote(samples)
	b := &Backtest{}
	for n, job := range jobs {
		if err := ctx.Err(); err != nil {
			return nil, fmt.Errorf("backtest job %q: %w", job.name, err)
		}
		end, _ := slices.BinarySearchFunc(byDay, job.quoted, func(s Sample, day int) int { return cmp.Compare(s.Day, day) })
		f, err := FitLabour(byDay[:end], job.quoted, o.Fit)
		if err != nil {
			return nil, err
		}
		if f.Jobs < warmUp {
			b.WarmUp = append(b.WarmUp, job.name)
		} else if err := b.quote(f, job); err != nil {
			return nil, err
		}
		if o.Progress != nil {
			o.Progress(n+1, len(jobs))
		}
	}
	b.Score = score(b.Jobs)
	b.Score.LeftOut = len(b.LeftOut)
	return b, nil
}

// quotedJob is a job with its samples.
type quotedJob struct {
	name    string
	quoted  int
	samples []Sample
}

// jobsByQuote groups samples by job, in the order of quotes.
func jobsByQuote(samples []Sample) []quotedJob {
	sorted := slices.Clone(samples)
	slices.SortStableFunc(sorted, func(a, b Sample) int { return cmp.Compare(a.Job, b.Job) })
	var jobs []quotedJob
	for len(sorted) > 0 {
		n := 1
		for n < len(sorted) && sorted[n].Job == sorted[0].Job {
			n++
		}
		j := quotedJob{name: sorted[0].Job, quoted: math.MaxInt, samples: sorted[:n:n]}
		for _, s := range j.samples {
			j.quoted = min(j.quoted, cmp.Or(s.QuotedDay, s.Day))
		}
		jobs = append(jobs, j)
		sorted = sorted[n:]
	}
	slices.SortStableFunc(jobs, func(a, b quotedJob) int { return cmp.Compare(a.quoted, b.quoted) })
	return jobs
}

// quote quotes one job and puts it beside what it took. Lines that are no
// samples, or that neither book nor history knows, cannot be quoted.
func (b *Backtest) quote(f *Fit, job quotedJob) error {
	h, err := newHistory(job.samples, ofLabour)
	if err != nil {
		return err
	}
	x := newIndex(h, math.MaxInt)
	j := BacktestJob{Job: job.name, Quoted: job.quoted}
	var queries []Query
	var actual []float64
	for _, r := range x.rows {
		s := x.first(&r)
		q := Query{Task: s.Task, Surface: s.Surface, Method: s.Method, JobType: s.JobType, Crew: s.Crew,
			QuantityMilli: int64(math.Round(r.quantity * 1000)), BookMinutesMilli: s.BookMinutesMilli}
		if _, err := f.locate(q); err != nil {
			continue
		}
		queries, actual = append(queries, q), append(actual, r.taken)
		line := s.Line
		line.QuantityMilli, line.Day = q.QuantityMilli, int(r.day)
		j.Lines = append(j.Lines, BacktestLine{Line: line, Actual: r.taken})
		j.Actual += r.taken
	}
	if len(queries) == 0 {
		return nil
	}
	if j.Total, err = f.Total(queries); err != nil {
		return fmt.Errorf("backtest job %q: %w", job.name, err)
	}
	var before float64
	for _, v := range f.settings.t0 {
		before += v
	}
	book := newLaw(0, before, noHistorySD*noHistorySD, f.settings.nu)
	low, safe, high := math.Exp(book.quantile(.1)), math.Exp(book.quantile(.8)), math.Exp(book.quantile(.9))
	for k := range j.Lines {
		l := &j.Lines[k]
		l.Prediction = j.Total.Lines[k]
		l.BookP10, l.BookP80, l.BookP90 = l.Book*low, l.Book*safe, l.Book*high
		off := math.Log(actual[k] / l.Median)
		if math.Abs(off) > leftOutLog {
			b.LeftOut = append(b.LeftOut, job.name)
			return nil
		}
		l.Z = off / math.Sqrt(l.Variance)
	}
	b.Jobs = append(b.Jobs, j)
	return nil
}

// Lines returns every scored line in the order of quotes, for [FindDrift].
func (b *Backtest) Lines() []BacktestLine {
	var lines []BacktestLine
	for _, j := range b.Jobs {
		lines = append(lines, j.Lines...)
	}
	return lines
}
