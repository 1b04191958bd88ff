package reports

// EarnedValue holds the three figures of earned value management for work with a
// budget, in ten-thousandths of the currency unit. The names are those of the
// trade and of ISO 21508: BAC is the budget at completion, PV the planned value,
// EV the earned value and AC the actual cost. Methods return ok false where their
// figure has no meaning; money is rounded to the nearest ten-thousandth, an index
// to the nearest thousandth, both halves away from zero.
type EarnedValue struct {
	BAC, PV, EV, AC int64
	// Scheduled is true where the work has a planned start and end, without which
	// there is no planned value.
	Scheduled bool
}

// CV is the cost variance: what was earned less what it cost.
func (v EarnedValue) CV() int64 { return v.EV - v.AC }

// SV is the schedule variance: what was earned less what was planned by now.
func (v EarnedValue) SV() (e4 int64, ok bool) { return v.EV - v.PV, v.Scheduled }

// CPI is the cost performance index EV/AC in thousandths.
func (v EarnedValue) CPI() (milli int64, ok bool) { return index(v.EV, v.AC) }

// SPI is the schedule performance index EV/PV in thousandths.
func (v EarnedValue) SPI() (milli int64, ok bool) {
	if !v.Scheduled {
		return 0, false
	}
	return index(v.EV, v.PV)
}

// EACByCPI is the estimate at completion where the rest goes as the work went so
// far: BAC/CPI. CPI is not rounded on the way.
func (v EarnedValue) EACByCPI() (e4 int64, ok bool) {
	return ratio(v.BAC, v.AC, v.EV), v.EV != 0 && v.AC != 0
}

// EACByBudget is the estimate at completion where the rest goes as planned:
// AC + BAC - EV.
func (v EarnedValue) EACByBudget() int64 { return v.AC + v.BAC - v.EV }

// EACByCPIAndSPI is the estimate at completion where being late makes the rest
// dearer as well: AC + (BAC-EV)/(CPI x SPI).
func (v EarnedValue) EACByCPIAndSPI() (e4 int64, ok bool) {
	if !v.Scheduled || v.EV == 0 || v.AC == 0 || v.PV == 0 {
		return 0, false
	}
	return v.AC + ratios([]int64{v.BAC - v.EV, v.AC, v.PV}, []int64{v.EV, v.EV}), true
}

// TCPI is the cost performance that the rest needs so that all of it costs total:
// (BAC-EV)/(total-AC) in thousandths. It has no meaning where nothing of total is
// left.
func (v EarnedValue) TCPI(total int64) (milli int64, ok bool) {
	if total <= v.AC {
		return 0, false
	}
	return index(v.BAC-v.EV, total-v.AC)
}

// earlyBasisPoints is the share of the budget below which CPI says little yet.
// Common practice in earned value management.
const earlyBasisPoints = 2_000

// The ways in which a forecast is made.
const (
	forecastNone     = "no budget"
	forecastByBudget = "the rest as planned"
	forecastByCPI    = "the rest as so far"
)

// Forecast returns what the work is expected to cost in the end, and how that was
// reckoned: early on the rest is taken as planned, and later as it went so far.
func (v EarnedValue) Forecast() (e4 int64, how string) {
	if v.BAC == 0 {
		return v.AC, forecastNone
	}
	if share, _ := BasisPoints(v.EV, v.BAC); share >= earlyBasisPoints {
		if e4, ok := v.EACByCPI(); ok {
			return e4, forecastByCPI
		}
	}
	return v.EACByBudget(), forecastByBudget
}
