package clickhouse

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/services/facts"
)

// Position implements [facts.Store].
func (s *Store) Position(ctx context.Context, partition uint8) (at uint64, err error) {
	err = s.call(ctx, func(ctx context.Context, l *link) error {
		at, err = s.position(ctx, l, partition)
		return err
	})
	return at, err
}

// position reads the greatest sequence of a partition's commits. It looks only
// from where the partition is known to have been: the commits before are many.
func (s *Store) position(ctx context.Context, l *link, partition uint8) (at uint64, err error) {
	ctx = s.agreed(ctx)
	floor := s.floors[partition].Load()
	for {
		row := l.pool.QueryRow(ctx, "SELECT max(sequence) FROM "+commitsTable+" WHERE partition = ? AND sequence >= ?",
			int64(partition), int64(floor))
		if err := row.Scan(&at); err != nil {
			return 0, fmt.Errorf("read position of partition %d: %w", partition, err)
		}
		if at >= floor {
			s.floors[partition].Store(at)
			return at, nil
		}
		floor = 0 // someone took commits away
	}
}

// bound lowers asOf to the position of the firm's partition: rows beyond it are
// of a batch that is not there as a whole. known is false where the store has
// nothing of the firm.
func (s *Store) bound(ctx context.Context, l *link, firm string, asOf *uint64) (known bool, err error) {
	partition, known, err := s.partitionOf(ctx, l, firm)
	if err != nil || !known {
		return false, err
	}
	at, err := s.position(ctx, l, partition)
	if err != nil || at == 0 {
		return false, err
	}
	if *asOf == 0 || *asOf > at {
		*asOf = at
	}
	return true, nil
}

// partitionOf finds the partition that a firm is in by any row of the firm.
func (s *Store) partitionOf(ctx context.Context, l *link, firm string) (partition uint8, known bool, err error) {
	if found, ok := s.firms.Load(firm); ok {
		return found.(uint8), true, nil
	}
	statement := facts.Statement{
		Text: "SELECT partition FROM (SELECT partition FROM " + jobsTable + " WHERE firm = ? LIMIT 1 " +
			"UNION ALL SELECT partition FROM " + factsTable + " WHERE firm = ? LIMIT 1)",
		Args: []any{firm, firm},
	}
	err = query(ctx, l, statement, []any{&partition}, func() { known = true })
	if err != nil {
		return 0, false, fmt.Errorf("find the partition of %s: %w", firm, err)
	}
	if known {
		s.firms.Store(firm, partition)
	}
	return partition, known, nil
}

// Sum implements [facts.Store].
func (s *Store) Sum(ctx context.Context, q reports.Query) ([]reports.Total, error) {
	var (
		totals []reports.Total
		t      = reports.Total{By: make([]string, len(q.By))}
		fields = make([]any, 0, len(q.By)+4)
	)
	for i := range t.By {
		fields = append(fields, &t.By[i])
	}
	fields = append(fields, &t.Minutes, &t.QuantityMilli, &t.CostE4, &t.Facts)
	ask := func() (facts.Statement, error) { return s.tables.Sum(q) }
	err := s.answer(ctx, q.Firm, &q.AsOf, ask, fields, func() {
		row := t
		row.By = slices.Clone(t.By)
		totals = append(totals, row)
	})
	if err != nil {
		return nil, fmt.Errorf("add facts up: %w", err)
	}
	return totals, nil
}

// Lines implements [facts.Store].
func (s *Store) Lines(ctx context.Context, q reports.Query) ([]reports.Fact, error) {
	var (
		lines []reports.Fact
		f     reports.Fact
	)
	ask := func() (facts.Statement, error) { return s.tables.Lines(q) }
	err := s.answer(ctx, q.Firm, &q.AsOf, ask, facts.FactFields(&f), func() { lines = append(lines, f) })
	if err != nil {
		return nil, fmt.Errorf("list facts: %w", err)
	}
	return lines, nil
}

// Jobs implements [facts.Store].
func (s *Store) Jobs(ctx context.Context, q reports.JobQuery) ([]reports.JobRow, error) {
	var (
		jobs []reports.JobRow
		j    reports.JobRow
	)
	ask := func() (facts.Statement, error) { return s.tables.Jobs(q) }
	err := s.answer(ctx, q.Firm, &q.AsOf, ask, facts.JobFields(&j), func() { jobs = append(jobs, j) })
	if err != nil {
		return nil, fmt.Errorf("list jobs: %w", err)
	}
	return jobs, nil
}

// answer runs the statement that ask gives once asOf is at most the position.
func (s *Store) answer(ctx context.Context, firm string, asOf *uint64, ask func() (facts.Statement, error),
	fields []any, each func(),
) error {
	if _, err := ask(); err != nil {
		return err // a bad question does not get to the server
	}
	return s.call(ctx, func(ctx context.Context, l *link) error {
		known, err := s.bound(ctx, l, firm, asOf)
		if err != nil || !known {
			return err
		}
		statement, err := ask()
		if err != nil {
			return err
		}
		return query(ctx, l, statement, fields, each)
	})
}

// Commits implements [facts.Archive].
func (s *Store) Commits(ctx context.Context, partition uint8, after uint64, limit int) ([]events.Stored, error) {
	if limit < 1 {
		return nil, events.Refuse("limit", limit, "at least 1")
	}
	var commits []events.Stored
	err := s.call(ctx, func(ctx context.Context, l *link) error {
		last, err := s.position(ctx, l, partition)
		// Sequences have no gaps, so that the first span holds what is asked for. It
		// grows only where the server has lost something.
		for span := uint64(limit); err == nil && len(commits) < limit && after < last; span *= 2 {
			upTo := after + min(span, last-after)
			commits, err = between(ctx, l, partition, after, upTo, limit, commits)
			after = upTo
		}
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("list commits of partition %d: %w", partition, err)
	}
	return commits, nil
}

// between appends the commits after one sequence up to another, of which commits
// has limit at most then.
func between(ctx context.Context, l *link, partition uint8, after, upTo uint64, limit int, commits []events.Stored,
) ([]events.Stored, error) {
	c := events.Stored{Partition: partition}
	statement := facts.Statement{
		Text: "SELECT sequence, raw FROM " + commitsTable + " FINAL " +
			"WHERE partition = ? AND sequence > ? AND sequence <= ? ORDER BY sequence LIMIT ?",
		Args: []any{int64(partition), int64(after), int64(upTo), int64(limit - len(commits))},
	}
	err := query(ctx, l, statement, []any{&c.Sequence, &c.Raw}, func() { commits = append(commits, c) })
	return commits, err
}

// query runs a statement, and calls each after every row it has scanned into
// fields.
func query(ctx context.Context, l *link, statement facts.Statement, fields []any, each func()) error {
	rows, err := l.pool.Query(ctx, statement.Text, statement.Args...)
	if err != nil {
		return err
	}
	for rows.Next() {
		if err := rows.Scan(fields...); err != nil {
			return errors.Join(err, rows.Close())
		}
		each()
	}
	if err := rows.Close(); err != nil {
		return err
	}
	return rows.Err()
}
