package eventlog

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"github.com/nats-io/nats.go/jetstream"

	"daysheet/events"
)

// Bounds of what is sent to the new log before its answers are waited for.
const (
	windowMost      = 256
	windowBytesMost = 8 << 20
	windowTimeout   = time.Minute
)

// build writes the new log beside the old one and brings it to disk.
func (r *repair) build(ctx context.Context) error {
	path := r.cfg.Dir + repairing
	if err := os.RemoveAll(path); err != nil { // of a repair that was cut short
		return fmt.Errorf("make the new log: %w", err)
	}
	cfg := Config{Dir: path, MaxBytes: r.cfg.MaxBytes, RequestTimeout: r.cfg.RequestTimeout, Logger: r.cfg.Logger}
	for partition := range uint8(Partitions) {
		size, err := folderBytes(filepath.Join(streamFolder(r.cfg.Dir, partition), "msgs"))
		if err != nil {
			return err
		}
		cfg.MaxBytes = max(cfg.MaxBytes, min(2*size, maxBytesMost)) // the old one may have been made larger
	}
	w, err := NewWriter(ctx, cfg)
	if err != nil {
		return err
	}
	if err := r.fill(ctx, w); err != nil {
		return errors.Join(err, w.Discard())
	}
	if err := w.Close(ctx); err != nil {
		return err
	}
	if err := os.Rename(path, r.cfg.Dir+repaired); err != nil {
		return fmt.Errorf("make the new log: %w", err)
	}
	return syncPath(filepath.Dir(path))
}

// fill writes all commits into the new log.
func (r *repair) fill(ctx context.Context, w *Writer) error {
	var done uint64
	for partition := range uint8(Partitions) {
		m := r.merging(partition, func(s events.Stored) error {
			done++
			r.progress(done, r.report.Commits)
			return w.Add(ctx, s)
		})
		err := m.run(ctx)
		if err == nil {
			err = w.settle(ctx, partition)
		}
		if err != nil {
			return fmt.Errorf("repair partition %d: %w", partition, err)
		}
	}
	return nil
}

// window holds what was sent to the new log and not answered yet.
type window struct {
	partition uint8
	sequences []uint64
	futures   []jetstream.PubAckFuture
	bytes     int
	last      uint64    // sequence that was answered last
	broken    *breakage // of the new log's server; nil where it is not in this process
}

// add takes in a commit that was sent, and waits where there are many.
func (w *window) add(ctx context.Context, future jetstream.PubAckFuture, s events.Stored) error {
	w.futures, w.sequences = append(w.futures, future), append(w.sequences, s.Sequence)
	w.bytes += len(s.Raw)
	if len(w.futures) < windowMost && w.bytes < windowBytesMost {
		return nil
	}
	return w.settle(ctx)
}

// settle waits for all answers. Each must name the sequence that the commit had.
func (w *window) settle(ctx context.Context) error {
	ctx, cancel := context.WithTimeout(ctx, windowTimeout)
	defer cancel()
	var broken <-chan struct{}
	if w.broken != nil {
		broken = w.broken.done
	}
	for i, future := range w.futures {
		select { // of what is answered, some may not be written
		case <-broken:
			return fmt.Errorf("sequence %d: write to the new log: %w", w.sequences[i], w.broken.cause())
		default:
		}
		select {
		case ack := <-future.Ok():
			if ack.Sequence != w.sequences[i] || ack.Stream != streamName(w.partition) {
				return fmt.Errorf("sequence %d: the new log put the commit at sequence %d of %s",
					w.sequences[i], ack.Sequence, ack.Stream)
			}
			w.last = ack.Sequence
		case err := <-future.Err():
			return fmt.Errorf("sequence %d: write to the new log: %w", w.sequences[i], err)
		case <-broken:
			return fmt.Errorf("sequence %d: write to the new log: %w", w.sequences[i], w.broken.cause())
		case <-ctx.Done():
			return fmt.Errorf("sequence %d: write to the new log: %w", w.sequences[i], ctx.Err())
		}
	}
	w.futures, w.sequences, w.bytes = w.futures[:0], w.sequences[:0], 0
	return nil
}

// folderBytes returns how many bytes the files of a folder take; 0 where there is no
// such folder.
func folderBytes(folder string) (total int64, err error) {
	entries, err := os.ReadDir(folder)
	if err != nil && !errors.Is(err, os.ErrNotExist) {
		return 0, fmt.Errorf("measure the old log: %w", err)
	}
	for _, e := range entries {
		info, err := e.Info()
		if err != nil {
			return 0, fmt.Errorf("measure the old log: %w", err)
		}
		total += info.Size()
	}
	return total, nil
}
