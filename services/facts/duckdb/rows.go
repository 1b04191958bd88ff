package duckdb

import "slices"

// rows gathers the rows of an answer. Nobody knows how many there will be, and a
// slice that grows one row at a time copies all of them again and again.
type rows[T any] struct {
	full [][]T
	last []T
}

// Rows in the first block and the largest; each is twice as large as the one before.
const (
	blockLeast = 64
	blockMost  = 8192
)

func (r *rows[T]) add(row T) {
	if len(r.last) == cap(r.last) {
		if len(r.last) > 0 {
			r.full = append(r.full, r.last)
		}
		r.last = make([]T, 0, min(max(2*len(r.last), blockLeast), blockMost))
	}
	r.last = append(r.last, row)
}

// all returns the rows in the order in which they came; nil if there are none.
func (r *rows[T]) all() []T {
	if len(r.full) == 0 {
		return r.last
	}
	return slices.Concat(append(r.full, r.last)...)
}
