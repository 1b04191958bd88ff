package measure

import (
	"math"
	"math/big"
)

// This is the only file of the package that divides. Package reports has its own:
// it may import this package, so that this one cannot import it.

// nearest returns a*b/c rounded to the nearest whole number, halves away from
// zero. The product may be beyond int64; a result beyond it is the nearest int64.
// It returns 0 where c is 0.
func nearest(a, b, c int64) int64 {
	if c == 0 {
		return 0
	}
	n, d := product(a, b), big.NewInt(c)
	half := new(big.Int).Rsh(new(big.Int).Abs(d), 1)
	if n.Sign() < 0 {
		half.Neg(half)
	}
	return clamped(n.Quo(n.Add(n, half), d))
}

// whole returns a/(b*c) rounded up to the next whole number, for amounts that are
// bought whole. None is negative; it returns 0 where b or c is 0.
func whole(a, b, c int64) int64 {
	d := product(b, c)
	if d.Sign() <= 0 || a <= 0 {
		return 0
	}
	n := new(big.Int).Add(big.NewInt(a), d)
	return clamped(n.Quo(n.Sub(n, big.NewInt(1)), d))
}

func product(a, b int64) *big.Int { return new(big.Int).Mul(big.NewInt(a), big.NewInt(b)) }

func clamped(n *big.Int) int64 {
	switch {
	case n.IsInt64():
		return n.Int64()
	case n.Sign() < 0:
		return math.MinInt64
	}
	return math.MaxInt64
}

// share returns a*b/c to the nearest multiple of step, halves away from zero, in
// one rounding: rounding twice would turn 0.00495 into 0.01. A
// step below 1 is 1. It returns 0 where c is 0.
func share(a, b, c, step int64) int64 {
	step = max(step, 1)
	return nearest(a, b, c*step) * step
}

// toStep returns n to the nearest multiple of step: 1255 to 10 is 1260.
func toStep(n, step int64) int64 { return share(n, 1, 1, step) }

// areaMilli returns square millimetres in thousandths of a square metre, to the
// nearest multiple of step.
func areaMilli(mm2, step int64) int64 { return share(mm2, 1, 1000, step) }
