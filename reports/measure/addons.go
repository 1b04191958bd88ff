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
