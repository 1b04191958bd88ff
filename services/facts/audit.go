package facts

import (
	"context"
	"fmt"
	"math"

	"daysheet/events"
)

// Tally is what the rows of a run of commits come to: cheap to ask for, and
// different where a row is missing, comes twice or has another figure. It does
// not see words; comparing all of every row is what verifying does.
type Tally struct {
	Facts         int64 // rows
	Signs         int64 // sum of their signs
	Minutes       int64 // this and the next two: sums of sign times figure
	QuantityMilli int64
	CostE4        int64
	Jobs          int64 // rows
	Commits       int64 // rows
	Sequences     int64 // sum of the commits' sequences
	Bytes         int64 // sum of the commits' lengths
}

// Span is a run of commits of one partition, in which a tally is asked for each
// range. A range starts at a multiple of Width: the ranges of width 10 are the
// commits 1 to 9, 10 to 19 and so on.
type Span struct {
	Partition uint8
	From, To  uint64 // both belong to it
	Width     uint64 // commits in a range; 1 is a tally for each commit
}

// RangeOf returns where the range of the sequence starts.
func (s Span) RangeOf(sequence uint64) uint64 { return sequence - sequence%s.Width }

// Validate refuses a span that has no range.
func (s Span) Validate() error {
	switch {
	case s.Width == 0 || s.Width > math.MaxInt32:
		return events.Refuse("width", s.Width, "1 to %d", math.MaxInt32)
	case s.From == 0 || s.To < s.From || s.To > math.MaxInt64:
		return events.Refuse("to", s.To, "a sequence from %d on, which must be at least 1", s.From)
	}
	return nil
}

// Tallies holds tallies by the start of their range. A range without rows is
// not in it.
type Tallies map[uint64]Tally

// Of returns what a batch comes to, by ranges.
func (s Span) Of(b Batch) Tallies {
	tallies := Tallies{}
	for i := range b.Facts {
		f := &b.Facts[i]
		at, sign := s.RangeOf(f.Sequence), int64(f.Sign)
		tallies.add(at, Tally{Facts: 1, Signs: sign, Minutes: sign * f.Minutes,
			QuantityMilli: sign * f.QuantityMilli, CostE4: sign * f.CostE4})
	}
	for i := range b.Jobs {
		tallies.add(s.RangeOf(b.Jobs[i].Sequence), Tally{Jobs: 1})
	}
	for i := range b.Commits {
		c := &b.Commits[i]
		tallies.add(s.RangeOf(c.Sequence), Tally{Commits: 1, Sequences: int64(c.Sequence), Bytes: int64(len(c.Raw))})
	}
	return tallies
}

// Add adds other to t, range by range.
func (t Tallies) Add(other Tallies) {
	for at, tally := range other {
		t.add(at, tally)
	}
}

func (t Tallies) add(at uint64, more Tally) {
	sum := t[at]
	sum.Facts += more.Facts
	sum.Signs += more.Signs
	sum.Minutes += more.Minutes
	sum.QuantityMilli += more.QuantityMilli
	sum.CostE4 += more.CostE4
	sum.Jobs += more.Jobs
	sum.Commits += more.Commits
	sum.Sequences += more.Sequences
	sum.Bytes += more.Bytes
	t[at] = sum
}

// Auditor is what a store offers for an audit, beside [Store].
type Auditor interface {
	// Tallies returns what the rows in the store come to in each range of the span.
	Tallies(ctx context.Context, s Span) (Tallies, error)

	// Mend puts the rows of a batch into the store, wherever its position is, in
	// the place of what it has of these commits. A batch beyond the position is
	// refused: writing is what brings it there. Where a store can only add, rows
	// that the batch does not have stay, and show in the tallies afterwards.
	Mend(ctx context.Context, b Batch) error
}

// Counted says where the rows of an audit stand: beside the tables of queries
// that of commits, and how the engine asks for the number of bytes in raw.
type Counted struct {
	Tables
	CommitsFrom string
	RawBytes    string
}

// Tallies returns the statements for [Auditor.Tallies]: of facts, of jobs and of
// commits. Their rows hold 64-bit integers, for the fields of [Tallying.Fields].
func (c Counted) Tallies(s Span) ([]Statement, error) {
	if err := s.Validate(); err != nil {
		return nil, err
	}
	return []Statement{
		c.tally(s, c.FactsFrom, "sign, minutes, quantity_milli, cost_e4",
			"count(*)", "sum(sign)", "sum(sign * minutes)", "sum(sign * quantity_milli)", "sum(sign * cost_e4)"),
		c.tally(s, c.JobsFrom, "sequence", "count(*)"),
		c.tally(s, c.CommitsFrom, "sequence, "+c.RawBytes+" AS bytes", "count(*)", "sum(sequence)", "sum(bytes)"),
	}, nil
}

func (c Counted) tally(s Span, from, columns string, sums ...string) Statement {
	var t statement
	t.write("SELECT CAST(first AS BIGINT)")
	for _, sum := range sums {
		t.write(", CAST(", sum, " AS BIGINT)")
	}
	t.write(fmt.Sprintf(" FROM (SELECT sequence - sequence %% %d AS first, %s FROM ", s.Width, columns), from,
		" WHERE partition = ?")
	t.args = append(t.args, int64(s.Partition))
	t.and("sequence >= ?", int64(s.From))
	t.and("sequence <= ?", int64(s.To))
	t.write(") GROUP BY first")
	return t.finish()
}

// Tallying gathers the answers to the statements of [Counted.Tallies].
type Tallying struct {
	tallies Tallies
	first   int64
	row     Tally
}

// Fields returns where a row of the statement of that number is to be scanned
// into, each to an int64.
func (t *Tallying) Fields(statement int) []any {
	r := &t.row
	fields := [...][]any{
		{&r.Facts, &r.Signs, &r.Minutes, &r.QuantityMilli, &r.CostE4}, {&r.Jobs}, {&r.Commits, &r.Sequences, &r.Bytes},
	}
	return append([]any{&t.first}, fields[statement]...)
}

// Take takes in the row that was scanned.
func (t *Tallying) Take() {
	if t.tallies == nil {
		t.tallies = Tallies{}
	}
	t.tallies.add(uint64(t.first), t.row)
	t.row = Tally{}
}

// All returns the tallies of the rows that were taken in.
func (t *Tallying) All() Tallies {
	if t.tallies == nil {
		return Tallies{}
	}
	return t.tallies
}

// Part returns the commits of a batch from one sequence to another, both of which
// are in it, with what belongs to them. It shares the batch's memory.
func (b Batch) Part(from, to uint64) Batch {
	within := func(sequence uint64) bool { return sequence >= from && sequence <= to }
	return Batch{
		Partition: b.Partition, Position: to,
		Commits: slice(b.Commits, func(i int) bool { return within(b.Commits[i].Sequence) }),
		Facts:   slice(b.Facts, func(i int) bool { return within(b.Facts[i].Sequence) }),
		Jobs:    slice(b.Jobs, func(i int) bool { return within(b.Jobs[i].Sequence) }),
	}
}

// slice returns the one run of rows that are within.
func slice[T any](rows []T, within func(i int) bool) []T {
	first, end := len(rows), 0
	for i := range rows {
		if within(i) {
			first, end = min(first, i), i+1
		}
	}
	return rows[first:max(first, end)]
}

// Mendable refuses a batch that goes beyond the position of a store.
func (b Batch) Mendable(position uint64) error {
	if b.Position > position {
		return fmt.Errorf("batch of partition %d ends at commit %d, but the store has only those up to %d",
			b.Partition, b.Position, position)
	}
	return nil
}
