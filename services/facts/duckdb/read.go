package duckdb

import (
	"context"
	"fmt"
	"math"
	"slices"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/services/facts"
)

// Position implements [facts.Store].
func (s *Store) Position(ctx context.Context, partition uint8) (uint64, error) {
	ctx, done, err := s.use(ctx)
	if err != nil {
		return 0, fmt.Errorf("read position: %w", err)
	}
	defer done()
	at, _, err := position(s.db.QueryRowContext(ctx, positionQuery, partition))
	return at, ended(ctx, damage(err))
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
	err = s.read(ctx, statement, fields, func() {
		row := t
		row.By = slices.Clone(t.By)
		totals = append(totals, row)
	})
	if err != nil {
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
	err = s.read(ctx, statement, facts.FactFields(&f), func() { lines = append(lines, f) })
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
	err = s.read(ctx, statement, facts.JobFields(&j), func() { jobs = append(jobs, j) })
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
	err := s.read(ctx, statement, []any{&c.Sequence, &c.Raw}, func() { commits = append(commits, c) })
	if err != nil {
		return nil, fmt.Errorf("list commits of partition %d after %d: %w", partition, after, err)
	}
	return commits, nil
}

// read runs a statement, and calls each after every row it has scanned into
// fields.
func (s *Store) read(ctx context.Context, statement facts.Statement, fields []any, each func()) (err error) {
	ctx, done, err := s.use(ctx)
	if err != nil {
		return err
	}
	defer done()
	rows, err := s.db.QueryContext(ctx, statement.Text, statement.Args...)
	if err != nil {
		return ended(ctx, damage(err))
	}
	defer func() {
		if closing := rows.Close(); err == nil && closing != nil {
			err = ended(ctx, damage(closing))
		}
	}()
	for rows.Next() {
		if err := rows.Scan(fields...); err != nil {
			return ended(ctx, damage(err))
		}
		each()
	}
	if err := rows.Err(); err != nil {
		return ended(ctx, damage(err))
	}
	return nil
}
