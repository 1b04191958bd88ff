package clickhouse

import (
	"context"
	"fmt"

	"daysheet/services/facts"
)

var _ facts.Auditor = (*Store)(nil)

// Tallies implements [facts.Auditor]. It reads with FINAL whatever the options
// say: a row that was sent twice is no fault.
func (s *Store) Tallies(ctx context.Context, span facts.Span) (facts.Tallies, error) {
	counted := facts.Counted{
		Tables: tablesFrom(Options{}), CommitsFrom: commitsTable + " FINAL", RawBytes: "length(raw)",
	}
	statements, err := counted.Tallies(span)
	if err != nil {
		return nil, err
	}
	var t facts.Tallying
	for i, statement := range statements {
		err := s.call(ctx, func(ctx context.Context, l *link) error {
			return query(ctx, l, statement, t.Fields(i), t.Take)
		})
		if err != nil {
			return nil, fmt.Errorf("count the rows of partition %d, commits %d to %d: %w",
				span.Partition, span.From, span.To, err)
		}
	}
	return t.All(), nil
}

// Mend implements [facts.Auditor] by inserting the batch again, commits last. Of
// rows with the same key the one inserted last is the one that is read. A row
// with a key that the batch does not have stays.
func (s *Store) Mend(ctx context.Context, b facts.Batch) error {
	if err := b.Validate(); err != nil {
		return fmt.Errorf("mend facts: %w", err)
	}
	err := s.change(ctx, func(ctx context.Context, l *link) error {
		position, err := s.position(ctx, l, b.Partition)
		if err != nil {
			return err
		}
		if err := b.Mendable(position); err != nil {
			return err
		}
		return insertBatch(ctx, l, b)
	})
	if err != nil {
		return fmt.Errorf("mend facts of partition %d up to commit %d: %w", b.Partition, b.Position, err)
	}
	return nil
}

// insertBatch sends all rows of a batch.
func insertBatch(ctx context.Context, l *link, b facts.Batch) error {
	if err := insertFacts(ctx, l, b.Facts); err != nil {
		return err
	}
	if err := insertJobs(ctx, l, b.Jobs); err != nil {
		return err
	}
	return insertCommits(ctx, l, b.Commits)
}
