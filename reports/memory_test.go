package reports

import (
	"cmp"
	"maps"
	"slices"

	"daysheet/events"
)

// memory answers queries by plain loops over every fact. It is the smallest
// thing that keeps the promises of a store, so that reports can be tried
// without one.
type memory struct {
	facts []Fact
	rows  []JobRow
}

// jobsAsOf returns the last row of each of the firm's jobs at a position.
func (m *memory) jobsAsOf(firm string, asOf uint64) map[string]JobRow {
	last := map[string]JobRow{}
	for _, r := range m.rows {
		if r.Firm == firm && (asOf == 0 || r.Sequence <= asOf) && r.Sequence >= last[r.Job].Sequence {
			last[r.Job] = r
		}
	}
	return last
}

func (m *memory) jobs(q JobQuery) []JobRow {
	var found []JobRow
	for _, r := range m.jobsAsOf(q.Firm, q.AsOf) {
		switch {
		case len(q.Jobs) > 0 && !slices.Contains(q.Jobs, r.Job),
			q.JobType != "" && r.JobType != q.JobType,
			len(q.States) > 0 && !slices.Contains(q.States, r.State),
			!between(r.Finished, q.FinishedFrom, q.FinishedTo),
			r.Job <= q.After && q.After != "":
			continue
		}
		found = append(found, r)
	}
	slices.SortFunc(found, func(a, b JobRow) int { return cmp.Compare(a.Job, b.Job) })
	if q.Limit > 0 && len(found) > q.Limit {
		found = found[:q.Limit]
	}
	return found
}

// between reports whether a finished day fits the bounds; a job that runs fits
// open bounds alone.
func between(d, from, to events.Day) bool {
	if from == "" && to == "" {
		return true
	}
	return d != "" && d >= from && (to == "" || d <= to)
}

func (m *memory) sum(q Query) []Total {
	jobs := m.jobsAsOf(q.Firm, q.AsOf)
	groups := map[string]*Total{}
	for _, f := range m.facts {
		if !m.lets(q, f, jobs) {
			continue
		}
		by := make([]string, len(q.By))
		key := ""
		for i, d := range q.By {
			by[i] = f.in(d)
			key += by[i] + "\x00"
		}
		if groups[key] == nil {
			groups[key] = &Total{By: by}
		}
		groups[key].add(&f)
	}
	var totals []Total
	for _, key := range slices.Sorted(maps.Keys(groups)) {
		if groups[key].Facts != 0 {
			totals = append(totals, *groups[key])
		}
	}
	return totals
}

// lets reports whether the query lets the fact through.
func (m *memory) lets(q Query, f Fact, jobs map[string]JobRow) bool {
	if f.Firm != q.Firm || !q.lets(&f) {
		return false
	}
	if len(q.States) > 0 && !slices.Contains(q.States, jobs[f.Job].State) {
		return false
	}
	return between(jobs[f.Job].Finished, q.FinishedFrom, q.FinishedTo)
}

// answer answers every part of a question.
func (m *memory) answer(q Question, names Names) Answer {
	a := Answer{Names: names}
	for _, s := range q.Sums {
		a.Sums = append(a.Sums, m.sum(s))
	}
	if q.Jobs != nil {
		a.Jobs = m.jobs(*q.Jobs)
	}
	return a
}
