package projector

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"daysheet/events"
)

// The pauses while something is away: twice as long each time, up to a limit.
const (
	outagePause    = 50 * time.Millisecond
	outagePauseMax = 5 * time.Second
)

// errFell says that the store holds less than it did: its server lost the end of
// its tables, or somebody dropped them. Projecting starts again from there.
var errFell = errors.New("the store holds fewer commits than it did")

// Trouble is why the store does not keep up with the log.
type Trouble struct {
	Since   time.Time // of the first failure
	Where   string    // partition and sequence in words; empty if it is not about one
	Stopped bool      // it will not pass by itself
	Err     error
}

// outage is the trouble there is now.
type outage struct {
	mu  sync.Mutex
	now *Trouble
}

// Trouble returns what keeps the store from keeping up; ok is false if nothing
// does.
func (p *Projector) Trouble() (t Trouble, ok bool) {
	p.outage.mu.Lock()
	defer p.outage.mu.Unlock()
	if p.outage.now == nil {
		return t, false
	}
	return *p.outage.now, true
}

// troubled notes a failure, and logs the first of an outage.
func (p *Projector) troubled(ctx context.Context, where string, stopped bool, err error) {
	p.outage.mu.Lock()
	defer p.outage.mu.Unlock()
	first := p.outage.now == nil
	if first {
		p.outage.now = &Trouble{Since: time.Now()}
	}
	p.outage.now.Where, p.outage.now.Stopped, p.outage.now.Err = where, stopped, err
	if first && !stopped {
		p.logger.WarnContext(ctx, "the facts do not keep up; it is tried again until they do", "at", where, "reason", err)
	}
}

// recovered notes that all is well again.
func (p *Projector) recovered() {
	p.outage.mu.Lock()
	defer p.outage.mu.Unlock()
	if p.outage.now != nil {
		p.logger.Info("the facts keep up again", "after", time.Since(p.outage.now.Since).Round(time.Second))
	}
	p.outage.now = nil
}

// persist calls once until ctx ends or it fails for good.
func (p *Projector) persist(ctx context.Context, once func(context.Context) error) error {
	if !p.running.CompareAndSwap(false, true) {
		return errors.New("run projector: it is running already")
	}
	defer p.running.Store(false)
	for attempt := 1; ; attempt++ {
		before := p.written()
		err := once(ctx)
		if ctx.Err() != nil {
			return nil
		}
		if !p.passes(err) {
			p.troubled(ctx, place(err), true, err)
			p.board.stop(err)
			return err
		}
		p.troubled(ctx, place(err), false, err)
		if p.written() > before {
			attempt = 1
		}
		if !pause(ctx, attempt) {
			return nil
		}
	}
}

// written returns how far the store has come, all partitions together.
func (p *Projector) written() (sum uint64) {
	for partition := range p.board.changed {
		sum += p.board.position(uint8(partition))
	}
	return sum
}

// passes reports whether trying again may help. Damage does not pass.
func (p *Projector) passes(err error) bool {
	if errors.As(err, new(*DamageError)) || errors.Is(err, ErrLogBehind) {
		return false
	}
	return errors.Is(err, errFell) || events.CodeOf(err) == events.Unavailable || p.outlasts(err)
}

// failing waits after a write that failed, if it may yet succeed.
func (p *Projector) failing(ctx context.Context, w *work, attempt int, err error) error {
	if ctx.Err() != nil || !p.outlasts(err) || w.batch.Validate() != nil {
		return err
	}
	first := w.batch.Commits[0].Sequence
	p.troubled(ctx, fmt.Sprintf("partition %d, sequence %d", w.batch.Partition, first), false, err)
	if !pause(ctx, attempt) {
		return err
	}
	if at, unread := p.store.Position(ctx, w.batch.Partition); unread == nil && at+1 < first {
		return fmt.Errorf("%w: it ends at sequence %d", errFell, at)
	}
	return nil
}

// place says where the log is damaged; empty if err is about something else.
func place(err error) string {
	var damage *DamageError
	if errors.As(err, &damage) {
		return fmt.Sprintf("partition %d, sequence %d", damage.Partition, damage.Sequence)
	}
	return ""
}

// pause waits before the next attempt, and reports whether ctx still stands.
func pause(ctx context.Context, attempt int) bool {
	return linger(ctx, min(outagePause<<min(attempt, 10), outagePauseMax))
}

// linger waits, and reports whether ctx still stands.
func linger(ctx context.Context, d time.Duration) bool {
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-timer.C:
		return true
	case <-ctx.Done():
		return false
	}
}
