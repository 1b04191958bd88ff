package reports

import (
	"maps"
	"slices"
)

// JobFacts is one job with all its facts. It answers questions about that job alone as
// a store does, which has to look for them among those of all jobs.
type JobFacts struct {
	Row   JobRow
	Facts []Fact // up to Row.Sequence, in order of sequence and line
}

// Sum adds facts up. ok is false where the query is about more than the job.
func (j *JobFacts) Sum(q Query) (totals []Total, ok bool) {
	if q.Firm != j.Row.Firm || q.FinishedFrom != "" || q.FinishedTo != "" || len(q.States) > 0 ||
		!slices.ContainsFunc(q.Where, func(c Condition) bool {
			return c.Dimension == ByJob && len(c.In) == 1 && c.In[0] == j.Row.Job
		}) {
		return nil, false
	}
	groups := map[string]*Total{}
	var key []byte
	for i := range j.Facts {
		f := &j.Facts[i]
		if !q.lets(f) {
			continue
		}
		key = key[:0]
		for _, d := range q.By {
			key = append(append(key, f.in(d)...), 0)
		}
		t := groups[string(key)]
		if t == nil {
			t = &Total{By: make([]string, len(q.By))}
			for i, d := range q.By {
				t.By[i] = f.in(d)
			}
			groups[string(key)] = t
		}
		t.add(f)
	}
	for _, key := range slices.Sorted(maps.Keys(groups)) {
		if groups[key].Facts != 0 {
			totals = append(totals, *groups[key])
		}
	}
	return totals, true
}

// Jobs returns the job's row. ok is false where the query is about more than the job as
// it stands.
func (j *JobFacts) Jobs(q JobQuery) (rows []JobRow, ok bool) {
	if q.Firm != j.Row.Firm || len(q.Jobs) != 1 || q.Jobs[0] != j.Row.Job || q.JobType != "" || len(q.States) > 0 ||
		q.FinishedFrom != "" || q.FinishedTo != "" || q.After != "" || q.AsOf > 0 && q.AsOf < j.Row.Sequence {
		return nil, false
	}
	return []JobRow{j.Row}, true
}

// lets reports whether the conditions on the fact itself let it through.
func (q *Query) lets(f *Fact) bool {
	if q.AsOf != 0 && f.Sequence > q.AsOf || q.From != "" && f.Day < q.From || q.To != "" && f.Day > q.To {
		return false
	}
	for _, c := range q.Where {
		if !slices.Contains(c.In, f.in(c.Dimension)) {
			return false
		}
	}
	return true
}

// add counts a fact in, or out where it cancels another.
func (t *Total) add(f *Fact) {
	sign := int64(f.Sign)
	t.Minutes += sign * f.Minutes
	t.QuantityMilli += sign * f.QuantityMilli
	t.CostE4 += sign * f.CostE4
	t.Facts += sign
}

// in returns what the fact has in a dimension.
func (f *Fact) in(d Dimension) string {
	switch d {
	case ByJob:
		return f.Job
	case ByJobType:
		return f.JobType
	case BySide:
		return string(f.Side)
	case ByKind:
		return string(f.Kind)
	case ByFamily:
		return string(f.Family)
	case ByTask:
		return f.Task
	case BySurface:
		return f.Surface
	case ByMethod:
		return f.Method
	case ByLocation:
		return f.Location
	case ByProduct:
		return f.Product
	case ByPlace:
		return f.Place
	case ByUnit:
		return string(f.Unit)
	case ByGrade:
		return f.Grade
	case ByPerson:
		return f.Person
	case ByDay:
		return string(f.Day)
	}
	return string(f.Day.Month())
}
