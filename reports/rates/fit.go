package rates

import (
	"math"
	"slices"
	"sort"
	"sync"
)

// Fit is what a firm's finished jobs say about its rates as of a day. It is
// made by [FitLabour] and never changes.
type Fit struct {
	AsOf        int        // day up to which samples counted, in days since 1970-01-01
	Jobs        int        // jobs with at least one row
	Rows        int        // one for each job and cell of the tree
	LastDay     int        // of a sample
	LastEventID string     // greatest event id of that day: with AsOf and the options it names the fit
	Excluded    []Excluded // in the order of the tree
	Slips       []Slip     // in the order of the tree
	Sigma       float64    // scale of one line around its rate, in logarithms
	Tau         [5]float64 // standard deviations of levels within their group; [0] is the firm's prior
	Smear       float64    // mean over median of a line (Duan 1983), at least as far as the history goes
	JobSD       float64    // what the lines of one job share, in logarithms
	Rounds      int        // until nothing moved
	Crews       []Crew     // with [Options.Crews], in the order of the alphabet

	settings settings
	index    *index
	core     *core            // nil where there are no rows
	recent   *core            // nil without a recent level
	jobsAt   func() [][]int32 // jobs of each node, by level: counted when it is first asked for
}

// Crew is a crew's factor on the same work.
type Crew struct {
	Crew   string
	Effect float64 // logarithm: -0.06 is about 6 % faster than expected
	Z      float64 // how far the crew's own rows are trusted, 0 to 1
	Weight float64 // rows' worth of evidence
	Enough bool    // at least 8 rows' worth; below that crews must not be compared
}

// FitLabour learns from the samples finished on or before asOf. Without any it
// returns a fit that quotes the book, with the spread of a firm without history.
// It refuses amounts that cannot have happened, and a Nu of 4 or less.
func FitLabour(samples []Sample, asOf int, o Options) (*Fit, error) {
	return fitSamples(samples, ofLabour, asOf, o)
}

// fitSamples does it for any measure.
func fitSamples(samples []Sample, m measure, asOf int, o Options) (*Fit, error) {
	h, err := newHistory(samples, m)
	if err != nil {
		return nil, err
	}
	set, err := o.settings()
	if err != nil {
		return nil, err
	}
	return fit(h, asOf, asOf, set), nil
}

// fit does it as of a day from what was finished up to another.
func fit(h *history, finished, asOf int, set settings) *Fit {
	f := &Fit{AsOf: asOf, settings: set, index: newIndex(h, h.until(finished))}
	f.Rows, f.Excluded = len(f.index.rows), f.index.excluded
	f.Sigma, f.Smear = noHistorySD, math.Exp(noHistorySD*noHistorySD/2)
	for l := range f.Tau {
		f.Tau[l] = math.Sqrt(set.t0[l])
	}
	f.jobsAt = sync.OnceValue(f.countJobs)
	f.last()
	if f.Rows == 0 {
		return f
	}
	y, d := f.logs(set.driftWeight)
	f.core = newCore(set, f.index.tree, y, d)
	f.core.run()
	if set.crews {
		f.fitCrews(y)
	}
	f.Rounds, f.Sigma = f.core.rounds, math.Sqrt(f.core.sigma)
	for l := range f.Tau {
		f.Tau[l] = math.Sqrt(f.core.tau[l])
	}
	f.spread()
	if !set.noRecent {
		f.fitRecent()
	}
	return f
}

// last names the newest sample.
func (f *Fit) last() {
	h := f.index.history
	for k, i := range f.index.order {
		day := int(h.entries[i].day)
		if k > 0 && day < f.LastDay {
			continue
		}
		if k == 0 || day > f.LastDay {
			f.LastDay, f.LastEventID = day, ""
		}
		for _, id := range h.samples[i].EventIDs {
			f.LastEventID = max(f.LastEventID, id)
		}
	}
}

// logs returns what each row took against the book, and its given weight.
func (f *Fit) logs(drift bool) (y, d []float64) {
	y = make([]float64, f.Rows)
	if drift {
		d = make([]float64, f.Rows)
	}
	inRows(f.Rows, func(_, lo, hi int) {
		for i := lo; i < hi; i++ {
			r := &f.index.rows[i]
			y[i] = math.Log(r.taken / r.expected)
			if drift {
				d[i] = driftWeight(f.AsOf - int(r.day))
			}
		}
	})
	return y, d
}

// fitCrews alternates between the crews' mean residuals and the tree.
func (f *Fit) fitCrews(y []float64) {
	c, crews := f.core, f.index.history.names[columnCrew]
	n := len(crews)
	effect := make([]float64, n)
	c.y = slices.Clone(y)
	var sums, weights []float64
	for range crewSweeps {
		sums, weights = make([]float64, n), make([]float64, n)
		f.eachRow(func(i, _, leaf int) {
			if crew := f.index.rows[i].crew; crew >= 0 && crews[crew] != "" {
				w := c.weight(i)
				weights[crew] += w
				sums[crew] += w * (y[i] - c.nodes[depth-1][leaf].mean)
			}
		})
		for k := range effect {
			effect[k] = crewZ(c.sigma, weights[k]) * sums[k] / max(weights[k], leastWeight)
		}
		for i := range c.y {
			if crew := f.index.rows[i].crew; crew >= 0 {
				c.y[i] = y[i] - effect[crew]
			}
		}
		c.run()
	}
	for k, name := range crews {
		if weights[k] > 0 {
			f.Crews = append(f.Crews, Crew{Crew: name, Effect: effect[k], Z: crewZ(c.sigma, weights[k]),
				Weight: weights[k], Enough: weights[k] >= 8})
		}
	}
}

// crewZ trusts a crew's mean as if it had half its rows, because those of one
// job move together.
func crewZ(sigma, weight float64) float64 {
	return crewVariance * weight / (crewVariance*weight + 2*sigma)
}

// crewEffect returns the factor of a crew, 0 where it is not known.
func (f *Fit) crewEffect(crew string) float64 {
	i := sort.Search(len(f.Crews), func(i int) bool { return f.Crews[i].Crew >= crew })
	if i < len(f.Crews) && f.Crews[i].Crew == crew {
		return f.Crews[i].Effect
	}
	return 0
}

// eachRow calls use for every row in the order of the tree.
func (f *Fit) eachRow(use func(i, task, leaf int)) {
	first := f.index.tree.first[depth-1]
	for t := range f.core.sigmas {
		for leaf := int(f.core.leafOf[t]); leaf < int(f.core.leafOf[t+1]); leaf++ {
			for i := int(first[leaf]); i < int(first[leaf+1]); i++ {
				use(i, t, leaf)
			}
		}
	}
}

// fitRecent learns how the last months differ from the history: the same
// method on the residuals, tree firm > task, newer rows weighing more.
func (f *Fit) fitRecent() {
	residual, weight := make([]float64, f.Rows), make([]float64, f.Rows)
	leaves := f.core.nodes[depth-1]
	byAge := f.index.history.byAge
	first := f.index.tree.first[depth-1]
	inBlocks(len(f.core.blocks), func(b int) {
		for leaf := f.core.blocks[b].lo; leaf < f.core.blocks[b].hi; leaf++ {
			for i := first[leaf]; i < first[leaf+1]; i++ {
				residual[i] = f.core.y[i] - leaves[leaf].mean
				weight[i] = byAge[min(max(f.AsOf-int(f.index.rows[i].day), 0), len(byAge)-1)]
			}
		}
	})
	tasks := f.index.tree.count(1)
	rows := make([]int32, tasks+1)
	for t := range rows {
		rows[t] = int32(f.index.tree.down(1, t, depth))
	}
	t := &tree{first: [][]int32{{0, int32(tasks)}, rows}}
	f.recent = newCore(f.settings.recent(), t, residual, weight)
	f.recent.run()
}

// shift is the recent level of a task; of the firm where the task is below 0.
func (f *Fit) shift(task int) float64 {
	switch {
	case f.recent == nil:
		return 0
	case task < 0:
		return f.recent.nodes[0][0].mean
	}
	return f.recent.nodes[1][task].mean
}
