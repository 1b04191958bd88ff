package duckdb

import (
	"context"
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
		if err := s.read(ctx, statement, into{fields: t.Fields(i), each: t.Take}); err != nil {
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
		at, _, err := s.writer.position(ctx, b.Partition)
		if err != nil {
			return err
		}
		if err := b.Mendable(at); err != nil {
			return err
		}
		for _, table := range []string{"facts", "jobs", "commits"} {
			err := s.writer.exec(ctx, "DELETE FROM "+table+" WHERE partition = ? AND sequence >= ? AND sequence <= ?",
				b.Partition, b.Commits[0].Sequence, b.Position)
			if err != nil {
				return fmt.Errorf("delete from %s: %w", table, err)
			}
		}
		return s.appendBatch(ctx, b)
	})
}
