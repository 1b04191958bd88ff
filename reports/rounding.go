package reports

import "math/big"

// This is the only file of the project that divides amounts. Every function
// says how it rounds and what nothing divided by nothing means.

// ratio returns a*b/c rounded to the nearest whole number, halves away from
// zero. The product may be beyond int64. It returns 0 where c is 0.
func ratio(a, b, c int64) int64 {
	if c == 0 {
		return 0
	}
	if p := a * b; a == 0 || (p/a == b && p > -1<<61 && p < 1<<61) && c < 1<<61 && c > -1<<61 {
		return divide(p, c)
	}
	n := new(big.Int).Mul(big.NewInt(a), big.NewInt(b))
	d := big.NewInt(c)
	if d.Sign() < 0 {
		n.Neg(n)
		d.Neg(d)
	}
	half := new(big.Int).Rsh(d, 1)
	if n.Sign() < 0 {
		n.Sub(n, half)
	} else {
		n.Add(n, half)
	}
	return n.Quo(n, d).Int64()
}

// divide returns n/d rounded to nearest, halves away from zero; d is not 0.
func divide(n, d int64) int64 {
	if d < 0 {
		n, d = -n, -d
	}
	if n < 0 {
		return -((-n + d/2) / d)
	}
	return (n + d/2) / d
}

// LabourCostE4 returns what minutes cost at a rate per hour, to the nearest
// ten-thousandth of the currency unit.
func LabourCostE4(minutes, costPerHourE4 int64) int64 { return ratio(minutes, costPerHourE4, 60) }

// MaterialCostE4 returns what quantityMilli costs where perMilli costs costE4.
func MaterialCostE4(quantityMilli, costE4, perMilli int64) int64 {
	return ratio(quantityMilli, costE4, perMilli)
}

// BasisPoints returns part as hundredths of a per cent of whole. ok is false
// where whole is 0 and the share has no meaning.
func BasisPoints(part, whole int64) (points int64, ok bool) {
	if whole == 0 {
		return 0, false
	}
	return ratio(part, 10_000, whole), true
}

// MinutesPerUnitMilli returns thousandths of a minute per whole unit of work.
// ok is false where no quantity was measured.
func MinutesPerUnitMilli(minutes, quantityMilli int64) (milli int64, ok bool) {
	if quantityMilli == 0 {
		return 0, false
	}
	return ratio(minutes, 1_000_000, quantityMilli), true
}
