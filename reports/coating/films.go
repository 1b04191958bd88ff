package coating

import "math"

// over returns a/b, and 0 where that is no amount: b not above zero, a below
// zero, or either not a number.
func over(a, b float64) float64 {
	q := a / b
	if !(b > 0) || !(a >= 0) || math.IsInf(q, 0) {
		return 0
	}
	return q
}

// Fraction returns hundredths of a per cent, as events hold them, as a fraction
// of one.
func Fraction(basisPoints int64) float64 { return float64(basisPoints) / 10_000 }

// SpreadingRate returns the theoretical spreading rate in m²/l of a coating with
// the given volume solids (0.45 is 45 per cent; ISO 3233, ASTM D2697) at a dry
// film in micrometres. A litre spread one micrometre thick covers 1000 m². It
// returns 0 where there is no film.
func SpreadingRate(volumeSolids, dryFilmUm float64) float64 {
	return over(1000*volumeSolids, dryFilmUm)
}

// SpreadingRateUS is [SpreadingRate] in square feet for a US gallon at a dry film
// in mils. Handbooks round the constant 1604.17 to 1604.
func SpreadingRateUS(volumeSolids, dryFilmMil float64) float64 {
	const cubicInchesPerGallon, squareInchesPerSquareFoot, milsPerInch = 231.0, 144.0, 1000.0
	return over(cubicInchesPerGallon/squareInchesPerSquareFoot*milsPerInch*volumeSolids, dryFilmMil)
}

// WetFilm returns the wet film that dries to dryFilm, in the unit of dryFilm
// (US DoD MIL-HDBK-1110, procedure 13). Use [Thinned] solids for a thinned
// coating. It returns 0 where there are no solids.
func WetFilm(dryFilm, volumeSolids float64) float64 { return over(dryFilm, volumeSolids) }

// DryFilm returns what a wet film dries to, in the unit of wetFilm: the inverse
// of [WetFilm].
func DryFilm(wetFilm, volumeSolids float64) float64 { return over(wetFilm*volumeSolids, 1) }

// VolumeSolids returns the volume solids that a wet and a dry film of the same
// coat tell. It returns 0 where there was no wet film.
func VolumeSolids(dryFilm, wetFilm float64) float64 { return over(dryFilm, wetFilm) }

// Thinned returns the volume solids after thinning with the given volume of
// thinner for one volume of coating: 0.1 is 10 per cent.
func Thinned(volumeSolids, thinner float64) float64 { return over(volumeSolids, 1+thinner) }

// Loss returns the loss that a transfer efficiency leaves. Regulators define the
// efficiency by the weight of solids; taking it by volume, as here, is common
// practice and holds where what is lost has the composition of what is not.
func Loss(transferEfficiency float64) float64 { return 1 - transferEfficiency }

// arrives returns what is left after every loss. A loss outside 0 to 1 is no
// loss that can be, and leaves nothing.
func arrives(losses []float64) float64 {
	left := 1.0
	for _, l := range losses {
		if !(l >= 0 && l <= 1) {
			return 0
		}
		left *= 1 - l
	}
	return left
}

// Practical returns a spreading rate after losses, each a fraction of what the
// losses before it left: 30 and 10 per cent leave 63 of 100, not 60. Pages of
// the trade add losses as often as they multiply them; this project multiplies,
// because two losses of 60 per cent cannot take more than there is.
func Practical(rate float64, losses ...float64) float64 { return over(rate*arrives(losses), 1) }

// ConsumptionFactor returns how many litres must be bought for one that arrives:
// 1 without loss. It returns 0 where nothing arrives.
func ConsumptionFactor(losses ...float64) float64 { return over(1, arrives(losses)) }

// Litres returns the coating that coats of areaM2 need at a spreading rate in
// m²/l. It returns 0 where the rate is 0: that is "not known", not "none".
func Litres(areaM2, coats, rate float64) float64 { return over(areaM2*coats, rate) }

// ImpliedDryFilm returns the mean dry film in micrometres of litres on areaM2:
// the inverse of [SpreadingRate]. Litres are as in the tin, without thinner, and
// only those that reached the surface. It is a figure for control, never an
// acceptance measurement: US DoD MIL-HDBK-1110 9.6.8.4 does not accept even wet
// film readings as proof of thickness.
func ImpliedDryFilm(volumeSolids, areaM2, litres float64) float64 {
	return over(1000*volumeSolids*litres, areaM2)
}

// ReadyToUseVOC returns grams of volatile organic compounds for a litre ready to
// use, from those of the coating and of the thinner and the volume of thinner
// for one of coating. The limits of 2004/42/EC are for this figure.
func ReadyToUseVOC(coating, thinnerVOC, thinner float64) float64 {
	return over(coating+thinner*thinnerVOC, 1+thinner)
}
