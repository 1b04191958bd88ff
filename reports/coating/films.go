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

// WetFilm returns the wet film that dries to dryFilm, in the unit of dryFilm
// (US DoD MIL-HDBK-1110, procedure 13). Use [Thinned] solids for a thinned
// coating. It returns 0 where there are no solids.
func WetFilm(dryFilm, volumeSolids float64) float64 { return over(dryFilm, volumeSolids) }

// DryFilm returns what a wet film dries to, in the unit of wetFilm: the inverse
// of [WetFilm].
func DryFilm(wetFilm, volumeSolids float64) float64 { return over(wetFilm*volumeSolids, 1) }

// Thinned returns the volume solids after thinning with the given volume of
// thinner for one volume of coating: 0.1 is 10 per cent.
func Thinned(volumeSolids, thinner float64) float64 { return over(volumeSolids, 1+thinner) }

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

// ImpliedDryFilm returns the mean dry film in micrometres of litres on areaM2:
// the inverse of [SpreadingRate]. Litres are as in the tin, without thinner, and
// only those that reached the surface. It is a figure for control, never an
// acceptance measurement: US DoD MIL-HDBK-1110 9.6.8.4 does not accept even wet
// film readings as proof of thickness.
func ImpliedDryFilm(volumeSolids, areaM2, litres float64) float64 {
	return over(1000*volumeSolids*litres, areaM2)
}
