package duckdb

import (
	"context"
	"database/sql/driver"
	"fmt"

	"daysheet/services/facts"
)

var _ facts.Auditor = (*Store)(nil)

// Tallies implements [facts.Auditor].
func (s *Store) Tallies(ctx context.Context, span facts.Span) (facts.Tallies, error) {
	statements, err := facts.Counted{Tables: s.tables, CommitsFrom: "commits", RawBytes: "octet_length(raw)"}.Tallies(span)
	if err != nil {
		return nil, err
	}
	var t facts.Tallying
	for i, statement := range statements {
		if err := s.read(ctx, statement, t.Fields(i), t.Take); err != nil {
			return nil, fmt.Errorf("count the rows of partition %d, commits %d to %d: %w",
				span.Partition, span.From, span.To, err)
		}
	}
	return t.All(), nil
}

// Mend implements [facts.Auditor]: in one transaction it deletes what there is of
// the batch's commits and adds the batch. The tables have no keys, so that the
// file's own log can be replayed whatever a transaction deletes and adds.
func (s *Store) Mend(ctx context.Context, b facts.Batch) error {
	return s.change(ctx, b, "mend", func(ctx context.Context) error {
		at, _, err := position(s.writer.QueryRowContext(ctx, positionQuery, b.Partition))
		if err != nil {
			return err
		}
		if err := b.Mendable(at); err != nil {
			return err
		}
		for _, table := range []string{"facts", "jobs", "commits"} {
			_, err := s.writer.ExecContext(ctx, "DELETE FROM "+table+" WHERE partition = ? AND sequence >= ? AND sequence <= ?",
				b.Partition, b.Commits[0].Sequence, b.Position)
			if err != nil {
				return fmt.Errorf("delete from %s: %w", table, err)
			}
		}
		return s.appendBatch(ctx, b)
	})
}

// appendBatch adds all rows of a batch inside a transaction.
func (s *Store) appendBatch(ctx context.Context, b facts.Batch) error {
	if err := s.appendFacts(ctx, b.Facts); err != nil {
		return err
	}
	if err := s.appendJobs(ctx, b.Jobs); err != nil {
		return err
	}
	return s.append(ctx, "commits", 3, len(b.Commits), func(i int, row []driver.Value) {
		c := &b.Commits[i]
		row[0], row[1], row[2] = c.Partition, c.Sequence, c.Raw
	})
}
