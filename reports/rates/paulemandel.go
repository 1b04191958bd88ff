package rates

import "math"

// node is one group of the tree while it is fitted. m and v come up from below,
// z, mean and c down from above.
type node struct {
	m, v float64 // own average and its variance
	z    float64 // credibility of the own average, 0 to 1
	mean float64 // estimate: z x m + (1-z) x the group's mean
	c    float64 // variance of the estimate
}

// pauleMandel returns the variance between the children of one level, all
// families together: the t >= 0 at which
//
//	sum (m_j - m_p)^2 / (t + v_j)  +  a0 t0 / t   =   sum (children - 1) + a0
//
// with m_p the mean of a family weighted by 1/(t + v_j). Source: Paule and
// Mandel, J. Res. NBS 87 (1982) 377; a0 imaginary groups of variance t0 keep it
// off zero in small firms. The left side falls, so Newton's method within a
// bracket finds the one root; without a root t is 0. start is a guess. split is the
// first group of each block of groups, and the end.
func pauleMandel(first, split []int32, kids []node, start, a0, t0 float64) float64 {
	free := a0
	for p := range len(first) - 1 {
		free += float64(max(first[p+1]-first[p]-1, 0))
	}
	if a0 == 0 {
		if q, _ := generalisedQ(first, split, kids, 0); q <= free {
			return 0
		}
	}
	t, low, high := start, 0.0, math.Inf(1)
	if !(t > 0) {
		t = max(t0, sigmaFloor)
	}
	for range 200 {
		q, slope := generalisedQ(first, split, kids, t)
		q += a0 * t0 / t
		slope -= a0 * t0 / (t * t)
		if q > free {
			low = t
		} else {
			high = t
		}
		// The step is that of Newton for 1/q, which is nearly straight, and is straight
		// where all v are the same.
		next := t - (q-free)/slope*q/free
		switch {
		case next > low && next < high:
		case math.IsInf(high, 1):
			next = 4 * t
		default:
			next = low + (high-low)/4
		}
		// Newton doubles the digits: after a step this small the error is beyond
		// the last digit that matters.
		if math.Abs(next-t) <= 1e-4*t {
			return next
		}
		t = next
	}
	return t
}

// generalisedQ returns the sum of squares of the equation and its slope in t.
func generalisedQ(first, split []int32, kids []node, t float64) (q, slope float64) {
	if len(split) == 2 {
		return familiesQ(first, kids, t)
	}
	type part struct{ q, slope float64 }
	parts := make([]part, len(split)-1)
	inBlocks(len(parts), func(b int) {
		parts[b].q, parts[b].slope = familiesQ(first[split[b]:split[b+1]+1], kids, t)
	})
	for _, p := range parts {
		q += p.q
		slope += p.slope
	}
	return q, slope
}

// familiesQ does it for one block.
func familiesQ(first []int32, kids []node, t float64) (q, slope float64) {
	for p := range len(first) - 1 {
		family := kids[first[p]:first[p+1]]
		if len(family) < 2 {
			continue // one child says nothing about the spread between children
		}
		shift := family[0].m // against cancellation
		var w1, w1m, w1mm, w2, w2m, w2mm float64
		for k := range family {
			w, m := 1/(t+family[k].v), family[k].m-shift
			wm := w * m
			w1 += w
			w1m += wm
			w1mm += wm * m
			w2 += w * w
			w2m += w * wm
			w2mm += wm * wm
		}
		mean := w1m / w1
		q += w1mm - mean*w1m
		slope -= w2mm - 2*mean*w2m + mean*mean*w2
	}
	return q, slope
}
