package rates

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"sync"
)

// BacktestOptions say how to backtest.
type BacktestOptions struct {
	Fit      Options
	WarmUp   int                   // finished jobs that a quote needs before it is scored. 0 means 8
	Progress func(done, total int) // called after each job, one call at a time; nil where nobody looks
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
	h, err := newHistory(samples, ofLabour)
	if err != nil {
		return nil, err
	}
	set, err := o.Fit.settings()
	if err != nil {
		return nil, err
	}
	q := quoter{history: h, set: set, warmUp: cmp.Or(o.WarmUp, 8), book: newBookSpread(set)}
	jobs := h.jobsByQuote()
	days := quoteDays(jobs)
	failed := make([]error, len(days))
	var done progress
	inBlocks(len(days), func(d int) {
		if failed[d] = ctx.Err(); failed[d] != nil {
			failed[d] = fmt.Errorf("backtest job %q: %w", days[d][0].name(h), failed[d])
			return
		}
		failed[d] = q.quoteDay(days[d], func() { done.add(len(jobs), o.Progress) })
	})
	if err := cmp.Or(failed...); err != nil {
		return nil, err
	}
	b := &Backtest{}
	for i := range jobs {
		b.take(&jobs[i], jobs[i].name(h))
	}
	b.Score = score(b.Jobs)
	b.Score.LeftOut = len(b.LeftOut)
	return b, nil
}

// progress counts the jobs that are done.
type progress struct {
	sync.Mutex
	done int
}

func (p *progress) add(total int, tell func(done, total int)) {
	p.Lock()
	defer p.Unlock()
	if p.done++; tell != nil {
		tell(p.done, total)
	}
}

// quotedJob is a job with its samples, and what came of its quote.
type quotedJob struct {
	code    int32
	quoted  int
	order   []int32 // of its samples in the history
	early   bool    // quoted before there was enough history
	leftOut bool
	result  *BacktestJob // nil where nothing could be quoted
}

func (j *quotedJob) name(h *history) string { return h.names[columnJob][j.code] }

// jobsByQuote returns the jobs in the order of quotes, and of their keys within a day.
func (h *history) jobsByQuote() []quotedJob {
	jobs := make([]quotedJob, len(h.names[columnJob]))
	for code := range jobs {
		jobs[code] = quotedJob{code: int32(code), quoted: math.MaxInt}
	}
	for _, i := range h.order {
		s, j := &h.samples[i], &jobs[h.entries[i].code[columnJob]]
		j.order = append(j.order, i)
		j.quoted = min(j.quoted, cmp.Or(s.QuotedDay, s.Day))
	}
	slices.SortStableFunc(jobs, func(a, b quotedJob) int { return cmp.Compare(a.quoted, b.quoted) })
	return jobs
}

// quoteDays cuts jobs into those of each day, which are quoted from one fit.
func quoteDays(jobs []quotedJob) (days [][]quotedJob) {
	for len(jobs) > 0 {
		n := 1
		for n < len(jobs) && jobs[n].quoted == jobs[0].quoted {
			n++
		}
		days = append(days, jobs[:n])
		jobs = jobs[n:]
	}
	return days
}

// quoter quotes jobs from the history before them.
type quoter struct {
	history *history
	set     settings
	warmUp  int
	book    bookSpread
}

// bookSpread is P10, P80 and P90 of a firm without history, as factors of the book.
type bookSpread struct{ low, safe, high float64 }

func newBookSpread(set settings) bookSpread {
	var before float64
	for _, v := range set.t0 {
		before += v
	}
	l := newLaw(0, before, noHistorySD*noHistorySD, set.nu)
	return bookSpread{math.Exp(l.quantile(.1)), math.Exp(l.quantile(.8)), math.Exp(l.quantile(.9))}
}

// quoteDay quotes the jobs of one day, and calls done after each.
func (q *quoter) quoteDay(jobs []quotedJob, done func()) error {
	day := jobs[0].quoted
	f := fit(q.history, day-1, day, q.set)
	for i := range jobs {
		if f.Jobs < q.warmUp {
			jobs[i].early = true
		} else if err := q.quote(f, &jobs[i]); err != nil {
			return err
		}
		done()
	}
	return nil
}

// quote quotes one job and puts it beside what it took. Lines that are no
// samples, or that neither book nor history knows, cannot be quoted.
func (q *quoter) quote(f *Fit, job *quotedJob) error {
	x := newIndex(q.history, job.order)
	j := BacktestJob{Job: job.name(q.history), Quoted: job.quoted}
	var queries []Query
	for i := range x.rows {
		r := &x.rows[i]
		s := x.first(r)
		query := Query{Task: s.Task, Surface: s.Surface, Method: s.Method, JobType: s.JobType, Crew: s.Crew,
			QuantityMilli: int64(math.Round(r.quantity * 1000)), BookMinutesMilli: s.BookMinutesMilli}
		if _, err := f.locate(query); err != nil {
			continue
		}
		queries = append(queries, query)
		line := s.Line
		line.QuantityMilli, line.Day = query.QuantityMilli, int(r.day)
		j.Lines = append(j.Lines, BacktestLine{Line: line, Actual: r.taken})
		j.Actual += r.taken
	}
	if len(queries) == 0 {
		return nil
	}
	var err error
	if j.Total, err = f.Total(queries); err != nil {
		return fmt.Errorf("backtest job %q: %w", j.Job, err)
	}
	for k := range j.Lines {
		l := &j.Lines[k]
		l.Prediction = j.Total.Lines[k]
		l.BookP10, l.BookP80, l.BookP90 = l.Book*q.book.low, l.Book*q.book.safe, l.Book*q.book.high
		off := math.Log(l.Actual / l.Median)
		if math.Abs(off) > leftOutLog {
			job.leftOut = true
			return nil
		}
		l.Z = off / math.Sqrt(l.Variance)
	}
	job.result = &j
	return nil
}

// take adds what came of a job's quote.
func (b *Backtest) take(j *quotedJob, name string) {
	switch {
	case j.early:
		b.WarmUp = append(b.WarmUp, name)
	case j.leftOut:
		b.LeftOut = append(b.LeftOut, name)
	case j.result != nil:
		b.Jobs = append(b.Jobs, *j.result)
	}
}

// Lines returns every scored line in the order of quotes, for [FindDrift].
func (b *Backtest) Lines() []BacktestLine {
	var lines []BacktestLine
	for _, j := range b.Jobs {
		lines = append(lines, j.Lines...)
	}
	return lines
}
