package rates

import (
	"cmp"
	"math"
	"math/bits"
	"slices"
)

// history is samples with their names as numbers, in the order of the tree. Fits as of
// several days share one.
type history struct {
	samples []Sample
	unit    float64           // see [measure]
	names   [columns][]string // in the order of the alphabet
	entries []entry           // one for each sample
	last    int32             // day
	byAge   []float64         // see [recentWeight]; older rows weigh next to nothing
	order   []int32           // of entries: by cell and job, and within those as they came
}

// The columns of names, in the order in which samples are sorted: the levels of the
// tree below the firm, then the job. The crew is none of the order.
const (
	columnCrew = 0
	columnJob  = depth
	columns    = depth + 1
)

// entry is what the index needs of a sample, in one line of the processor's cache: its
// names as places in [history.names], and its amounts.
type entry struct {
	code                    [columns]int32
	day                     int32
	quantity, minutes, book int64 // as in the sample
}

// newHistory sorts samples. It refuses amounts that cannot have happened.
func newHistory(samples []Sample, m measure) (*history, error) {
	h := &history{samples: samples, unit: m.unit, entries: make([]entry, len(samples)), last: math.MinInt32}
	h.byAge = make([]float64, 20*halfLife)
	for age := range h.byAge {
		h.byAge[age] = recentWeight(age)
	}
	blocks := make([][columns]dictionary, blocksOf(len(samples)))
	wrong := make([]error, len(blocks))
	inRows(len(samples), func(b, lo, hi int) {
		known := &blocks[b]
		known[columnJob].codes = make(map[string]int32, (hi-lo)/8)
		for i := lo; i < hi && wrong[b] == nil; i++ {
			s, e := &samples[i], &h.entries[i]
			wrong[b] = s.check(m)
			e.day = int32(min(max(s.Day, math.MinInt32), math.MaxInt32))
			e.quantity, e.minutes, e.book = s.QuantityMilli, s.Minutes, s.BookMinutesMilli
			e.code = [columns]int32{known[columnCrew].code(s.Crew), known[LevelTask].code(s.Task),
				known[LevelSurface].code(s.Surface), known[LevelMethod].code(s.Method),
				known[LevelJobType].code(s.JobType), known[columnJob].code(s.Job)}
		}
	})
	if err := cmp.Or(wrong...); err != nil {
		return nil, err
	}
	var ranks [columns][][]int32
	inBlocks(columns, func(c int) {
		lists := make([][]string, len(blocks))
		for b := range blocks {
			lists[b] = blocks[b][c].names
		}
		h.names[c], ranks[c] = merge(lists)
	})
	inRows(len(samples), func(b, lo, hi int) {
		var rank [columns][]int32
		for c := range rank {
			rank[c] = ranks[c][b]
		}
		for i := lo; i < hi; i++ {
			e := &h.entries[i]
			for c, code := range e.code {
				e.code[c] = rank[c][code]
			}
		}
	})
	for i := range h.entries {
		h.last = max(h.last, h.entries[i].day)
	}
	h.sort()
	return h, nil
}

// dictionary numbers names in the order in which they come.
type dictionary struct {
	names  []string
	codes  map[string]int32
	lately [128]struct { // names seen lately, by their ends: most columns have few
		name string
		next int32 // code + 1
	}
}

func (d *dictionary) code(name string) int32 {
	slot := &d.lately[ending(name)%uint8(len(d.lately))]
	if slot.next == 0 || slot.name != name {
		code, ok := d.codes[name]
		if !ok {
			if d.codes == nil {
				d.codes = map[string]int32{}
			}
			code = int32(len(d.names))
			d.codes[name] = code
			d.names = append(d.names, name)
		}
		slot.name, slot.next = name, code+1
	}
	return slot.next - 1
}

// ending tells most short lists of names apart by their last letters.
func ending(s string) (h uint8) {
	for i := max(0, len(s)-3); i < len(s); i++ {
		h = h*31 + s[i]
	}
	return h
}

// merge makes one list of the names of several, each once and in the order of the
// alphabet, and says for each list which places its own have there.
func merge(lists [][]string) (names []string, ranks [][]int32) {
	type place struct {
		name       string
		list, code int32
	}
	many := 0
	for _, list := range lists {
		many += len(list)
	}
	all := make([]place, 0, many)
	ranks = make([][]int32, len(lists))
	for l, list := range lists {
		ranks[l] = make([]int32, len(list))
		for code, name := range list {
			all = append(all, place{name, int32(l), int32(code)})
		}
	}
	slices.SortFunc(all, func(a, b place) int { return cmp.Compare(a.name, b.name) })
	for i, p := range all {
		if i == 0 || p.name != all[i-1].name {
			names = append(names, p.name)
		}
		ranks[p.list][p.code] = int32(len(names)) - 1
	}
	return names, ranks
}

// sort puts the entries in the order of their columns, and those that agree in the
// order of the samples. It packs as many columns as go beside the number of the entry
// into a word, mostly all of them, and sorts the words by their digits.
func (h *history) sort() {
	n := len(h.entries)
	h.order = make([]int32, n)
	for i := range h.order {
		h.order[i] = int32(i)
	}
	words, spare := make([]uint64, n), make([]uint64, n)
	number := bits.Len(uint(n))
	var wide [columns]int // bits of each column
	for c, names := range h.names {
		wide[c] = bits.Len(uint(len(names)))
	}
	for last := columnJob; last >= LevelTask; {
		first, width := last, number+wide[last]
		for first > LevelTask && width+wide[first-1] <= 64 {
			first--
			width += wide[first]
		}
		inRows(n, func(_, lo, hi int) {
			for k := lo; k < hi; k++ {
				e, word := &h.entries[h.order[k]], uint64(0)
				for c := first; c <= last; c++ {
					word = word<<wide[c] | uint64(e.code[c])
				}
				words[k] = word<<number | uint64(h.order[k])
			}
		})
		words, spare = sortBits(words, spare, number, width)
		for k, word := range words {
			h.order[k] = int32(word & (1<<number - 1))
		}
		last = first - 1
	}
}

// sortBits sorts words stably by the bits from low to high-1.
func sortBits(words, spare []uint64, low, high int) (sorted, other []uint64) {
	const digit = 11
	for ; low < high; low += digit {
		var at [1 << digit]int32
		mask := uint64(1)<<min(digit, high-low) - 1
		for _, w := range words {
			at[w>>low&mask]++
		}
		next := int32(0)
		for d, many := range at {
			at[d], next = next, next+many
		}
		for _, w := range words {
			d := w >> low & mask
			spare[at[d]] = w
			at[d]++
		}
		words, spare = spare, words
	}
	return words, spare
}

// until returns the order without the samples after a day. It is the caller's own.
func (h *history) until(day int) []int32 {
	if int(h.last) <= day {
		return slices.Clone(h.order)
	}
	order := make([]int32, 0, len(h.order))
	for _, i := range h.order {
		if int(h.entries[i].day) <= day {
			order = append(order, i)
		}
	}
	return order
}
