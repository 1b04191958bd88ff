package reports

import (
	"testing"

	"daysheet/events"
)

// TestJobFactsAnswerForTheirJobAlone asks about more than the job, which the facts of one
// cannot answer. That the answers about it are those of a store is shown in the projector.
func TestJobFactsAnswerForTheirJobAlone(t *testing.T) {
	j := JobFacts{Row: JobRow{Firm: "north", Job: "stair-1", Sequence: 7}}
	about := Query{Firm: "north"}.With(ByJob, "stair-1")
	for name, q := range map[string]Query{
		"every job": {Firm: "north"}, "another job": Query{Firm: "north"}.With(ByJob, "stair-2"),
		"two jobs":     Query{Firm: "north"}.With(ByJob, "stair-1", "stair-2"),
		"another firm": Query{Firm: "south"}.With(ByJob, "stair-1"),
		"finished":     func(q Query) Query { q.FinishedTo = "2026-01-01"; return q }(about),
		"state":        func(q Query) Query { q.States = []events.State{events.Running}; return q }(about),
	} {
		if totals, ok := j.Sum(q); ok {
			t.Errorf("%s: the sums are %+v", name, totals)
		}
	}
	if _, ok := j.Sum(about); !ok {
		t.Error("the job itself is not answered for")
	}
	which := JobQuery{Firm: "north", Jobs: []string{"stair-1"}}
	for name, change := range map[string]func(*JobQuery){
		"every job": func(q *JobQuery) { q.Jobs = nil }, "another job": func(q *JobQuery) { q.Jobs = []string{"stair-2"} },
		"another firm": func(q *JobQuery) { q.Firm = "south" }, "as it was before": func(q *JobQuery) { q.AsOf = 6 },
		"of a type": func(q *JobQuery) { q.JobType = "stairwell" }, "after a key": func(q *JobQuery) { q.After = "a" },
		"finished": func(q *JobQuery) { q.FinishedFrom = "2026-01-01" },
	} {
		q := which
		change(&q)
		if rows, ok := j.Jobs(q); ok {
			t.Errorf("%s: the jobs are %+v", name, rows)
		}
	}
	if rows, ok := j.Jobs(which); !ok || len(rows) != 1 || rows[0] != j.Row {
		t.Errorf("the job itself is %+v, %t", rows, ok)
	}
}
