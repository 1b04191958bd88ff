package duckdb

import (
	"context"
	"fmt"
	"math"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/services/facts"
)

// Position implements [facts.Store].
func (s *Store) Position(ctx context.Context, partition uint8) (uint64, error) {
	var at uint64
	err := s.read(ctx, facts.Statement{Text: positionQuery, Args: []any{partition}}, into{fields: []any{&at}})
	if err != nil {
		return 0, fmt.Errorf("read position: %w", err)
	}
	return at, nil
}

// Sum implements [facts.Store].
func (s *Store) Sum(ctx context.Context, q reports.Query) ([]reports.Total, error) {
	statement, err := s.tables.Sum(q)
	if err != nil {
		return nil, err
	}
	var (
		totals []reports.Total
		t      = reports.Total{By: make([]string, len(q.By))}
		fields = make([]any, 0, len(q.By)+4)
	)
	for i := range t.By {
		fields = append(fields, &t.By[i])
	}
	fields = append(fields, &t.Minutes, &t.QuantityMilli, &t.CostE4, &t.Facts)
	var texts []string // the By of many rows, so that not each of them allocates
	each := func() {
		if len(texts)+len(t.By) > cap(texts) {
			texts = make([]string, 0, textsAtOnce+len(t.By))
		}
		from := len(texts)
		texts = append(texts, t.By...)
		row := t
		row.By = texts[from:len(texts):len(texts)]
		totals = append(totals, row)
	}
	if err := s.read(ctx, statement, into{fields, room(&totals), each}); err != nil {
		return nil, fmt.Errorf("add facts of %s up: %w", q.Firm, err)
	}
	return totals, nil
}

// Lines implements [facts.Store].
func (s *Store) Lines(ctx context.Context, q reports.Query) ([]reports.Fact, error) {
	statement, err := s.tables.Lines(q)
	if err != nil {
		return nil, err
	}
	var (
		lines []reports.Fact
		f     reports.Fact
	)
	err = s.read(ctx, statement, into{facts.FactFields(&f), room(&lines), func() { lines = append(lines, f) }})
	if err != nil {
		return nil, fmt.Errorf("list facts of %s: %w", q.Firm, err)
	}
	return lines, nil
}

// Jobs implements [facts.Store].
func (s *Store) Jobs(ctx context.Context, q reports.JobQuery) ([]reports.JobRow, error) {
	statement, err := s.tables.Jobs(q)
	if err != nil {
		return nil, err
	}
	var (
		jobs []reports.JobRow
		j    reports.JobRow
	)
	err = s.read(ctx, statement, into{facts.JobFields(&j), room(&jobs), func() { jobs = append(jobs, j) }})
	if err != nil {
		return nil, fmt.Errorf("list jobs of %s: %w", q.Firm, err)
	}
	return jobs, nil
}

// Commits implements [facts.Archive].
func (s *Store) Commits(ctx context.Context, partition uint8, after uint64, limit int) ([]events.Stored, error) {
	if limit < 1 {
		return nil, events.Refuse("limit", limit, "at least 1")
	}
	var (
		commits []events.Stored
		c       = events.Stored{Partition: partition}
	)
	statement := facts.Statement{
		Text: "SELECT sequence, raw FROM commits WHERE partition = ? AND sequence > ? ORDER BY sequence LIMIT ?",
		Args: []any{int64(partition), int64(min(after, math.MaxInt64)), int64(limit)},
	}
	each := func() { commits = append(commits, c) }
	err := s.read(ctx, statement, into{[]any{&c.Sequence, &c.Raw}, room(&commits), each})
	if err != nil {
		return nil, fmt.Errorf("list commits of partition %d after %d: %w", partition, after, err)
	}
	return commits, nil
}

// room returns what makes room in an empty list for so many rows at once: one that
// grows copies all of them again and again.
func room[T any](list *[]T) func(n int) {
	return func(n int) { *list = make([]T, 0, n) }
}

// textsAtOnce is how many texts of sums are given room at a time.
const textsAtOnce = 256

// read runs a statement on a connection of its own.
func (s *Store) read(ctx context.Context, statement facts.Statement, to into) error {
	ctx, done, err := s.use(ctx)
	if err != nil {
		return err
	}
	defer done()
	var reader *connection
	select {
	case reader = <-s.readers:
		defer func() { s.readers <- reader }()
	case <-ctx.Done():
		return context.Cause(ctx)
	}
	if reader.handle.Ptr == nil {
		if err := reader.connect(s.database); err != nil {
			return err
		}
	}
	return ended(ctx, s.failed(reader.query(ctx, statement.Text, statement.Args, to)))
}
