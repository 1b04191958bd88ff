package eventlog

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"daysheet/events"
)

// Writer makes a new embedded log of commits that were recorded before, each under its
// own sequence. It is not safe for concurrent use.
type Writer struct {
	log     *Log
	windows [Partitions]*window
	chains  [Partitions]chains
	lasts   [Partitions]uint64
}

// NewWriter begins a log in the folder of the configuration. It refuses one that holds a
// log. What is written is on disk after [Writer.Close], not before.
func NewWriter(ctx context.Context, cfg Config) (*Writer, error) {
	if cfg.Dir == "" {
		return nil, events.Refuse("Dir", cfg.Dir, "only an embedded log is written anew: name its folder")
	}
	if _, err := os.Stat(filepath.Join(cfg.Dir, lockName)); err == nil {
		return nil, events.Refuse("Dir", cfg.Dir, "there is a log in this folder")
	}
	cfg.syncLater = true
	l, err := Open(ctx, cfg)
	if err != nil {
		return nil, fmt.Errorf("make the new log: %w", err)
	}
	w := &Writer{log: l}
	for partition := range uint8(Partitions) {
		w.windows[partition], w.chains[partition] = &window{partition: partition, broken: l.inside.broken}, chains{}
	}
	return w, nil
}

// Add writes the next commit of a partition, and proves that it is that, and the next of
// its job. The commit must stay as it is until Close.
func (w *Writer) Add(ctx context.Context, s events.Stored) error {
	if err := checkPartition(s.Partition); err != nil {
		return err
	}
	if s.Sequence != w.lasts[s.Partition]+1 {
		return fmt.Errorf("partition %d: sequence %d is followed by %d: commits are missing",
			s.Partition, w.lasts[s.Partition], s.Sequence)
	}
	message, err := w.chains[s.Partition].next(s)
	if err != nil {
		return err
	}
	future, err := w.log.js.PublishMsgAsync(message)
	if err != nil {
		return fmt.Errorf("sequence %d: write to the new log: %w", s.Sequence, err)
	}
	w.lasts[s.Partition] = s.Sequence
	return w.windows[s.Partition].add(ctx, future, s)
}

// settle waits until everything of a partition is in the log.
func (w *Writer) settle(ctx context.Context, partition uint8) error {
	if err := w.windows[partition].settle(ctx); err != nil {
		return err
	}
	return w.log.Check(ctx, partition, w.lasts[partition])
}

// Close waits for what was added, closes the log and brings it to disk.
func (w *Writer) Close(ctx context.Context) error {
	for partition := range uint8(Partitions) {
		if err := w.settle(ctx, partition); err != nil {
			return errors.Join(err, w.Discard())
		}
	}
	if err := w.log.Close(); err != nil {
		return err
	}
	return syncTree(w.log.cfg.Dir)
}

// Discard closes a log that is not wanted any more. What was written of it stays in the
// folder.
func (w *Writer) Discard() error { return w.log.Close() }
