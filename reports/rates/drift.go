package rates

import (
	"cmp"
	"math"
	"slices"
)

// Individuals is the chart of single values with its moving ranges: limits at
// three moving-range standard deviations. Source: NIST/SEMATECH e-Handbook of
// Statistical Methods 6.3.2.2.
type Individuals struct {
	Centre     float64
	MeanRange  float64 // of neighbours
	Lower      float64
	Upper      float64
	RangeUpper float64
	Outside    []int // positions of values beyond a limit
}

// NewIndividuals makes the chart. Below two values there are no limits but the
// centre.
func NewIndividuals(x []float64) Individuals {
	const d2, rangeFactor = 1.128, 3.267 // for ranges of two
	var c Individuals
	for i, v := range x {
		c.Centre += v / float64(len(x))
		if i > 0 {
			c.MeanRange += math.Abs(v-x[i-1]) / float64(len(x)-1)
		}
	}
	c.Lower, c.Upper = c.Centre-3*c.MeanRange/d2, c.Centre+3*c.MeanRange/d2
	c.RangeUpper = rangeFactor * c.MeanRange
	for i, v := range x {
		if len(x) > 1 && (v < c.Lower || v > c.Upper) {
			c.Outside = append(c.Outside, i)
		}
	}
	return c
}

// EWMA is the chart of the exponentially weighted mean, which sees small shifts
// early. Source: NIST/SEMATECH e-Handbook 6.3.2.4.
type EWMA struct {
	Points  []float64
	Lower   []float64 // limits widen to their final value
	Upper   []float64
	Outside []int
}

// NewEWMA makes the chart of values with the given centre and standard
// deviation; lambda, 0 to 1, is the weight of the newest (0.2 to 0.3 is usual).
func NewEWMA(x []float64, centre, sd, lambda float64) EWMA {
	var c EWMA
	e, left := centre, 1.0
	for i, v := range x {
		e = lambda*v + (1-lambda)*e
		left *= (1 - lambda) * (1 - lambda)
		width := 3 * sd * math.Sqrt(lambda/(2-lambda)*(1-left))
		c.Points = append(c.Points, e)
		c.Lower, c.Upper = append(c.Lower, centre-width), append(c.Upper, centre+width)
		if math.Abs(e-centre) > width {
			c.Outside = append(c.Outside, i)
		}
	}
	return c
}

// cusum adds up how far values stay above and below zero. Source: NIST/SEMATECH
// e-Handbook 6.3.2.3.
type cusum struct {
	High  []float64
	Low   []float64
	Alarm int // position of the first sum beyond the limit; -1 where there is none
	Start int // where the run that led to the alarm began; -1 without alarm
	Up    bool
}

// The usual settings for standardised values: an alarm after about 10 values
// that are one standard deviation off, and one false alarm in some 465.
const (
	cusumSlack = 0.5
	cusumLimit = 5.0
	cusumMost  = 3.0 // one bad job alone cannot alarm
)

// newCUSUM makes the chart of deviations from the target. Values beyond most
// are taken for most; +Inf takes them as they are.
func newCUSUM(z []float64, slack, limit, most float64) cusum {
	c := cusum{Alarm: -1, Start: -1}
	var high, low float64
	highStart, lowStart := 0, 0
	for i, v := range z {
		v = max(-most, min(most, v))
		if high = max(0, high+v-slack); high == 0 {
			highStart = i + 1
		}
		if low = max(0, low-v-slack); low == 0 {
			lowStart = i + 1
		}
		c.High, c.Low = append(c.High, high), append(c.Low, low)
		switch {
		case c.Alarm >= 0:
		case high > limit:
			c.Alarm, c.Start, c.Up = i, highStart, true
		case low > limit:
			c.Alarm, c.Start = i, lowStart
		}
	}
	return c
}

// Drift is a task whose lines no longer take what history says. It is a reason
// to ask, and to propose a new rate from the day Since on: never to change one
// silently. It cannot be told from learning within one crew.
type Drift struct {
	Task  string
	Lines int
	Since int // day of the first line of the run
	Up    bool
	Mean  float64 // factor of the lines since then against what was expected of them
}

// FindDrift looks for drift in the lines of a [Backtest], task by task in the
// order of the alphabet. Tasks with fewer than 8 lines are passed over.
func FindDrift(lines []BacktestLine) []Drift {
	sorted := slices.Clone(lines)
	slices.SortStableFunc(sorted, func(a, b BacktestLine) int { return cmp.Compare(a.Task, b.Task) })
	var found []Drift
	for len(sorted) > 0 {
		n := 1
		for n < len(sorted) && sorted[n].Task == sorted[0].Task {
			n++
		}
		task := sorted[:n]
		sorted = sorted[n:]
		if n < 8 {
			continue
		}
		z := make([]float64, n)
		for i, l := range task {
			z[i] = l.Z
		}
		c := newCUSUM(z, cusumSlack, cusumLimit, cusumMost)
		if c.Alarm < 0 {
			continue
		}
		var sum float64
		for _, l := range task[c.Start:] {
			sum += math.Log(l.Actual / l.Median)
		}
		found = append(found, Drift{Task: task[0].Task, Lines: n, Since: task[c.Start].Day, Up: c.Up,
			Mean: math.Exp(sum / float64(n-c.Start))})
	}
	return found
}
