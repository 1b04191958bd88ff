package reports

import (
	"fmt"
	"slices"
	"strings"

	"daysheet/events"
)

// Dimension is a column of facts by which rows can be filtered and grouped.
type Dimension string

// The dimensions.
const (
	ByJob      Dimension = "job"
	ByJobType  Dimension = "job_type"
	BySide     Dimension = "side"
	ByKind     Dimension = "kind"
	ByFamily   Dimension = "family"
	ByTask     Dimension = "task"
	BySurface  Dimension = "surface"
	ByMethod   Dimension = "method"
	ByLocation Dimension = "location"
	ByProduct  Dimension = "product"
	ByPlace    Dimension = "place"
	ByUnit     Dimension = "unit"
	ByGrade    Dimension = "grade"
	ByPerson   Dimension = "person"
	ByDay      Dimension = "day"
	ByMonth    Dimension = "month"
)

var dimensions = []Dimension{ByJob, ByJobType, BySide, ByKind, ByFamily, ByTask, BySurface, ByMethod,
	ByLocation, ByProduct, ByPlace, ByUnit, ByGrade, ByPerson, ByDay, ByMonth}

// Dimensions returns every dimension.
func Dimensions() []Dimension { return slices.Clone(dimensions) }

// Condition keeps facts whose dimension has one of the values.
type Condition struct {
	Dimension Dimension
	In        []string // at least one
}

// Query is all that is ever asked of a store: the sums of a firm's facts, or
// the facts themselves, by simple conditions. The zero values of From, To,
// FinishedFrom, FinishedTo and AsOf leave that side open.
type Query struct {
	Firm  string // required
	By    []Dimension
	Where []Condition

	// From and To bound the day of the work, both inclusive.
	From, To events.Day

	// FinishedFrom and FinishedTo keep only facts of jobs that were finished on
	// a day between them, both inclusive, as known at AsOf.
	FinishedFrom, FinishedTo events.Day

	// States keep only facts of jobs that stood in one of them at AsOf. The firm's
	// own facts belong to no job and are left out.
	States []events.State

	// AsOf is the position in the firm's partition of the log up to which
	// commits count; 0 is all.
	AsOf uint64

	// Limit and Offset page through Lines; Limit 0 is all. They do not apply to
	// sums.
	Limit, Offset int
}

// Validate checks a query before it is turned into SQL. Dimensions are the only
// part of a query that becomes SQL text, so they must be from the fixed list.
func (q Query) Validate() error {
	if !events.ValidToken(q.Firm) {
		return events.Refuse("firm", q.Firm, events.TokenRule)
	}
	for _, d := range q.By {
		if !slices.Contains(dimensions, d) {
			return events.Refuse("by", string(d), "not a dimension of facts")
		}
	}
	for _, c := range q.Where {
		if !slices.Contains(dimensions, c.Dimension) {
			return events.Refuse("where", string(c.Dimension), "not a dimension of facts")
		}
		if len(c.In) == 0 || len(c.In) > 1000 {
			return events.Refuse(string(c.Dimension), len(c.In), "give 1 to 1000 values")
		}
	}
	for _, d := range []struct {
		field string
		day   events.Day
	}{{"from", q.From}, {"to", q.To}, {"finished_from", q.FinishedFrom}, {"finished_to", q.FinishedTo}} {
		if d.day != "" && !d.day.Valid() {
			return events.Refuse(d.field, string(d.day), "a day as YYYY-MM-DD between 1970 and 2148")
		}
	}
	for _, s := range q.States {
		if !slices.Contains(events.States(), s) {
			return events.Refuse("state", string(s), "use one of %s", strings.Join(texts(events.States()), ", "))
		}
	}
	if q.Limit < 0 || q.Offset < 0 {
		return events.Refuse("limit", q.Limit, "not negative")
	}
	return nil
}

// With returns q with one more condition.
func (q Query) With(d Dimension, in ...string) Query {
	q.Where = slices.Concat(q.Where, []Condition{{d, in}})
	return q
}

// Total is the sum of the facts that share the values of a query's By
// dimensions. Groups whose facts cancel to nothing are left out.
type Total struct {
	By            []string // in the order of Query.By; rows come in ascending order of By
	Minutes       int64
	QuantityMilli int64
	CostE4        int64
	Facts         int64 // rows that count: sum of signs
}

// JobQuery asks for jobs as they stood at a position. The zero value of each
// field leaves it open.
type JobQuery struct {
	Firm         string // required
	Jobs         []string
	JobType      string
	States       []events.State
	FinishedFrom events.Day
	FinishedTo   events.Day
	AsOf         uint64
	After        string // job key: only jobs whose key is greater
	Limit        int    // 0 is all
}

// Validate checks a job query.
func (q JobQuery) Validate() error {
	if !events.ValidToken(q.Firm) {
		return events.Refuse("firm", q.Firm, events.TokenRule)
	}
	if len(q.Jobs) > 1000 {
		return events.Refuse("jobs", len(q.Jobs), "at most 1000")
	}
	for i, j := range q.Jobs {
		if !events.ValidToken(j) {
			return events.Refuse(fmt.Sprintf("jobs[%d]", i), j, events.TokenRule)
		}
	}
	for field, d := range map[string]events.Day{"finished_from": q.FinishedFrom, "finished_to": q.FinishedTo} {
		if d != "" && !d.Valid() {
			return events.Refuse(field, string(d), "a day as YYYY-MM-DD between 1970 and 2148")
		}
	}
	return nil
}
