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
		totals rows[reports.Total]
		t      = reports.Total{By: make([]string, len(q.By))}
		fields = make([]any, 0, len(q.By)+4)
	)
	for i := range t.By {
		fields = append(fields, &t.By[i])
	}
	fields = append(fields, &t.Minutes, &t.QuantityMilli, &t.CostE4, &t.Facts)
	var texts []string // the By of many rows, so that not each of them allocates
	err = s.read(ctx, statement, fields, func() {
		if len(texts)+len(t.By) > cap(texts) {
			texts = make([]string, 0, textsAtOnce+len(t.By))
		}
		from := len(texts)
		texts = append(texts, t.By...)
		row := t
		row.By = texts[from:len(texts):len(texts)]
		totals.add(row)
	})
	if err != nil {
		return nil, fmt.Errorf("add facts of %s up: %w", q.Firm, err)
	}
	return totals.all(), nil
}

// Lines implements [facts.Store].
func (s *Store) Lines(ctx context.Context, q reports.Query) ([]reports.Fact, error) {
	statement, err := s.tables.Lines(q)
	if err != nil {
		return nil, err
	}
	var (
		lines rows[reports.Fact]
		f     reports.Fact
	)
	err = s.read(ctx, statement, facts.FactFields(&f), func() { lines.add(f) })
	if err != nil {
		return nil, fmt.Errorf("list facts of %s: %w", q.Firm, err)
	}
	return lines.all(), nil
}

// Jobs implements [facts.Store].
func (s *Store) Jobs(ctx context.Context, q reports.JobQuery) ([]reports.JobRow, error) {
	statement, err := s.tables.Jobs(q)
	if err != nil {
		return nil, err
	}
	var (
		jobs rows[reports.JobRow]
		j    reports.JobRow
	)
	err = s.read(ctx, statement, facts.JobFields(&j), func() { jobs.add(j) })
	if err != nil {
		return nil, fmt.Errorf("list jobs of %s: %w", q.Firm, err)
	}
	return jobs.all(), nil
}

// Commits implements [facts.Archive].
func (s *Store) Commits(ctx context.Context, partition uint8, after uint64, limit int) ([]events.Stored, error) {
	if limit < 1 {
		return nil, events.Refuse("limit", limit, "at least 1")
	}
	var (
		commits rows[events.Stored]
		c       = events.Stored{Partition: partition}
	)
	statement := facts.Statement{
		Text: "SELECT sequence, raw FROM commits WHERE partition = ? AND sequence > ? ORDER BY sequence LIMIT ?",
		Args: []any{int64(partition), int64(min(after, math.MaxInt64)), int64(limit)},
	}
	err := s.read(ctx, statement, []any{&c.Sequence, &c.Raw}, func() { commits.add(c) })
	if err != nil {
		return nil, fmt.Errorf("list commits of partition %d after %d: %w", partition, after, err)
	}
	return commits.all(), nil
}

// textsAtOnce is how many texts of sums are given room at a time.
const textsAtOnce = 256

// read runs a statement, and calls each after every row it has put into fields.
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
	values, into := make([]any, len(fields)), make([]any, len(fields))
	for i := range values {
		into[i] = &values[i]
	}
	for rows.Next() {
		if err := rows.Scan(into...); err != nil {
			return ended(ctx, damage(err))
		}
		for i, field := range fields {
			if !put(field, values[i]) {
				return fmt.Errorf("column %d is %T, which does not go into %T", i+1, values[i], field)
			}
		}
		each()
	}
	if err := rows.Err(); err != nil {
		return ended(ctx, damage(err))
	}
	return nil
}

// put sets what the field points at. The types are those of the columns, as the
// driver gives them: nothing is converted, which by Scan would take as long as
// the query itself where there are many rows.
func put(field, value any) (ok bool) {
	switch p := field.(type) {
	case *string:
		*p, ok = value.(string)
	case *int64:
		*p, ok = value.(int64)
	case *uint64:
		*p, ok = value.(uint64)
	case *uint32:
		*p, ok = value.(uint32)
	case *uint8:
		*p, ok = value.(uint8)
	case *int8:
		*p, ok = value.(int8)
	case *[]byte:
		*p, ok = value.([]byte)
	}
	return ok
}
