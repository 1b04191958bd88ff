package rates

import (
	"math"

	"daysheet/events"
)

// Options of a fit. The zero value is what simulations found best.
type Options struct {
	Nu          float64 // degrees of freedom of a row's error, above 4; +Inf is the normal law. 0 means 5
	PureGroups  bool    // no imaginary groups behind the variances: plain Paule-Mandel
	FlatRoot    bool    // the firm's level is not drawn to the quote book
	PureSigma   bool    // no imaginary rows behind the error variance
	OneSigma    bool    // one error variance for all tasks
	DriftWeight bool    // older rows weigh less: 0.86 after three years
	NoRecent    bool    // leave the recent level out
	Crews       bool    // estimate crews' factors beside the tree
}

// The constants of the method. They are standard deviations of logarithms, so
// 0.25 is about a quarter more or less.
const (
	rootSD       = 0.25 // of a firm's level against its book
	taskSD       = 0.25 // of a task against the firm
	groupSD      = 0.15 // of surface, method and job type against the group above
	recentSD     = 0.05 // of the level of the last months against the history
	noHistorySD  = 0.30 // of one line where nothing is known
	priorGroups  = 2.0  // imaginary groups behind each variance between groups
	priorRows    = 2.0  // imaginary rows behind the firm's error variance
	priorTask    = 10.0 // imaginary rows of the firm's variance behind a task's
	driftSD      = 0.07 // a year, for Options.DriftWeight
	halfLife     = 180  // days, of the recent level
	recentShare  = 0.5  // rows of one job move together: two count as one
	leastWeight  = 1e-9
	slipLog      = 1.6 // five times what was expected
	crewVariance = 0.08 * 0.08
	crewSweeps   = 3
	sigmaFloor   = 1e-10
)

// settings are the numbers behind [Options], for a tree of any depth.
type settings struct {
	nu         float64
	a0         float64   // imaginary groups
	t0         []float64 // prior variance by level; 0 is the root's
	flatRoot   bool
	sigmaRows  float64 // imaginary rows of variance sigmaPrior
	sigmaPrior float64
	oneSigma   bool
	tolerance  float64
	rounds     int

	driftWeight, noRecent, crews bool // see [Options]
}

func (o Options) settings() (settings, error) {
	s := settings{nu: 5, a0: priorGroups, flatRoot: o.FlatRoot, sigmaRows: priorRows,
		sigmaPrior: noHistorySD * noHistorySD, oneSigma: o.OneSigma, tolerance: 1e-5, rounds: 60,
		driftWeight: o.DriftWeight, noRecent: o.NoRecent, crews: o.Crews,
		t0: []float64{rootSD * rootSD, taskSD * taskSD, groupSD * groupSD, groupSD * groupSD, groupSD * groupSD}}
	if o.Nu != 0 {
		s.nu = o.Nu
	}
	if !(s.nu > 4) {
		return s, events.Refuse("nu", s.nu, "above 4, or +Inf for the normal law: the kurtosis must exist")
	}
	if o.PureGroups {
		s.a0 = 0
	}
	if o.PureSigma {
		s.sigmaRows = 0
	}
	return s, nil
}

// recent is the same for the recent level: firm > task, on residuals.
func (s settings) recent() settings {
	s.t0 = []float64{recentSD * recentSD, recentSD * recentSD}
	s.flatRoot = false
	return s
}

// recentWeight halves every [halfLife] days.
func recentWeight(age int) float64 {
	return max(leastWeight, recentShare*math.Exp2(-float64(max(age, 0))/halfLife))
}

// driftWeight is what is left of a row's information when its task drifts.
func driftWeight(age int) float64 {
	return 1 / (1 + driftSD*driftSD*float64(max(age, 0))/365.25/(noHistorySD*noHistorySD))
}
