package rates

// Share is what is known about a probability: a Beta law. Its zero value is not
// useful; start from a prior such as {1, 1}, which takes every share for equally
// likely.
type Share struct{ A, B float64 }

// After returns the law after n trials of which k were hits (Beta-binomial).
func (s Share) After(k, n int) Share { return Share{s.A + float64(k), s.B + float64(n-k)} }

// Mean returns the expected share, 0 to 1.
func (s Share) Mean() float64 { return s.A / (s.A + s.B) }
