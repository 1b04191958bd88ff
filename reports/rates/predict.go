package rates

import (
	"math"

	"daysheet/events"

	"gonum.org/v1/gonum/stat/distuv"
)

// Query is a line to be quoted.
type Query struct {
	Task             string
	Surface          string
	Method           string
	JobType          string
	Crew             string // empty where it is not decided
	QuantityMilli    int64  // thousandths of the task's unit
	BookMinutesMilli int64  // thousandths of a minute per unit; 0 where the book has no rate and history must do
}

// Prediction is what one line will take. Amounts are minutes of labour for the
// whole quantity.
type Prediction struct {
	Book     float64 // by the book, or by the reference where the book has no rate
	Median   float64 // P50, the typical amount
	Expected float64 // mean: what breaks even over many jobs
	P10, P80 float64 // P80 is the safe amount: enough in four of five jobs
	P90      float64
	PerUnit  float64 // median for one unit: the recommended rate
	Level    int     // of the deepest node that is known: 0 firm, 1 task ... 4 job type
	Mean     float64 // logarithm of the median against the book
	Variance float64 // of the logarithm: of the line and of the estimate
	Nu       float64 // degrees of freedom of its t distribution; large is normal
}

// Predict quotes one line. It refuses a quantity or book rate below zero, and a
// line without any reference: no book rate and no history of the task.
func (f *Fit) Predict(q Query) (Prediction, error) {
	at, err := f.locate(q)
	if err != nil {
		return Prediction{}, err
	}
	mean, spread, sigma := f.estimate(at)
	mean += f.shift(at.task()) + f.crewEffect(q.Crew)
	l := newLaw(mean, spread, sigma, f.settings.nu)
	units := float64(q.QuantityMilli) / 1000
	book := units * at.reference
	median := math.Exp(mean)
	high := l.quantile(.9) // and P10 is as far below the mean
	return Prediction{Book: book, Median: book * median, Expected: book * median * f.Smear, PerUnit: at.reference * median,
		P10: book * math.Exp(2*mean-high), P80: book * math.Exp(l.quantile(.8)), P90: book * math.Exp(high),
		Level: at.level, Mean: mean, Variance: l.variance, Nu: l.nu}, nil
}

// place is where a query stands in the tree.
type place struct {
	level     int        // of the deepest known node
	nodes     [depth]int // up to level
	reference float64    // amount per unit that factors are of
}

// task returns the node of the task, below 0 where it is not known.
func (p *place) task() int {
	if p.level < 1 {
		return -1
	}
	return p.nodes[1]
}

// locate walks down the tree as far as the names are known.
func (f *Fit) locate(q Query) (place, error) {
	var at place
	if q.QuantityMilli < 0 || q.QuantityMilli > amountMax {
		return at, events.Refuse("quantity_milli", q.QuantityMilli, "0 to %d", amountMax)
	}
	if q.BookMinutesMilli < 0 || q.BookMinutesMilli > amountMax {
		return at, events.Refuse("book_minutes_milli", q.BookMinutesMilli, "0 to %d", amountMax)
	}
	if f.core != nil {
		for l, name := range [depth]string{"", q.Task, q.Surface, q.Method, q.JobType} {
			if l == 0 {
				continue
			}
			node, ok := f.index.find(l, at.nodes[l-1], name)
			if !ok {
				break
			}
			at.level, at.nodes[l] = l, node
		}
	}
	at.reference = float64(q.BookMinutesMilli) / 1000
	if q.BookMinutesMilli == 0 && at.level >= 1 {
		at.reference = f.index.refs[at.nodes[1]]
	}
	if at.reference == 0 {
		return at, events.Refuse("task", q.Task,
			"use a task with a rate in the book, or one that was measured on finished jobs")
	}
	return at, nil
}

// estimate returns the mean of the logarithm at a place, its variance, and the
// variance scale of a row there. Levels that are not known add their spread.
func (f *Fit) estimate(at place) (mean, spread, sigma float64) {
	if f.core == nil {
		for _, v := range f.settings.t0 {
			spread += v
		}
		return 0, spread, noHistorySD * noHistorySD
	}
	n := &f.core.nodes[at.level][at.nodes[at.level]]
	mean, spread, sigma = n.mean, n.c, f.core.sigma
	for l := at.level + 1; l < depth; l++ {
		spread += f.core.tau[l]
	}
	if at.level >= 1 {
		sigma = f.core.sigmas[at.nodes[1]]
	}
	return mean, spread, sigma
}

// law is the distribution of a new row's logarithm: a t for the row plus a
// normal for the estimate, as one t of the same variance and kurtosis.
type law struct {
	mean     float64
	variance float64
	nu       float64
}

func newLaw(mean, spread, sigma, nu float64) law {
	if math.IsInf(nu, 1) {
		return law{mean: mean, variance: sigma + spread, nu: nu}
	}
	row := sigma * nu / (nu - 2)
	l := law{mean: mean, variance: row + spread}
	kurtosis := 6 / (nu - 4) * (row / l.variance) * (row / l.variance)
	l.nu = 4 + 6/kurtosis
	return l
}

// quantile returns the value that a share p of rows stays below.
func (l law) quantile(p float64) float64 {
	const normal = 1e6 // degrees of freedom from which a t is the normal law to six digits
	if l.nu > normal {
		return l.mean + math.Sqrt(l.variance)*distuv.UnitNormal.Quantile(p)
	}
	scale := math.Sqrt(l.variance * (l.nu - 2) / l.nu)
	return l.mean + scale*distuv.StudentsT{Sigma: 1, Nu: l.nu}.Quantile(p)
}
