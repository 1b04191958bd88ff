package projector

import (
	"context"
	"fmt"
	"sync"
	"time"

	"daysheet/services/eventlog"
	"daysheet/services/facts"
)

// limits bound what a replay holds in memory.
type limits struct {
	facts    int // facts of one batch, give or take one chunk of commits
	bytes    int // of one batch's commits, likewise
	held     int // of the jobs whose projections are kept, some 500 bytes each
	jobs     int // jobs kept at least, however many facts they have
	firms    int // histories of firms kept
	catching int // partitions that catch up at once, each with a large batch

	// pause is the least time between two writes of a partition that has caught
	// up. A lone commit is written at once; of many in a row, each write takes
	// those that came meanwhile. Without it every commit recorded would be
	// followed by a write of its own, and each write waits for the same disk
	// that recording waits for.
	pause time.Duration
}

var defaultLimits = limits{
	facts: 20_000, bytes: 8 << 20, held: 60_000, jobs: 64, firms: 1024, catching: 4, pause: 100 * time.Millisecond,
}

// target is what a replay asks of a store.
type target interface {
	Position(ctx context.Context, partition uint8) (uint64, error)
	Write(ctx context.Context, b facts.Batch) error
}

// replay is the one loop log → facts → store. Between newReplay and run its
// fields may be set; locate must have been called.
type replay struct {
	log        Log
	store      target
	limits     limits
	projection *projection
	lanes      []*lane

	once    bool                // end where the log ended at locate, do not follow on
	decoded func(message) error // sees each commit in its partition's order; an error ends the replay there
	written func(*work)         // told by the writer after each write, in its order

	// failing is asked after a write that failed, the attempt counted from 1. With
	// nil it waited and the write is tried again; its error ends the replay.
	failing func(ctx context.Context, w *work, attempt int, err error) error

	writes   chan *work
	catching chan struct{}
	awaited  [eventlog.Partitions]chan struct{} // yields where somebody waits for a partition; nil where nobody can
}

func newReplay(log Log, store target, l limits) *replay {
	return &replay{
		log: log, store: store, limits: l, projection: newProjection(log, l),
		decoded: func(message) error { return nil }, written: func(*work) {},
		failing:  func(_ context.Context, _ *work, _ int, err error) error { return err },
		catching: make(chan struct{}, l.catching),
	}
}

// locate reads where the store stands and where the log ends: in the partitions
// that are named, or in all.
func (r *replay) locate(ctx context.Context, partitions ...uint8) error {
	if len(partitions) == 0 {
		for partition := range uint8(eventlog.Partitions) {
			partitions = append(partitions, partition)
		}
	}
	r.lanes = nil
	for _, partition := range partitions {
		position, err := r.store.Position(ctx, partition)
		if err != nil {
			return fmt.Errorf("read position of partition %d: %w", partition, err)
		}
		last, err := r.log.Last(ctx, partition)
		if err != nil {
			return fmt.Errorf("find the end of partition %d: %w", partition, err)
		}
		if last < position {
			return behind(partition, last, position)
		}
		r.lanes = append(r.lanes, &lane{replay: r, partition: partition, position: position, target: last})
	}
	return nil
}

// behind says that the store holds more of a partition than the log.
func behind(partition uint8, last, position uint64) error {
	return fmt.Errorf("partition %d: the log ends at sequence %d and the store holds %d: %w",
		partition, last, position, ErrLogBehind)
}

// run replays until ctx ends or something fails; with once set, until each
// partition is where the log ended at locate. It returns the first failure,
// after what stands before it was written.
func (r *replay) run(ctx context.Context) error {
	lanesCtx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	r.writes = make(chan *work)
	var lanes, writer sync.WaitGroup
	for _, l := range r.lanes {
		lanes.Go(func() {
			if err := l.run(lanesCtx); err != nil {
				cancel(err) // the first one stays
			}
		})
	}
	writer.Go(func() {
		if err := r.write(ctx); err != nil {
			cancel(err)
		}
	})
	lanes.Wait()
	close(r.writes)
	writer.Wait()
	return context.Cause(lanesCtx)
}

// write is the one goroutine that writes to the store.
func (r *replay) write(ctx context.Context) error {
	for w := range r.writes {
		if err := r.put(ctx, w); err != nil {
			return fmt.Errorf("write partition %d up to sequence %d: %w", w.batch.Partition, w.batch.Position, err)
		}
		r.written(w)
	}
	return nil
}

// put writes a batch, again and again while that may still succeed. A batch that
// comes twice changes nothing.
func (r *replay) put(ctx context.Context, w *work) error {
	for attempt := 1; ; attempt++ {
		err := r.store.Write(ctx, w.batch)
		if err == nil {
			return nil
		}
		if err := r.failing(ctx, w, attempt, err); err != nil {
			return err
		}
	}
}
