package rates

import (
	"math"
	"slices"
)

// spread fills what follows from the residuals of the fit: smear, the job
// effect, slips and the number of jobs.
//
// Smear is the mean of exp(e) over the leave-one-out residuals within five
// standard deviations (Duan, JASA 78 (1983) 605). The job effect is the mean
// product of pairs of residuals of one job, in closed form.
func (f *Fit) spread() {
	off := make([]float64, f.Rows)
	parts := make([]smear, len(f.core.blocks))
	inBlocks(len(parts), func(b int) { parts[b] = f.leaveOut(f.core.blocks[b], off) })
	var all smear
	for _, p := range parts {
		all.sum += p.sum
		all.rows += p.rows
		f.Slips = append(f.Slips, p.slips...)
	}
	if all.rows > 0 {
		f.Smear = all.sum / all.rows
	}
	jobs := make([]jobSums, len(f.index.history.names[columnJob]))
	for i, e := range off {
		j := &jobs[f.index.rows[i].job]
		j.rows++
		if !math.IsNaN(e) {
			j.add(f.core.u[i], e)
		}
	}
	var top, bottom float64
	for j := range jobs {
		if jobs[j].rows > 0 {
			f.Jobs++
		}
		top += jobs[j].ue*jobs[j].ue - jobs[j].ue2
		bottom += jobs[j].u*jobs[j].u - jobs[j].u2
	}
	if top > 0 && bottom > 0 {
		f.JobSD = math.Sqrt(top / bottom)
	}
}

// smear is what a block of leaves adds to it, and the slips there.
type smear struct {
	sum, rows float64
	slips     []Slip
}

// leaveOut fills in the leave-one-out residuals of a block's rows: not a number for the
// only row of a cell, which says nothing about its own error.
func (f *Fit) leaveOut(b block, off []float64) (s smear) {
	c, first := f.core, f.index.tree.first[depth-1]
	for leaf := b.lo; leaf < b.hi; leaf++ {
		for c.leafOf[b.task+1] <= leaf {
			b.task++
		}
		n, sigma := &c.nodes[depth-1][leaf], c.sigmas[b.task]
		most := 5 * math.Sqrt(sigma)
		for i := int(first[leaf]); i < int(first[leaf+1]); i++ {
			plain := c.y[i] - n.mean
			if math.Abs(plain) > slipLog {
				s.slips = append(s.slips, Slip{Line: f.lineAt(i), Factor: math.Exp(plain), Weight: c.u[i],
					Minutes: int64(math.Round(f.index.rows[i].taken / f.index.history.unit))})
			}
			rest := 1 - n.c*c.weight(i)/sigma
			if rest < leastWeight {
				off[i] = math.NaN()
				continue
			}
			off[i] = plain / rest
			if math.Abs(off[i]) < most {
				s.sum += math.Exp(off[i])
				s.rows++
			}
		}
	}
	return s
}

// jobSums are the sums that pairs of residuals of one job come from.
type jobSums struct {
	rows           int
	u, u2, ue, ue2 float64
}

func (s *jobSums) add(u, e float64) {
	s.u += u
	s.u2 += u * u
	s.ue += u * e
	s.ue2 += u * u * e * e
}

// lineAt names the work of a row.
func (f *Fit) lineAt(i int) Line {
	r := &f.index.rows[i]
	l := f.index.first(r).Line
	l.Day, l.QuantityMilli = int(r.day), int64(math.Round(r.quantity*1000))
	if r.crew < 0 {
		l.Crew = ""
	}
	if r.samples > 1 {
		l.EventIDs = nil
		for _, k := range slices.Sorted(slices.Values(f.index.order[r.at : r.at+r.samples])) {
			l.EventIDs = append(l.EventIDs, f.index.history.samples[k].EventIDs...)
		}
	}
	return l
}
