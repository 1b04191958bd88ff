package rates

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"
)

// Trend is a straight line through the residuals of one task.
type Trend struct {
	Slope       float64 // change of the logarithm: per doubling for learning, per unit of ln(quantity) for size
	SE          float64 // standard error of Slope
	Rows        int
	Clear       bool    // at least 8 rows and a slope beyond two standard errors: only then it may be shown
	PerDoubling float64 // factor for each doubling; 0.97 is a 97 % learning curve
}

// Learning checks whether a task gets quicker with every doubling of the number
// of lines done, for one crew or, with an empty name, for all. Learning and
// drift cannot be told apart within one crew: a report has to say so.
func (f *Fit) Learning(task, crew string) Trend {
	t := f.trend(task, crew, func(n int, _ float64) float64 { return math.Log2(float64(n)) })
	t.PerDoubling = math.Exp(t.Slope)
	return t
}

// Size checks whether large lines of a task take less per unit than small ones,
// as they do where setting up takes its time.
func (f *Fit) Size(task string) Trend {
	t := f.trend(task, "", func(_ int, quantity float64) float64 { return math.Log(quantity) })
	t.PerDoubling = math.Exp2(t.Slope)
	return t
}

// trend regresses the residuals of a task, in the order of days, on x of the
// count of lines and the quantity, weighted like the fit.
func (f *Fit) trend(task, crew string, x func(n int, quantity float64) float64) Trend {
	if f.core == nil {
		return Trend{}
	}
	type point struct {
		at, day, job int32
		e, w         float64
	}
	var points []point
	if t, ok := f.index.find(LevelTask, 0, task); ok {
		first, crews := f.index.tree.first[depth-1], f.index.history.names[columnCrew]
		lo, hi := f.index.tree.span(LevelTask, t)
		points = make([]point, 0, hi-lo)
		for leaf := f.core.leafOf[t]; leaf < f.core.leafOf[t+1]; leaf++ {
			for i := int(first[leaf]); i < int(first[leaf+1]); i++ {
				r := &f.index.rows[i]
				if crew == "" || r.crew >= 0 && crews[r.crew] == crew {
					e := f.core.y[i] - f.core.nodes[depth-1][leaf].mean
					points = append(points, point{int32(i), r.day, r.job, e, f.core.weight(i)})
				}
			}
		}
	}
	slices.SortFunc(points, func(a, b point) int {
		return cmp.Or(cmp.Compare(a.day, b.day), cmp.Compare(a.job, b.job), cmp.Compare(a.at, b.at))
	})
	xs, es, ws := make([]float64, len(points)), make([]float64, len(points)), make([]float64, len(points))
	for i, p := range points {
		xs[i], es[i], ws[i] = x(i+1, f.index.rows[p.at].quantity), p.e, p.w
	}
	return line(xs, es, ws)
}

// line fits y = a + b x by weighted least squares. Without spread in x, or with
// fewer than three points, there is no slope.
func line(x, y, w []float64) Trend {
	t := Trend{Rows: len(x)}
	if len(x) < 3 {
		return t
	}
	mean := stat.Mean(x, w)
	var xx, ee float64
	for i := range x {
		xx += w[i] * (x[i] - mean) * (x[i] - mean)
	}
	if !(xx > 1e-12) {
		return t
	}
	a, b := stat.LinearRegression(x, y, w, false)
	for i := range x {
		e := y[i] - a - b*x[i]
		ee += w[i] * e * e
	}
	t.Slope, t.SE = b, math.Sqrt(ee/float64(len(x)-2)/xx)
	t.Clear = t.Rows >= 8 && math.Abs(t.Slope) > 2*t.SE
	return t
}
