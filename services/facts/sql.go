package facts

import (
	"cmp"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"daysheet/events"
	"daysheet/reports"
)

// Tables says what stands after FROM: the only thing in which the stores' SQL
// differs. The text itself keeps to what DuckDB and every ClickHouse since 18.16
// understand alike: no WITH, no window, no function on dates, no ordinal in
// GROUP BY, no alias, every ? spelled out, and sums cast to 64 bits.
type Tables struct {
	FactsFrom string // facts, or facts FINAL
	JobsFrom  string // jobs, or jobs FINAL
	// JobsWithin is JobsFrom for a question within a condition, where that is another
	// table: that of the one shard in which a firm is. Empty is JobsFrom.
	JobsWithin string
	// Before is put before WHERE on facts: PRE lets ClickHouse filter rows before it
	// merges those with the same key, which changes nothing, since they are equal.
	Before string
}

// Statement is an SQL text with one argument, a string or an int64, for each ?.
type Statement struct {
	Text string
	Args []any
}

// Sum returns the statement for [Store.Sum]. Its rows hold the query's By as
// strings and then minutes, quantity, cost and the sum of signs as 64-bit
// integers. A query that breaks a rule gives an [events.Error].
//
// A row that cancels is an exact copy of the row it cancels, but for sign and
// sequence. So every filter but AsOf lets in both or neither, and a group whose
// signs add up to 0 has measures that do so too: HAVING leaves out just that.
func (t Tables) Sum(q reports.Query) (Statement, error) {
	if err := checkQuery(q); err != nil {
		return Statement{}, err
	}
	by := "firm" // a constant here: one group, and none where there are no rows
	var s statement
	s.write("SELECT ")
	if len(q.By) > 0 {
		by = columns(q.By)
		s.write(by, ", ")
	}
	s.write("CAST(sum(sign * minutes) AS BIGINT), CAST(sum(sign * quantity_milli) AS BIGINT), ",
		"CAST(sum(sign * cost_e4) AS BIGINT), CAST(sum(sign) AS BIGINT)")
	t.fromFacts(&s, q)
	s.write(" GROUP BY ", by, " HAVING sum(sign) <> 0 ORDER BY ", by)
	return s.finish(), nil
}

// Lines returns the statement for [Store.Lines]. Its rows hold [FactColumns].
func (t Tables) Lines(q reports.Query) (Statement, error) {
	if err := checkQuery(q); err != nil {
		return Statement{}, err
	}
	var s statement
	s.write("SELECT ", FactColumns)
	t.fromFacts(&s, q)
	s.write(" ORDER BY sequence, line")
	s.page(q.Limit, q.Offset)
	return s.finish(), nil
}

// Jobs returns the statement for [Store.Jobs]. Its rows hold [JobColumns].
func (t Tables) Jobs(q reports.JobQuery) (Statement, error) {
	if err := checkJobQuery(q); err != nil {
		return Statement{}, err
	}
	var s statement
	s.write("SELECT ", JobColumns)
	t.fromJobs(&s, t.JobsFrom, q.Firm, q.AsOf)
	if len(q.Jobs) > 0 {
		s.in("job", q.Jobs)
	}
	if q.JobType != "" {
		s.and("job_type = ?", q.JobType)
	}
	if len(q.States) > 0 {
		s.in("state", texts(q.States))
	}
	s.finished(q.FinishedFrom, q.FinishedTo)
	if q.After != "" {
		s.and("job > ?", q.After)
	}
	s.write(" ORDER BY job")
	s.page(q.Limit, 0)
	return s.finish(), nil
}

// fromFacts writes FROM and WHERE for facts.
func (t Tables) fromFacts(s *statement, q reports.Query) {
	s.write(" FROM ", t.FactsFrom, " ", t.Before, "WHERE firm = ?")
	s.args = append(s.args, q.Firm)
	for _, c := range q.Where {
		s.in(string(c.Dimension), c.In)
	}
	if q.From != "" {
		s.and("day >= ?", string(q.From))
	}
	if q.To != "" {
		s.and("day <= ?", string(q.To))
	}
	s.asOf(q.AsOf)
	if q.FinishedFrom != "" || q.FinishedTo != "" || len(q.States) > 0 {
		s.write(" AND job IN (SELECT job")
		t.fromJobs(s, cmp.Or(t.JobsWithin, t.JobsFrom), q.Firm, q.AsOf)
		if len(q.States) > 0 {
			s.in("state", texts(q.States))
		}
		s.finished(q.FinishedFrom, q.FinishedTo)
		s.write(")")
	}
}

// fromJobs writes FROM and WHERE for the jobs of a firm as they stood. A firm is
// in one partition and a commit is of one job, so that within a firm the
// sequence alone says which row it is.
func (t Tables) fromJobs(s *statement, from, firm string, asOf uint64) {
	s.write(" FROM ", from, " WHERE firm = ? AND sequence IN (SELECT max(sequence) FROM ",
		cmp.Or(t.JobsWithin, t.JobsFrom), " WHERE firm = ?")
	s.args = append(s.args, firm, firm)
	s.asOf(asOf)
	s.write(" GROUP BY job)")
}

// statement is a [Statement] being written.
type statement struct {
	text strings.Builder
	args []any
}

func (s *statement) finish() Statement { return Statement{Text: s.text.String(), Args: s.args} }

func (s *statement) write(parts ...string) {
	for _, p := range parts {
		s.text.WriteString(p)
	}
}

func (s *statement) and(condition string, arg any) {
	s.write(" AND ", condition)
	s.args = append(s.args, arg)
}

func (s *statement) in(column string, values []string) {
	s.write(" AND ", column, " IN (?", strings.Repeat(", ?", len(values)-1), ")")
	for _, v := range values {
		s.args = append(s.args, v)
	}
}

// asOf bounds the sequence. Drivers take no unsigned argument beyond int64; no
// log is that long.
func (s *statement) asOf(position uint64) {
	if position > 0 {
		s.and("sequence <= ?", int64(min(position, math.MaxInt64)))
	}
}

// finished bounds the day a job was finished, where a bound is given. An empty
// day comes before every day.
func (s *statement) finished(from, to events.Day) {
	if from == "" && to == "" {
		return
	}
	if from == "" {
		s.write(" AND finished <> ''")
	} else {
		s.and("finished >= ?", string(from))
	}
	if to != "" {
		s.and("finished <= ?", string(to))
	}
}

// rowsMax is more rows than any store holds. LIMIT and OFFSET stay below it,
// since ClickHouse 18.16 adds them up without looking at the sum.
const rowsMax = 1 << 40

// page writes LIMIT and OFFSET. ClickHouse 18.16 knows no OFFSET without a LIMIT.
func (s *statement) page(limit, offset int) {
	if limit == 0 && offset == 0 {
		return
	}
	if limit == 0 {
		limit = rowsMax
	}
	s.write(" LIMIT ", strconv.Itoa(min(limit, rowsMax)))
	if offset > 0 {
		s.write(" OFFSET ", strconv.Itoa(min(offset, rowsMax)))
	}
}

// columns returns dimensions as a list. They were checked against the fixed
// list, and their values are the names of the columns.
func columns(by []reports.Dimension) string { return strings.Join(texts(by), ", ") }

func texts[T ~string](values []T) []string {
	out := make([]string, len(values))
	for i, v := range values {
		out[i] = string(v)
	}
	return out
}

// checkQuery also refuses what only a database would choke on.
func checkQuery(q reports.Query) error {
	if err := q.Validate(); err != nil {
		return err
	}
	for _, c := range q.Where {
		if err := checkText(string(c.Dimension), c.In...); err != nil {
			return err
		}
	}
	return nil
}

func checkJobQuery(q reports.JobQuery) error {
	if err := q.Validate(); err != nil {
		return err
	}
	if q.Limit < 0 {
		return events.Refuse("limit", q.Limit, "not negative")
	}
	if err := checkText("state", texts(q.States)...); err != nil {
		return err
	}
	if err := checkText("job_type", q.JobType); err != nil {
		return err
	}
	return checkText("after", q.After)
}

// checkText refuses text that is not UTF-8: no fact holds any.
func checkText(field string, values ...string) error {
	if i := slices.IndexFunc(values, func(v string) bool { return !utf8.ValidString(v) }); i >= 0 {
		return events.Refuse(field, values[i], "text in UTF-8")
	}
	return nil
}
