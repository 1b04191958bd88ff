package rates

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Total is what a whole job will take, in the amount of its lines. It is not
// the sum of safe lines, which would be safer than it says, and it does not take
// the lines for independent, because a bad job is bad on all of them.
type Total struct {
	Book     float64
	Median   float64 // P50
	Expected float64 // sum of the lines' expected amounts
	P10, P80 float64
	P90      float64
	Lines    []Prediction
}

// Total quotes a job. The sum of its lognormal lines, which share the job
// effect, is taken as one lognormal of the same mean and variance (Fenton, IRE
// Trans. Commun. Syst. 8 (1960) 57). A line's normal variance is the one that
// has the line's P90. A job without lines takes nothing.
func (f *Fit) Total(lines []Query) (Total, error) {
	t := Total{Lines: make([]Prediction, len(lines))}
	means, variances := make([]float64, len(lines)), make([]float64, len(lines))
	for k, q := range lines {
		p, err := f.Predict(q)
		if err != nil {
			return Total{}, fmt.Errorf("quote line %d: %w", k+1, err)
		}
		t.Lines[k] = p
		t.Book += p.Book
		t.Expected += p.Expected
		if p.Median > 0 {
			sd := math.Log(p.P90/p.Median) / distuv.UnitNormal.Quantile(.9)
			variances[k] = sd * sd
		}
		means[k] = p.Median * max(f.Smear, math.Exp(variances[k]/2))
	}
	l := sumOfLognormals(means, variances, f.JobSD*f.JobSD)
	if l.mean == math.Inf(-1) {
		return t, nil
	}
	at := func(p float64) float64 { return math.Exp(l.quantile(p)) }
	t.P10, t.Median, t.P80, t.P90 = at(.1), at(.5), at(.8), at(.9)
	return t, nil
}

// sumOfLognormals returns the normal law of the logarithm of a sum of lognormal
// amounts with the given means and variances of logarithms, of which each pair
// shares a factor with variance shared.
func sumOfLognormals(means, variances []float64, shared float64) law {
	var sum, squares, own float64
	for k, m := range means {
		sum += m
		squares += m * m
		own += m * m * math.Expm1(variances[k])
	}
	variance := math.Log1p((own + (sum*sum-squares)*math.Expm1(shared)) / (sum * sum))
	if sum == 0 {
		variance = 0
	}
	return law{mean: math.Log(sum) - variance/2, variance: variance, nu: math.Inf(1)}
}
