package rates

import "gonum.org/v1/gonum/stat/distuv"

// Share is what is known about a probability: a Beta law. Its zero value is not
// useful; start from a prior such as {1, 1}, which takes every share for equally
// likely.
type Share struct{ A, B float64 }

// After returns the law after n trials of which k were hits (Beta-binomial).
func (s Share) After(k, n int) Share { return Share{s.A + float64(k), s.B + float64(n-k)} }

// Mean returns the expected share, 0 to 1.
func (s Share) Mean() float64 { return s.A / (s.A + s.B) }

// Quantile returns the share that lies below with probability p, which is
// between 0 and 1.
func (s Share) Quantile(p float64) float64 {
	return distuv.Beta{Alpha: s.A, Beta: s.B}.Quantile(p)
}
