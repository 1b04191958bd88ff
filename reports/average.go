package reports

// average is stock at moving weighted average cost: each purchase changes what a
// unit costs, and what is taken leaves it as it is. Value is in ten-thousandths,
// quantity in thousandths of the unit. The method is that of IAS 2, perpetual
// weighted average.
type average struct{ milli, valueE4 int64 }

// buy adds a purchase. Stock below nothing has no cost: then the purchase alone
// says what a unit costs.
func (a *average) buy(milli, costE4 int64) {
	if a.milli < 0 && a.milli+milli > 0 {
		a.valueE4 = ratio(costE4, a.milli+milli, milli)
		a.milli += milli
		return
	}
	a.milli += milli
	if a.milli > 0 {
		a.valueE4 += costE4
	}
}

// take removes an amount at the average; below zero it comes back. What is taken
// beyond the stock is worth nothing here, since its cost is not known.
func (a *average) take(milli int64) {
	if a.milli > 0 {
		a.valueE4 -= ratio(a.valueE4, min(milli, a.milli), a.milli)
	}
	a.milli -= milli
	if a.milli <= 0 {
		a.valueE4 = 0
	}
}

// count sets the stock to what was found, at the average.
func (a *average) count(milli int64) { a.take(a.milli - milli) }

// unitE4 returns what a whole unit costs on average; ok is false without stock.
func (a *average) unitE4() (e4 int64, ok bool) {
	if a.milli <= 0 {
		return 0, false
	}
	return ratio(a.valueE4, 1000, a.milli), true
}
