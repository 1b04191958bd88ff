package rates

import (
	"cmp"
	"math"
	"slices"
)

// depth is the number of levels: firm, task, surface, method, job type.
const depth = 5

// row is the work of one job in one cell of the tree.
type row struct {
	at       int32 // place of its first sample in [index.order]
	samples  int32 // it has: they follow
	job      int32
	day      int32
	crew     int32
	noBook   bool
	quantity float64 // units
	taken    float64 // minutes, or units of a product
	expected float64 // taken, if the book were right
}

// index is the samples that count as rows in the order of the tree.
type index struct {
	history  *history
	order    []int32 // of the samples; see [history.order]
	tree     *tree
	rows     []row
	codes    [depth][]int32 // of the names of nodes
	refs     []float64      // by task: taken per unit where the book has no rate; 0 where it is not needed
	excluded []Excluded
}

// newIndex merges the samples of an order, which becomes its own.
func newIndex(h *history, order []int32) *index {
	x := &index{history: h, order: order}
	level := x.fill()
	b := newTreeBuilder(depth, len(x.order))
	differs := uint8(0) // the first column in which a row differs from the last one kept
	kept := x.rows[:0]
	for i := 0; i < len(x.order); {
		differs = min(differs, level[i])
		r, end := &x.rows[i], i+1
		for end < len(x.order) && level[end] == columns {
			end++
		}
		if end > i+1 {
			x.merge(r, x.order[i:end])
		}
		if r.quantity > 0 && r.taken > 0 {
			b.row(int(differs))
			kept = append(kept, *r)
			differs = columns
		} else if r.quantity > 0 || r.taken > 0 {
			x.excluded = append(x.excluded, h.excluded(x.order[i:end]))
		}
		i = end
	}
	x.rows, x.tree = kept, b.done()
	x.nameNodes()
	x.refer()
	return x
}

// fill makes a row of each sample, and returns the first column in which it differs
// from the one before; columns where it is of the same job and cell.
func (x *index) fill() (level []uint8) {
	h, order := x.history, x.order
	x.rows, level = make([]row, len(order)), make([]uint8, len(order))
	inRows(len(order), func(_, lo, hi int) {
		for k := lo; k < hi; k++ {
			e := &h.entries[order[k]]
			x.rows[k] = e.row(k, h.unit)
			if k > 0 {
				before, c := &h.entries[order[k-1]], LevelTask
				for c < columns && e.code[c] == before.code[c] {
					c++
				}
				level[k] = uint8(c)
			}
		}
	})
	return level
}

// row is a sample as a row of its own.
func (e *entry) row(at int, unit float64) row {
	r := row{at: int32(at), samples: 1, job: e.code[columnJob], crew: e.code[columnCrew], day: e.day,
		noBook: e.book == 0 && e.quantity > 0, quantity: float64(e.quantity) / 1000, taken: float64(e.minutes) * unit}
	r.expected = r.quantity * float64(e.book) / 1000
	return r
}

// merge makes one row of one job's samples in one cell, because they are not
// independent. r is that of the first, and keeps its place. It sorts the group, so
// that the order in which samples come does not count.
func (x *index) merge(r *row, group []int32) {
	h := x.history
	slices.SortFunc(group, func(a, b int32) int {
		s, t := &h.samples[a], &h.samples[b]
		return cmp.Or(cmp.Compare(s.Day, t.Day), cmp.Compare(s.firstEvent(), t.firstEvent()),
			cmp.Compare(s.QuantityMilli, t.QuantityMilli), cmp.Compare(s.Minutes, t.Minutes),
			cmp.Compare(s.BookMinutesMilli, t.BookMinutesMilli))
	})
	var quantity, taken int64
	for k, i := range group {
		e := &h.entries[i]
		one := e.row(int(r.at), h.unit)
		quantity += e.quantity
		taken += e.minutes
		if k == 0 {
			*r = one
			continue
		}
		r.expected += one.expected
		r.noBook = r.noBook || one.noBook
		r.day = max(r.day, one.day)
		if one.crew != r.crew {
			r.crew = -1 // several worked on it
		}
	}
	r.samples = int32(len(group))
	r.quantity, r.taken = float64(quantity)/1000, float64(taken)*h.unit
}

// excluded is a group that there is nothing to learn from.
func (h *history) excluded(group []int32) Excluded {
	e := Excluded{Line: h.samples[group[0]].Line, Reason: NotBooked}
	e.QuantityMilli, e.EventIDs = 0, nil
	for _, i := range group {
		s := &h.samples[i]
		e.QuantityMilli += s.QuantityMilli
		e.Minutes += s.Minutes
		e.Day = max(e.Day, s.Day)
		e.EventIDs = append(e.EventIDs, s.EventIDs...)
	}
	if e.QuantityMilli == 0 {
		e.Reason = Unmeasured
	}
	return e
}

// nameNodes fills in the names of nodes by their first rows.
func (x *index) nameNodes() {
	for l := LevelTask; l < depth; l++ {
		codes := make([]int32, x.tree.count(l))
		inRows(len(codes), func(_, lo, hi int) {
			for node := lo; node < hi; node++ {
				r := &x.rows[x.tree.down(l, node, depth)]
				codes[node] = x.history.entries[x.order[r.at]].code[l]
			}
		})
		x.codes[l] = codes
	}
}

// first returns the sample that names a row.
func (x *index) first(r *row) *Sample { return &x.history.samples[x.order[r.at]] }

// name returns the name of a node of a level below the firm.
func (x *index) name(level, node int) string { return x.history.names[level][x.codes[level][node]] }

// find returns the child of a node, of the level above, that has a name.
func (x *index) find(level, parent int, name string) (node int, ok bool) {
	code, ok := slices.BinarySearch(x.history.names[level], name)
	if !ok {
		return 0, false
	}
	first := x.tree.first[level-1]
	lo, hi := int(first[parent]), int(first[parent+1])
	node, ok = slices.BinarySearch(x.codes[level][lo:hi], int32(code))
	return lo + node, ok
}

// refer gives the rows without a book rate a reference: the geometric mean of
// their task's first ones. Such a task is compared with itself only.
func (x *index) refer() {
	tasks := x.tree.count(1)
	x.refs = make([]float64, tasks)
	for t := range tasks {
		lo, hi := x.tree.span(1, t)
		first := x.firstWithout(lo, hi)
		if len(first) == 0 {
			continue
		}
		var sum float64
		for _, i := range first {
			sum += math.Log(x.rows[i].taken / x.rows[i].quantity)
		}
		x.refs[t] = math.Exp(sum / float64(len(first)))
		for i := lo; i < hi; i++ {
			if x.rows[i].noBook {
				x.rows[i].expected = x.rows[i].quantity * x.refs[t]
			}
		}
	}
}

// firstWithout returns the first five of the rows lo to hi-1 without a book rate, in
// the order of days, and of the tree within a day.
func (x *index) firstWithout(lo, hi int) (first []int) {
	const most = 5
	for i := lo; i < hi; i++ {
		if !x.rows[i].noBook || len(first) == most && x.rows[i].day >= x.rows[first[most-1]].day {
			continue
		}
		if len(first) == most {
			first = first[:most-1]
		}
		at := len(first)
		for at > 0 && x.rows[first[at-1]].day > x.rows[i].day {
			at--
		}
		first = slices.Insert(first, at, i)
	}
	return first
}
