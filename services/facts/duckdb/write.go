package duckdb

import (
	"context"
	"database/sql"
	"database/sql/driver"
	"errors"
	"fmt"

	duck "github.com/duckdb/duckdb-go/v2"

	"daysheet/reports"
	"daysheet/services/facts"
)

// Write implements [facts.Store].
func (s *Store) Write(ctx context.Context, b facts.Batch) error {
	return s.change(ctx, b, "write", func(ctx context.Context) error { return s.add(ctx, b) })
}

// change runs work, which is named by the verb, on a valid batch: in a transaction,
// and while no other is at work.
func (s *Store) change(ctx context.Context, b facts.Batch, verb string, work func(context.Context) error) error {
	if err := b.Validate(); err != nil {
		return fmt.Errorf("%s facts: %w", verb, err)
	}
	ctx, done, err := s.use(ctx)
	if err != nil {
		return fmt.Errorf("%s facts: %w", verb, err)
	}
	defer done()
	select {
	case s.writing <- struct{}{}:
		defer func() { <-s.writing }()
	case <-ctx.Done():
		return fmt.Errorf("%s facts: %w", verb, context.Cause(ctx))
	}
	if err := s.transaction(ctx, func() error { return work(ctx) }); err != nil {
		return fmt.Errorf("%s facts of partition %d up to commit %d: %w", verb, b.Partition, b.Position, damage(err))
	}
	return nil
}

// transaction runs work on the writer's connection: all of it, or after an error
// or the end of ctx nothing of it.
func (s *Store) transaction(ctx context.Context, work func() error) (err error) {
	if ctx.Err() != nil {
		return context.Cause(ctx)
	}
	// Beginning and ending are not given up half way: afterwards nobody would
	// know whether a transaction is open, or whether it is on disk.
	lasting := context.WithoutCancel(ctx)
	if _, err := s.writer.ExecContext(lasting, "BEGIN TRANSACTION"); err != nil {
		return fmt.Errorf("begin: %w", err)
	}
	if err = ended(ctx, work()); err != nil {
		if _, undo := s.writer.ExecContext(lasting, "ROLLBACK"); undo != nil {
			err = errors.Join(err, fmt.Errorf("roll back: %w", undo))
		}
		return err
	}
	if _, err := s.writer.ExecContext(lasting, "COMMIT"); err != nil {
		return fmt.Errorf("commit: %w", err)
	}
	return nil
}

// add appends what the store does not have, and moves the position, inside a
// transaction.
func (s *Store) add(ctx context.Context, b facts.Batch) error {
	position, known, err := position(s.writer.QueryRowContext(ctx, positionQuery, b.Partition))
	if err != nil {
		return err
	}
	if b, err = b.After(position); err != nil || len(b.Commits) == 0 {
		return err
	}
	if err := s.appendBatch(ctx, b); err != nil {
		return err
	}
	change := "INSERT INTO positions (position, partition) VALUES (?, ?)"
	if known {
		change = "UPDATE positions SET position = ? WHERE partition = ?"
	}
	if _, err := s.writer.ExecContext(ctx, change, b.Position, b.Partition); err != nil {
		return fmt.Errorf("move position: %w", err)
	}
	return nil
}

const positionQuery = "SELECT position FROM positions WHERE partition = ?"

// position reads the answer to positionQuery; known is false where the partition
// has no row yet.
func position(row *sql.Row) (position uint64, known bool, err error) {
	switch err := row.Scan(&position); {
	case errors.Is(err, sql.ErrNoRows):
		return 0, false, nil
	case err != nil:
		return 0, false, fmt.Errorf("read position: %w", err)
	}
	return position, true, nil
}

func (s *Store) appendFacts(ctx context.Context, rows []reports.Fact) error {
	var f reports.Fact
	fields := facts.FactFields(&f)
	return s.append(ctx, "facts", len(fields)+1, len(rows), func(i int, row []driver.Value) {
		f = rows[i]
		fill(row, fields)
		keep(row, len(fields), string(f.Day.Month()))
	})
}

func (s *Store) appendJobs(ctx context.Context, rows []reports.JobRow) error {
	var j reports.JobRow
	fields := facts.JobFields(&j)
	return s.append(ctx, "jobs", len(fields), len(rows), func(i int, row []driver.Value) {
		j = rows[i]
		fill(row, fields)
	})
}

// fill puts what the fields point at into the row.
func fill(row []driver.Value, fields []any) {
	for i, field := range fields {
		switch p := field.(type) {
		case *string:
			keep(row, i, *p)
		case *int64:
			keep(row, i, *p)
		case *uint64:
			keep(row, i, *p)
		case *uint32:
			keep(row, i, *p)
		case *uint8:
			keep(row, i, *p)
		case *int8:
			keep(row, i, *p)
		}
	}
}

// keep sets a value of the row where it differs from the row before: most of
// them do not, and putting a value into an interface allocates.
func keep[T comparable](row []driver.Value, i int, v T) {
	if old, ok := row[i].(T); !ok || old != v {
		row[i] = v
	}
}

// append adds n rows to a table in the writer's open transaction. set fills the
// row of number i; it finds there what it set the time before.
func (s *Store) append(ctx context.Context, table string, width, n int, set func(i int, row []driver.Value)) error {
	if n == 0 {
		return nil
	}
	err := s.writer.Raw(func(connection any) error {
		appender, err := duck.NewAppenderFromConn(connection.(driver.Conn), "", table)
		if err != nil {
			return err
		}
		row := make([]driver.Value, width)
		for i := range n {
			if i%duck.GetDataChunkCapacity() == 0 && ctx.Err() != nil {
				return errors.Join(context.Cause(ctx), appender.Clear(), appender.Close())
			}
			set(i, row)
			if err := appender.AppendRow(row...); err != nil {
				return errors.Join(err, appender.Clear(), appender.Close())
			}
		}
		return appender.CloseWithCancel(ctx)
	})
	if err != nil {
		return fmt.Errorf("append to %s: %w", table, err)
	}
	return nil
}
