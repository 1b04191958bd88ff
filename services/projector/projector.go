package projector

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"sync/atomic"

	"daysheet/events"
	"daysheet/services/eventlog"
	"daysheet/services/facts"
)

// Log is what the projector asks of the log. All methods are safe for
// concurrent use.
type Log interface {
	// Follow calls deliver with the commits of the partition after the sequence,
	// in order and without gaps. It blocks until ctx ends or deliver fails.
	Follow(ctx context.Context, partition uint8, after uint64, deliver func([]events.Stored) error) error

	// Commits returns a job's commits up to the sequence, oldest first; upTo 0 is all.
	Commits(ctx context.Context, firm, job string, upTo uint64) ([]events.Stored, error)

	// Last returns the greatest sequence of the partition; 0 if it is empty.
	Last(ctx context.Context, partition uint8) (uint64, error)
}

// ErrLogBehind means that the store holds commits that the log does not: the
// log lost its tail, or an old backup of it was restored. Recording must be
// refused then, since new commits would take sequences that were used before.
var ErrLogBehind = errors.New("the log lost its tail or an old backup of it was restored; nothing may be recorded")

// DamageError says where the log cannot be read on. It is never passed over: a
// commit left out would make every later figure wrong.
type DamageError struct {
	Partition uint8
	Sequence  uint64
	Err       error // names the sequence in its text
}

// Error names partition, sequence and what is wrong.
func (e *DamageError) Error() string { return fmt.Sprintf("partition %d: %v", e.Partition, e.Err) }

// Unwrap returns what is wrong.
func (e *DamageError) Unwrap() error { return e.Err }

// Projector keeps a store in step with the log, and tells those who wait for it
// or watch it. It is made by [New]. All methods are safe for concurrent use.
type Projector struct {
	log       Log
	store     facts.Store
	logger    *slog.Logger
	limits    limits
	outlasts  func(error) bool // which errors of the store pass by themselves
	running   atomic.Bool
	outage    outage
	board     *board
	watchers  *watchers
	directory *directory
}

// New returns a projector that does nothing until [Projector.Run]. A nil logger
// is silent.
func New(log Log, store facts.Store, logger *slog.Logger) *Projector {
	if logger == nil {
		logger = slog.New(slog.DiscardHandler)
	}
	return &Projector{
		log: log, store: store, logger: logger, limits: defaultLimits, outlasts: func(error) bool { return false },
		board: newBoard(), watchers: newWatchers(), directory: newDirectory(log),
	}
}

// Outlast has [Projector.Run] and [Projector.Observe] try again after errors of the
// store for which passes is true: those of a server that is away and comes back.
// Without it every error of the store ends them. It must be called before.
func (p *Projector) Outlast(passes func(error) bool) { p.outlasts = passes }

// Run projects all partitions until ctx ends, which is not an error, or the log is
// damaged or the store fails. Where the log is damaged the error is a
// [*DamageError]; where it ends before the store does, it is [ErrLogBehind]. A log
// that does not answer is waited for, and so is a store, see [Projector.Outlast].
// Run must not be called twice at once.
func (p *Projector) Run(ctx context.Context) error { return p.persist(ctx, p.once) }

// once projects until something fails.
func (p *Projector) once(ctx context.Context) error {
	r := newReplay(p.log, p.store, p.limits)
	r.failing, r.awaited = p.failing, p.board.awaited
	r.written = func(w *work) {
		p.recovered() // before those who wait are told that it is
		p.directory.learn(w.batch.Partition, w.ofFirm)
		p.board.advance(w.batch.Partition, w.batch.Position)
		p.watchers.tell(w.notices)
	}
	if err := p.start(ctx, r); err != nil {
		return err
	}
	p.recovered() // log and store have just answered
	return r.run(ctx)
}

// start reads where the store stands and where the log ends.
func (p *Projector) start(ctx context.Context, r *replay) error {
	if err := r.locate(ctx); err != nil {
		return err
	}
	var behind uint64
	for _, l := range r.lanes {
		p.board.open(l.partition, l.position)
		behind += l.target - l.position
	}
	p.logger.InfoContext(ctx, "projector started", "commits_behind", behind)
	return nil
}

// Position returns the sequence of the last commit of the partition that is in
// the store; 0 if there is none, or before [Projector.Run] has asked the store.
func (p *Projector) Position(partition uint8) uint64 { return p.board.position(partition) }

// Wait returns nil once the commit at the sequence of the firm's partition is in
// the store. It fails when ctx ends first, or when the projector stopped.
func (p *Projector) Wait(ctx context.Context, firm string, sequence uint64) error {
	return p.board.wait(ctx, eventlog.Partition(firm), sequence)
}

// Lag returns how many commits are in the log and not yet in the store. Before
// [Projector.Run] has asked the store, that is the whole log.
func (p *Projector) Lag(ctx context.Context) (commits uint64, err error) {
	for partition := range uint8(eventlog.Partitions) {
		position := p.board.position(partition) // first, so that it cannot overtake the end
		last, err := p.log.Last(ctx, partition)
		if err != nil {
			return 0, fmt.Errorf("find the end of partition %d: %w", partition, err)
		}
		if last > position {
			commits += last - position
		}
	}
	return commits, nil
}

// Settle returns once everything that is in the log now is in the store. It fails when ctx
// ends first, or when the projector stopped.
func (p *Projector) Settle(ctx context.Context) error {
	for partition := range uint8(eventlog.Partitions) {
		last, err := p.log.Last(ctx, partition)
		if err != nil {
			return fmt.Errorf("find the end of partition %d: %w", partition, err)
		}
		if err := p.board.wait(ctx, partition, last); err != nil {
			return err
		}
	}
	return nil
}

// Watch tells of every commit of the firm once it is in the store. A reader
// that is slow loses the oldest notices. stop ends the watch and closes the
// channel; calling it again does nothing.
func (p *Projector) Watch(firm string) (notices <-chan Notice, stop func()) {
	return p.watchers.add(firm)
}
