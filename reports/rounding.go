package reports

import (
	"math"
	"math/big"
)

// This is the only file of the project that divides amounts. Every function
// says how it rounds and what nothing divided by nothing means.

// ratio returns a*b/c rounded to the nearest whole number, halves away from
// zero. The product may be beyond int64; a result beyond int64 is the nearest
// int64, so that an absurd amount looks absurd and never changes its sign. It
// returns 0 where c is 0.
func ratio(a, b, c int64) int64 {
	if c == 0 {
		return 0
	}
	if p := a * b; a == 0 || (p/a == b && p > -1<<61 && p < 1<<61) && c < 1<<61 && c > -1<<61 {
		return divide(p, c)
	}
	return rounded(new(big.Int).Mul(big.NewInt(a), big.NewInt(b)), big.NewInt(c))
}

// ratios returns the product of over divided by the product of under, rounded as
// [ratio] does, and 0 where under is 0.
func ratios(over, under []int64) int64 {
	product := func(factors []int64) *big.Int {
		p := big.NewInt(1)
		for _, f := range factors {
			p.Mul(p, big.NewInt(f))
		}
		return p
	}
	d := product(under)
	if d.Sign() == 0 {
		return 0
	}
	return rounded(product(over), d)
}

// rounded returns n/d rounded to the nearest int64, halves away from zero; d is
// not 0. It changes both.
func rounded(n, d *big.Int) int64 {
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
	switch n.Quo(n, d); {
	case n.IsInt64():
		return n.Int64()
	case n.Sign() < 0:
		return math.MinInt64
	}
	return math.MaxInt64
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

// labourCostE4 returns what minutes cost at a rate per hour, to the nearest
// ten-thousandth of the currency unit.
func labourCostE4(minutes, costPerHourE4 int64) int64 { return ratio(minutes, costPerHourE4, 60) }

// MaterialCostE4 returns what quantityMilli costs where perMilli costs costE4.
func MaterialCostE4(quantityMilli, costE4, perMilli int64) int64 {
	return ratio(quantityMilli, costE4, perMilli)
}

// shareE4 returns basisPoints hundredths of a per cent of costE4, to the nearest
// ten-thousandth of the currency unit.
func shareE4(costE4, basisPoints int64) int64 { return ratio(costE4, basisPoints, 10_000) }

// BasisPoints returns part as hundredths of a per cent of whole. ok is false
// where whole is 0 and the share has no meaning.
func BasisPoints(part, whole int64) (points int64, ok bool) {
	if whole == 0 {
		return 0, false
	}
	return ratio(part, 10_000, whole), true
}

// index returns a over b in thousandths. ok is false where b is 0.
func index(a, b int64) (milli int64, ok bool) {
	if b == 0 {
		return 0, false
	}
	return ratio(a, 1000, b), true
}

// priceByMarkUp returns the price that adds basisPoints of costE4 to it.
func priceByMarkUp(costE4, basisPoints int64) int64 { return costE4 + shareE4(costE4, basisPoints) }

// priceByMargin returns the price of which basisPoints are left after costE4:
// cost/(1-margin). It returns 0 where nothing of the price is left for the cost.
func priceByMargin(costE4, basisPoints int64) int64 {
	if basisPoints >= 10_000 {
		return 0
	}
	return ratio(costE4, 10_000, 10_000-basisPoints)
}

// minutesPerUnitMilli returns thousandths of a minute per whole unit of work.
// ok is false where no quantity was measured.
func minutesPerUnitMilli(minutes, quantityMilli int64) (milli int64, ok bool) {
	if quantityMilli == 0 {
		return 0, false
	}
	return ratio(minutes, 1_000_000, quantityMilli), true
}

// split returns how many whole parts are in n, and the rest, both towards zero
// and both with the sign of n: -90 minutes are -1 hour and -30 minutes. It
// rounds nothing. part is greater than 0.
func split(n, part int64) (whole, rest int64) { return n / part, n % part }

// shorten returns n in parts of the given size, to the nearest whole part,
// halves away from zero: 12 345 ten-thousandths are 123 hundredths. part is
// greater than 0.
func shorten(n, part int64) int64 { return ratio(n, 1, part) }
