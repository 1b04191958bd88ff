package rates

import "math"

// spread fills what follows from the residuals of the fit: smear, the job
// effect, slips and the number of jobs.
//
// Smear is the mean of exp(e) over the leave-one-out residuals within five
// standard deviations (Duan, JASA 78 (1983) 605). The job effect is the mean
// product of pairs of residuals of one job, in closed form.
func (f *Fit) spread() {
	leaves := f.core.nodes[depth-1]
	jobs := make([]jobSums, len(f.index.jobs))
	var smear, counted float64
	f.eachRow(func(i, task, leaf int) {
		n, r, sigma, u := &leaves[leaf], &f.index.rows[i], f.core.sigmas[task], f.core.u[i]
		plain := f.core.y[i] - n.mean
		jobs[r.job].rows++
		if math.Abs(plain) > slipLog {
			f.Slips = append(f.Slips, Slip{Line: f.lineAt(i), Minutes: int64(math.Round(r.taken / f.unit)),
				Factor: math.Exp(plain), Weight: u})
		}
		rest := 1 - n.c*f.core.weight(i)/sigma
		if rest < leastWeight {
			return // the only row there is says nothing about its own error
		}
		e := plain / rest
		jobs[r.job].add(u, e)
		if math.Abs(e) < 5*math.Sqrt(sigma) {
			smear += math.Exp(e)
			counted++
		}
	})
	if counted > 0 {
		f.Smear = smear / counted
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
	l := f.samples[r.first].Line
	l.Day, l.QuantityMilli = int(r.day), int64(math.Round(r.quantity*1000))
	if r.crew < 0 {
		l.Crew = ""
	}
	if r.samples > 1 {
		l.EventIDs = nil
		for k := range f.samples {
			if s := &f.samples[k]; s.Job == l.Job && s.Task == l.Task && s.Surface == l.Surface &&
				s.Method == l.Method && s.JobType == l.JobType {
				l.EventIDs = append(l.EventIDs, s.EventIDs...)
			}
		}
	}
	return l
}
