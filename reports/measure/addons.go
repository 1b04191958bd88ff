package measure

import "daysheet/events"

// Added is one add-on with what it came to.
type Added struct {
	AddOn    events.AddOn
	AmountE4 int64
	SumE4    int64 // cost and every add-on up to this one
}

// AddOns adds named shares to a cost, in order. An add-on that is compounded is
// taken of the sum before it, any other of the cost alone: 10 and 10 per cent are
// 21 per cent compounded and 20 if not. Each amount is rounded to a multiple of
// stepE4, halves away from zero, so that what is shown adds up: 100 for hundredths
// of the currency unit, 1 for as exact as can be.
func AddOns(costE4, stepE4 int64, addOns []events.AddOn) (sumE4 int64, added []Added) {
	sumE4 = costE4
	for _, a := range addOns {
		of := costE4
		if a.Compounded {
			of = sumE4
		}
		amount := share(of, a.BasisPoints, 10_000, stepE4)
		sumE4 += amount
		added = append(added, Added{AddOn: a, AmountE4: amount, SumE4: sumE4})
	}
	return sumE4, added
}

// VATOn returns the tax on a price without it, to the nearest multiple of stepE4.
func VATOn(netE4, basisPoints, stepE4 int64) int64 {
	return share(netE4, basisPoints, 10_000, stepE4)
}

// VATIn returns the tax that stands in a price with it: of 120 at 20 per cent it
// is 20, not 24.
func VATIn(grossE4, basisPoints, stepE4 int64) int64 {
	return share(grossE4, basisPoints, 10_000+basisPoints, stepE4)
}

// VATOfPrice returns the tax on a price without it where the law states the rate
// as a share of the price with it, as some public schedules do: net × r/(1-r). It
// returns 0 for a share of the whole price or more.
func VATOfPrice(netE4, basisPoints, stepE4 int64) int64 {
	if basisPoints >= 10_000 {
		return 0
	}
	return share(netE4, basisPoints, 10_000-basisPoints, stepE4)
}

// PerUnitE4 returns what one whole unit costs where quantityMilli cost totalE4, to
// the nearest ten-thousandth. ok is false where there is no quantity.
func PerUnitE4(totalE4, quantityMilli int64) (e4 int64, ok bool) {
	return nearest(totalE4, 1000, quantityMilli), quantityMilli != 0
}
