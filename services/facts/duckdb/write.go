package duckdb

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"syscall"

	"daysheet/events"
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
		return fmt.Errorf("%s facts of partition %d up to commit %d: %w", verb, b.Partition, b.Position, s.failed(err))
	}
	most := int64(checkpointLive)
	if len(b.Facts) > liveFacts {
		most = checkpointFilling
	}
	if err := s.settle(ctx, most); err != nil {
		return fmt.Errorf("%s facts of partition %d, move them into the file: %w", verb, b.Partition, s.failed(err))
	}
	return nil
}

// settle moves what the write-ahead log holds into the file where that has become
// more than most bytes. Where the disk has no room for it, nothing is moved: DuckDB would
// answer nothing any more, while a log that finds no room is a write that fails.
func (s *Store) settle(ctx context.Context, most int64) error {
	info, err := os.Stat(s.path + ".wal")
	if errors.Is(err, fs.ErrNotExist) || err == nil && info.Size() < most {
		return nil
	}
	var left int64
	if err == nil {
		left, err = s.room(s.path)
	}
	if err == nil && left < 2*info.Size()+checkpointRoom {
		return nil
	}
	if err == nil {
		err = s.writer.run(ctx, "CHECKPOINT")
	}
	var e engineError
	if errors.As(err, &e) && e.is("TransactionContext") { // a reader is in the way: the next write comes
		return nil
	}
	if ctx.Err() != nil { // what was written is there, and the next write moves it
		return nil
	}
	return err
}

// roomOf returns how many bytes the disk of a file has left.
func roomOf(path string) (int64, error) {
	var disk syscall.Statfs_t
	if err := syscall.Statfs(path, &disk); err != nil {
		return 0, fmt.Errorf("look for room on the disk: %w", err)
	}
	return int64(disk.Bavail) * int64(disk.Bsize), nil
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
	if err := s.writer.run(lasting, "BEGIN TRANSACTION"); err != nil {
		return fmt.Errorf("begin: %w", err)
	}
	if err = ended(ctx, work()); err != nil {
		if undo := s.writer.run(lasting, "ROLLBACK"); undo != nil {
			err = errors.Join(err, fmt.Errorf("roll back: %w", undo))
		}
		return err
	}
	if err := s.writer.run(lasting, "COMMIT"); err != nil {
		return fmt.Errorf("commit: %w", err)
	}
	return nil
}

// add appends what the store does not have, and moves the position, inside a
// transaction.
func (s *Store) add(ctx context.Context, b facts.Batch) error {
	position, known, err := s.writer.position(ctx, b.Partition)
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
	if err := s.writer.exec(ctx, change, b.Position, b.Partition); err != nil {
		return fmt.Errorf("move position: %w", err)
	}
	return nil
}

const positionQuery = "SELECT position FROM positions WHERE partition = ?"

// position reads where the store stands; known is false where the partition has no
// row yet.
func (c *connection) position(ctx context.Context, partition uint8) (position uint64, known bool, err error) {
	err = c.query(ctx, positionQuery, []any{partition}, into{fields: []any{&position}, each: func() { known = true }})
	if err != nil {
		return 0, false, fmt.Errorf("read position: %w", err)
	}
	return position, known, nil
}

// appendBatch adds all rows of a batch inside a transaction.
func (s *Store) appendBatch(ctx context.Context, b facts.Batch) error {
	var (
		f     reports.Fact
		month string
		j     reports.JobRow
		c     events.Stored
	)
	err := s.writer.append(ctx, "facts", append(facts.FactFields(&f), &month), len(b.Facts), func(i int) {
		f = b.Facts[i]
		month = string(f.Day.Month())
	})
	if err != nil {
		return err
	}
	if err := s.writer.append(ctx, "jobs", facts.JobFields(&j), len(b.Jobs), func(i int) { j = b.Jobs[i] }); err != nil {
		return err
	}
	return s.writer.append(ctx, "commits", []any{&c.Partition, &c.Sequence, &c.Raw}, len(b.Commits),
		func(i int) { c = b.Commits[i] })
}
