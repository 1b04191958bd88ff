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
	first    int32 // the sample that names it
	job      int32
	day      int32
	samples  int32
	crew     int32
	noBook   bool
	quantity float64 // units
	taken    float64 // minutes, or units of a product
	expected float64 // taken, if the book were right
}

// index is the samples as rows in the order of the tree.
type index struct {
	tree     *tree
	rows     []row
	names    [depth][]string // of nodes
	jobs     []string
	crews    []string
	refs     []float64 // by task: taken per unit where the book has no rate; 0 where it is not needed
	excluded []Excluded
}

// cellKey is where a sample stands: codes of the names by level, from the task
// at 1 on, and last the job.
type cellKey [depth + 1]int32

// ranks numbers the distinct values of a column in the order of the alphabet.
func ranks(n int, at func(i int) string) (codes []int32, names []string) {
	codes = make([]int32, n)
	seen := map[string]int32{}
	var lately [256]struct { // values seen lately, by their ends: most columns have few values
		value string
		next  int32 // code + 1
	}
	for i := range n {
		s := at(i)
		slot := &lately[ending(s)]
		if slot.next == 0 || slot.value != s {
			code, ok := seen[s]
			if !ok {
				code = int32(len(names))
				seen[s] = code
				names = append(names, s)
			}
			slot.value, slot.next = s, code+1
		}
		codes[i] = slot.next - 1
	}
	order := make([]int32, len(names))
	for i := range order {
		order[i] = int32(i)
	}
	slices.SortFunc(order, func(a, b int32) int { return cmp.Compare(names[a], names[b]) })
	rank, sorted := make([]int32, len(names)), make([]string, len(names))
	for r, code := range order {
		rank[code], sorted[r] = int32(r), names[code]
	}
	for i, code := range codes {
		codes[i] = rank[code]
	}
	return codes, sorted
}

// ending tells most short lists of names apart by their last letters.
func ending(s string) (h uint8) {
	for i := max(0, len(s)-3); i < len(s); i++ {
		h = h*7 + s[i]
	}
	return h
}

// sortBy sorts order stably by code, which is below n.
func sortBy(order, spare, code []int32, n int) (sorted, other []int32) {
	if n < 2 {
		return order, spare
	}
	at := make([]int32, n+1)
	for _, c := range code {
		at[c+1]++
	}
	for i := range n {
		at[i+1] += at[i]
	}
	for _, i := range order {
		spare[at[code[i]]] = i
		at[code[i]]++
	}
	return spare, order
}

// newIndex sorts and merges samples. unit is what one of Sample.Minutes is of
// the amount that BookMinutesMilli is thousandths of.
func newIndex(samples []Sample, unit float64) *index {
	n := len(samples)
	keys := make([]cellKey, n)
	var names [depth + 1][]string
	column := []func(*Sample) string{nil, func(s *Sample) string { return s.Task },
		func(s *Sample) string { return s.Surface }, func(s *Sample) string { return s.Method },
		func(s *Sample) string { return s.JobType }, func(s *Sample) string { return s.Job }}
	order, spare := make([]int32, n), make([]int32, n)
	for i := range order {
		order[i] = int32(i)
	}
	for l := depth; l >= 1; l-- {
		var codes []int32
		codes, names[l] = ranks(n, func(i int) string { return column[l](&samples[i]) })
		order, spare = sortBy(order, spare, codes, len(names[l]))
		for i, code := range codes {
			keys[i][l] = code
		}
	}
	x := &index{jobs: names[depth], rows: make([]row, 0, n)}
	var crew []int32
	crew, x.crews = ranks(n, func(i int) string { return samples[i].Crew })
	b := newTreeBuilder(depth, n)
	var kept *cellKey
	for i := 0; i < n; {
		end := i + 1
		for end < n && keys[order[i]] == keys[order[end]] {
			end++
		}
		r, keep := x.merge(samples, order[i:end], unit)
		if i = end; !keep {
			continue
		}
		key := &keys[r.first]
		r.job, r.crew = key[depth], mixedCrew(crew, order[end-int(r.samples):end])
		level := 0
		if kept != nil {
			level = 1
			for level < depth && key[level] == kept[level] {
				level++
			}
		}
		b.row(level)
		for l := max(level, 1); l < depth; l++ {
			x.names[l] = append(x.names[l], names[l][key[l]])
		}
		kept = key
		x.rows = append(x.rows, r)
	}
	x.names[0] = []string{""}
	x.tree = b.done()
	x.refer()
	return x
}

// mixedCrew returns the crew of a group, -1 where several worked on it.
func mixedCrew(crew []int32, group []int32) int32 {
	for _, i := range group {
		if crew[i] != crew[group[0]] {
			return -1
		}
	}
	return crew[group[0]]
}

// merge makes one row of one job's samples in one cell, because they are not
// independent. keep is false where there is nothing to learn from it.
func (x *index) merge(samples []Sample, group []int32, unit float64) (r row, keep bool) {
	if len(group) > 1 {
		slices.SortFunc(group, func(a, b int32) int {
			s, t := &samples[a], &samples[b]
			return cmp.Or(cmp.Compare(s.Day, t.Day), cmp.Compare(s.firstEvent(), t.firstEvent()),
				cmp.Compare(s.QuantityMilli, t.QuantityMilli), cmp.Compare(s.Minutes, t.Minutes),
				cmp.Compare(s.BookMinutesMilli, t.BookMinutesMilli))
		})
	}
	r = row{first: group[0], samples: int32(len(group)), day: math.MinInt32}
	var quantity, taken int64
	for _, i := range group {
		s := &samples[i]
		quantity += s.QuantityMilli
		taken += s.Minutes
		r.expected += float64(s.QuantityMilli) / 1000 * float64(s.BookMinutesMilli) / 1000
		r.noBook = r.noBook || s.BookMinutesMilli == 0 && s.QuantityMilli > 0
		r.day = max(r.day, int32(s.Day))
	}
	r.quantity, r.taken = float64(quantity)/1000, float64(taken)*unit
	if quantity > 0 && taken > 0 {
		return r, true
	}
	if quantity > 0 || taken > 0 {
		e := Excluded{Line: lineOf(samples, group), Minutes: taken, Reason: NotBooked}
		if quantity == 0 {
			e.Reason = Unmeasured
		}
		x.excluded = append(x.excluded, e)
	}
	return r, false
}

// lineOf is the line of a whole group.
func lineOf(samples []Sample, group []int32) Line {
	l := samples[group[0]].Line
	l.QuantityMilli, l.EventIDs = 0, nil
	for _, i := range group {
		l.QuantityMilli += samples[i].QuantityMilli
		l.Day = max(l.Day, samples[i].Day)
		l.EventIDs = append(l.EventIDs, samples[i].EventIDs...)
	}
	return l
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
