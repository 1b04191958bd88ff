package rates

import "math"

// Score says how good quotes were. Shares and errors are fractions: 0.3 is 30 %.
type Score struct {
	Jobs    int
	Lines   int
	LeftOut int  // jobs
	Few     bool // under 20 jobs: the figures say little

	MAPE       float64 // mean absolute error of the median, as a share of the actual amount
	MAPEBook   float64
	BiasMedian float64 // sum of medians over sum of actuals, less 1; below 0 is quoted too low
	Bias       float64 // the same for expected amounts
	BiasBook   float64

	Within80 float64 // share of lines within P10 to P90; should be 0.8
	BelowP80 float64
	BelowP90 float64

	Pinball     [3]float64 // at P50, P80 and P90 of the factor against the book; less is better
	PinballBook [3]float64
	Skill       [3]float64 // 1 - pinball/PinballBook: the share of the book's loss that is saved

	JobBelowP80 float64 // share of jobs within their total's P80
	JobBelowP90 float64

	// Gain is the mean over jobs of the book's P50 loss less the model's, with its
	// standard error: jobs are independent, lines of one job are not.
	Gain, GainSE float64
}

// pinball returns the loss of a forecast of the quantile p of actual: p for
// each unit too low, 1-p for each unit too high (Koenker and Bassett 1978).
func pinball(p, actual, forecast float64) float64 {
	if actual >= forecast {
		return p * (actual - forecast)
	}
	return (1 - p) * (forecast - actual)
}

func score(jobs []BacktestJob) Score {
	s := Score{Jobs: len(jobs), Few: len(jobs) < 20}
	var actual, median, expected, book float64
	gains := make([]float64, len(jobs))
	for k := range jobs {
		j := &jobs[k]
		for i := range j.Lines {
			l := &j.Lines[i]
			s.Lines++
			s.MAPE += math.Abs(l.Median/l.Actual - 1)
			s.MAPEBook += math.Abs(l.Book/l.Actual - 1)
			s.Within80 += one(l.P10 <= l.Actual && l.Actual <= l.P90)
			s.BelowP80 += one(l.Actual <= l.P80)
			s.BelowP90 += one(l.Actual <= l.P90)
			for q, p := range []float64{.5, .8, .9} {
				s.Pinball[q] += pinball(p, l.Actual/l.Book, []float64{l.Median, l.P80, l.P90}[q]/l.Book)
				s.PinballBook[q] += pinball(p, l.Actual/l.Book, []float64{l.Book, l.BookP80, l.BookP90}[q]/l.Book)
			}
			gain := pinball(.5, l.Actual, l.Book) - pinball(.5, l.Actual, l.Median)
			gains[k] += gain / l.Book / float64(len(j.Lines))
			actual, median, expected, book = actual+l.Actual, median+l.Median, expected+l.Expected, book+l.Book
		}
		s.JobBelowP80 += one(j.Actual <= j.P80)
		s.JobBelowP90 += one(j.Actual <= j.P90)
	}
	if s.Lines == 0 {
		return s
	}
	lines, n := float64(s.Lines), float64(s.Jobs)
	for _, share := range []*float64{&s.MAPE, &s.MAPEBook, &s.Within80, &s.BelowP80, &s.BelowP90} {
		*share /= lines
	}
	for q := range s.Pinball {
		s.Pinball[q] /= lines
		s.PinballBook[q] /= lines
		if s.PinballBook[q] > 0 {
			s.Skill[q] = 1 - s.Pinball[q]/s.PinballBook[q]
		}
	}
	s.BiasMedian, s.Bias, s.BiasBook = median/actual-1, expected/actual-1, book/actual-1
	s.JobBelowP80 /= n
	s.JobBelowP90 /= n
	s.Gain, s.GainSE = meanAndSE(gains)
	return s
}

func one(yes bool) float64 {
	if yes {
		return 1
	}
	return 0
}

// meanAndSE returns the mean and its standard error; 0 below two values.
func meanAndSE(x []float64) (mean, se float64) {
	n := float64(len(x))
	for _, v := range x {
		mean += v / n
	}
	if len(x) < 2 {
		return mean, 0
	}
	for _, v := range x {
		se += (v - mean) * (v - mean)
	}
	return mean, math.Sqrt(se / (n - 1) / n)
}
