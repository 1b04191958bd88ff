package rates

import (
	"cmp"
	"math"
	"slices"
)

// Use is what one job line used of one product. Nothing used is a legitimate
// answer here: a room whose floor needed no film.
type Use struct {
	Line
	Product   string
	UsedMilli int64 // thousandths of the product's unit, returns taken off
	BookMilli int64 // thousandths of the product's unit per unit of work in the book; 0 where it had none
}

// UseFit is a two-part model: how often nothing is used, and how much where
// something is.
type UseFit struct {
	Positive *Fit // of the rows that used something; its task is product and task

	zeros []taskZeros // in order of task
	all   Share       // of the whole firm
}

type taskZeros struct {
	task  string
	zeros int
	rows  int // with zeros
}

// priorZeros are the imaginary rows with the firm's own share of zeros that
// stand behind each task's.
const priorZeros = 2.0

// taskOfUse makes the first level of the tree for a product: each product on
// each task has a level of its own.
func taskOfUse(product, task string) string { return product + " on " + task }

// FitUse learns consumption like [FitLabour] learns labour, and the share of
// lines that used nothing.
func FitUse(uses []Use, asOf int, o Options) (*UseFit, error) {
	samples := make([]Sample, len(uses))
	for i, u := range uses {
		samples[i] = Sample{Line: u.Line, Minutes: u.UsedMilli, BookMinutesMilli: u.BookMilli}
		samples[i].Task = taskOfUse(u.Product, u.Task)
	}
	positive, err := fitSamples(samples, ofUse, asOf, o)
	if err != nil {
		return nil, err
	}
	f := &UseFit{Positive: positive}
	f.countZeros()
	return f, nil
}

// countZeros counts by task the rows with a quantity and no use.
func (f *UseFit) countZeros() {
	var seen []taskZeros
	for _, e := range f.Positive.Excluded {
		if e.Reason == NotBooked {
			seen = append(seen, taskZeros{task: e.Task, zeros: 1, rows: 1})
		}
	}
	x := f.Positive.index
	for t := range x.tree.count(LevelTask) {
		lo, hi := x.tree.span(LevelTask, t)
		seen = append(seen, taskZeros{task: x.name(LevelTask, t), rows: hi - lo})
	}
	slices.SortStableFunc(seen, func(a, b taskZeros) int { return cmp.Compare(a.task, b.task) })
	f.all = Share{A: 1, B: 1}
	for _, s := range seen {
		f.all = f.all.After(s.zeros, s.rows)
		if n := len(f.zeros); n > 0 && f.zeros[n-1].task == s.task {
			f.zeros[n-1].zeros += s.zeros
			f.zeros[n-1].rows += s.rows
			continue
		}
		f.zeros = append(f.zeros, s)
	}
}

// None returns what is known about the share of lines of a task that use
// nothing of a product.
func (f *UseFit) None(product, task string) Share {
	firm := f.all.Mean()
	s := Share{A: priorZeros * firm, B: priorZeros * (1 - firm)}
	i, ok := slices.BinarySearchFunc(f.zeros, taskOfUse(product, task),
		func(z taskZeros, task string) int { return cmp.Compare(z.task, task) })
	if ok {
		s = s.After(f.zeros[i].zeros, f.zeros[i].rows)
	}
	return s
}

// UsePrediction is the consumption of one line, in units of the product for the
// whole quantity. Percentiles count the lines that use nothing.
type UsePrediction struct {
	None     float64    // probability that nothing is used
	Positive Prediction // where something is used
	Expected float64    // mean, over both
	Median   float64
	P80, P90 float64
}

// Predict quotes one line. q.BookMinutesMilli is the book's use per unit in
// thousandths of the product's unit. It refuses what [Fit.Predict] refuses.
func (f *UseFit) Predict(product string, q Query) (UsePrediction, error) {
	none := f.None(product, q.Task).Mean()
	q.Task = taskOfUse(product, q.Task)
	positive, err := f.Positive.Predict(q)
	if err != nil {
		return UsePrediction{}, err
	}
	l := law{mean: positive.Mean, variance: positive.Variance, nu: positive.Nu}
	at := func(p float64) float64 {
		if p <= none {
			return 0
		}
		return positive.Book * math.Exp(l.quantile((p-none)/(1-none)))
	}
	return UsePrediction{None: none, Positive: positive, Expected: (1 - none) * positive.Expected,
		Median: at(.5), P80: at(.8), P90: at(.9)}, nil
}

// Explain says where the use of a product comes from where it is used, like [Fit.Explain];
// its rates are thousandths of the product's unit.
func (f *UseFit) Explain(product string, q Query) (Explanation, error) {
	q.Task = taskOfUse(product, q.Task)
	return f.Positive.Explain(q)
}
