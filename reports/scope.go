package reports

import (
	"slices"

	"daysheet/events"
)

// The facts of a report are those of its scope: one job whatever its state, or
// every job that was finished in the period.

// FirstDay stands in for an open start of the period: a job that runs has no
// finished day, and a bound leaves it out.
const FirstDay events.Day = "1970-01-01"

// scope returns the query that lets through the facts of the filter's jobs.
func scope(f Filter) Query {
	q := Query{Firm: f.Firm, AsOf: f.AsOf}
	if f.Job != "" {
		return q.With(ByJob, f.Job)
	}
	q.FinishedFrom, q.FinishedTo = f.From, f.To
	if q.FinishedFrom == "" {
		q.FinishedFrom = FirstDay
	}
	if f.JobType != "" {
		q = q.With(ByJobType, f.JobType)
	}
	return q
}

// scopeJobs returns the query for the filter's jobs.
func scopeJobs(f Filter) *JobQuery {
	q := &JobQuery{Firm: f.Firm, AsOf: f.AsOf}
	if f.Job != "" {
		q.Jobs = []string{f.Job}
		return q
	}
	q.JobType, q.FinishedFrom, q.FinishedTo = f.JobType, f.From, f.To
	if q.FinishedFrom == "" {
		q.FinishedFrom = FirstDay
	}
	return q
}

// namedJob returns the query for the job that the filter names, and nil where it
// names none: for a report that says nothing of jobs but that.
func namedJob(f Filter) *JobQuery {
	if f.Job == "" {
		return nil
	}
	return scopeJobs(f)
}

// grouped returns q with the dimensions to add up by.
func grouped(q Query, by ...Dimension) Query {
	q.By = by
	return q
}

// only returns q for facts of the kinds.
func only(q Query, kinds ...Kind) Query { return q.With(ByKind, texts(kinds)...) }

// on returns q for facts of the sides.
func on(q Query, sides ...Side) Query { return q.With(BySide, texts(sides)...) }

// planned and costs are the sides and kinds that are added up together.
var (
	planned = []Side{SideEstimate, SideVariation}
	costs   = []Kind{KindLabour, KindMaterial, KindDamage, KindOverhead}
)

// texts returns words as plain strings.
func texts[T ~string](words []T) []string {
	s := make([]string, len(words))
	for i, w := range words {
		s[i] = string(w)
	}
	return s
}

// answered returns the rows of the i-th sum of the question; none where the
// answer is too short.
func (a Answer) answered(i int) []Total {
	if i >= len(a.Sums) {
		return nil
	}
	return a.Sums[i]
}

// jobs returns the jobs of the answer without the firm's own key, which is
// no job.
func (a Answer) jobs() []JobRow {
	return slices.DeleteFunc(slices.Clone(a.Jobs), func(j JobRow) bool { return j.Job == events.FirmJob })
}

// jobsByKey returns them by their keys.
func (a Answer) jobsByKey() map[string]*JobRow {
	jobs := a.jobs()
	byKey := make(map[string]*JobRow, len(jobs))
	for i := range jobs {
		byKey[jobs[i].Job] = &jobs[i]
	}
	return byKey
}

// leading returns the rows with which sums begin that have these parts first, and the
// others. Rows come in the order of their parts, so that no other row has them.
func leading(sums []Total, by ...string) (of, others []Total) {
	n := 0
	for n < len(sums) && slices.Equal(sums[n].By[:len(by)], by) {
		n++
	}
	return sums[:n], sums[n:]
}
