package projector

import (
	"context"
	"fmt"
	"sync"

	"daysheet/events"
	"daysheet/services/eventlog"
)

// board shows how far each partition has come, to those who wait for it.
type board struct {
	mu      sync.Mutex
	at      [eventlog.Partitions]uint64
	changed [eventlog.Partitions]chan struct{} // closed and replaced at every change
	stopped error                              // why nothing will change any more; nil while it may

	awaited [eventlog.Partitions]chan struct{} // full where somebody began to wait
}

func newBoard() *board {
	b := &board{}
	for i := range b.changed {
		b.changed[i], b.awaited[i] = make(chan struct{}), make(chan struct{}, 1)
	}
	return b
}

func (b *board) position(partition uint8) uint64 {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.at[partition]
}

// open starts a partition at the position, also after a stop.
func (b *board) open(partition uint8, position uint64) {
	b.mu.Lock()
	b.stopped = nil
	b.mu.Unlock()
	b.advance(partition, position)
}

func (b *board) advance(partition uint8, position uint64) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.at[partition] = position
	b.wake(partition)
}

// stop lets everyone who waits fail.
func (b *board) stop(cause error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.stopped = cause
	for partition := range b.changed {
		b.wake(uint8(partition))
	}
}

func (b *board) wake(partition uint8) {
	close(b.changed[partition])
	b.changed[partition] = make(chan struct{})
}

func (b *board) wait(ctx context.Context, partition uint8, sequence uint64) error {
	for {
		b.mu.Lock()
		position, changed, stopped := b.at[partition], b.changed[partition], b.stopped
		b.mu.Unlock()
		switch {
		case position >= sequence:
			return nil
		case stopped != nil:
			return &events.Error{Code: events.Unavailable,
				Rule: fmt.Sprintf("sequence %d is recorded, but reports stand at %d: the projector stopped", sequence, position)}
		}
		select {
		case b.awaited[partition] <- struct{}{}:
		default: // who waits already has said so
		}
		select {
		case <-changed:
		case <-ctx.Done():
			return fmt.Errorf("wait for sequence %d of partition %d: %w", sequence, partition, ctx.Err())
		}
	}
}
