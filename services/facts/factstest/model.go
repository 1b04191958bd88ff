package factstest

import (
	"cmp"
	"slices"

	"daysheet/events"
	"daysheet/reports"
)

// model answers queries by going through every row: slow, and plain enough to be
// believed.
type model struct {
	facts []reports.Fact
	jobs  []reports.JobRow
}

// value returns what a fact has in a dimension.
func value(f *reports.Fact, d reports.Dimension) string {
	switch d {
	case reports.ByJob:
		return f.Job
	case reports.ByJobType:
		return f.JobType
	case reports.BySide:
		return string(f.Side)
	case reports.ByKind:
		return string(f.Kind)
	case reports.ByFamily:
		return string(f.Family)
	case reports.ByTask:
		return f.Task
	case reports.BySurface:
		return f.Surface
	case reports.ByMethod:
		return f.Method
	case reports.ByLocation:
		return f.Location
	case reports.ByProduct:
		return f.Product
	case reports.ByPlace:
		return f.Place
	case reports.ByUnit:
		return string(f.Unit)
	case reports.ByGrade:
		return f.Grade
	case reports.ByPerson:
		return f.Person
	case reports.ByDay:
		return string(f.Day)
	case reports.ByMonth:
		return string(f.Day.Month())
	}
	panic("a dimension that the model does not know: " + d)
}

// stood returns the rows of a firm's jobs as of a position, by key.
func (m *model) stood(firm string, asOf uint64) map[string]reports.JobRow {
	rows := map[string]reports.JobRow{}
	for _, j := range m.jobs {
		if j.Firm == firm && (asOf == 0 || j.Sequence <= asOf) && j.Sequence >= rows[j.Job].Sequence {
			rows[j.Job] = j
		}
	}
	return rows
}

func within(day, from, to events.Day) bool {
	return (from == "" || day >= from) && (to == "" || day <= to)
}

// matching returns the facts that a query lets in.
func (m *model) matching(q reports.Query) []reports.Fact {
	jobs := m.stood(q.Firm, q.AsOf)
	var out []reports.Fact
	for _, f := range m.facts {
		if f.Firm != q.Firm || (q.AsOf != 0 && f.Sequence > q.AsOf) || !within(f.Day, q.From, q.To) {
			continue
		}
		if slices.ContainsFunc(q.Where, func(c reports.Condition) bool {
			return !slices.Contains(c.In, value(&f, c.Dimension))
		}) {
			continue
		}
		if len(q.States) > 0 && !slices.Contains(q.States, jobs[f.Job].State) {
			continue
		}
		if q.FinishedFrom != "" || q.FinishedTo != "" {
			if done := jobs[f.Job].Finished; done == "" || !within(done, q.FinishedFrom, q.FinishedTo) {
				continue
			}
		}
		out = append(out, f)
	}
	return out
}

func (m *model) sum(q reports.Query) []reports.Total {
	var totals []reports.Total
	for _, f := range m.matching(q) {
		var by []string
		for _, d := range q.By {
			by = append(by, value(&f, d))
		}
		i := slices.IndexFunc(totals, func(t reports.Total) bool { return slices.Equal(t.By, by) })
		if i < 0 {
			i = len(totals)
			totals = append(totals, reports.Total{By: by})
		}
		sign := int64(f.Sign)
		totals[i].Minutes += sign * f.Minutes
		totals[i].QuantityMilli += sign * f.QuantityMilli
		totals[i].CostE4 += sign * f.CostE4
		totals[i].Facts += sign
	}
	totals = slices.DeleteFunc(totals, func(t reports.Total) bool { return t.Facts == 0 })
	slices.SortFunc(totals, func(a, b reports.Total) int { return slices.Compare(a.By, b.By) })
	return totals
}

func (m *model) lines(q reports.Query) []reports.Fact {
	out := m.matching(q)
	slices.SortFunc(out, func(a, b reports.Fact) int {
		return cmp.Or(cmp.Compare(a.Sequence, b.Sequence), cmp.Compare(a.Line, b.Line))
	})
	return page(out, q.Limit, q.Offset)
}

func page[R any](rows []R, limit, offset int) []R {
	rows = rows[min(offset, len(rows)):]
	if limit > 0 {
		rows = rows[:min(limit, len(rows))]
	}
	return rows
}

func (m *model) jobRows(q reports.JobQuery) []reports.JobRow {
	var out []reports.JobRow
	for _, j := range m.stood(q.Firm, q.AsOf) {
		switch {
		case len(q.Jobs) > 0 && !slices.Contains(q.Jobs, j.Job),
			q.JobType != "" && j.JobType != q.JobType,
			len(q.States) > 0 && !slices.Contains(q.States, j.State),
			(q.FinishedFrom != "" || q.FinishedTo != "") && j.Finished == "",
			!within(j.Finished, q.FinishedFrom, q.FinishedTo),
			q.After != "" && j.Job <= q.After:
			continue
		}
		out = append(out, j)
	}
	slices.SortFunc(out, func(a, b reports.JobRow) int { return cmp.Compare(a.Job, b.Job) })
	return page(out, q.Limit, 0)
}
