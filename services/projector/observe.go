package projector

import (
	"context"
	"sync"

	"daysheet/events"
	"daysheet/services/eventlog"
)

// Observe keeps up with a store that another process projects into, so that reports
// can be served without a projector: it follows the log, and tells of a commit once
// the store holds it. It ends as [Projector.Run] does, and neither may be called
// while the other runs.
func (p *Projector) Observe(ctx context.Context) error {
	opened := false
	return p.persist(ctx, func(ctx context.Context) error {
		if opened { // it goes on where it was: nothing may be left out
			if _, err := p.store.Position(ctx, 0); err != nil {
				return err
			}
		} else if err := p.start(ctx, newReplay(p.log, p.store, p.limits)); err != nil {
			return err
		}
		opened = true
		p.recovered()
		return p.observeAll(ctx)
	})
}

// observeAll observes every partition until one fails.
func (p *Projector) observeAll(ctx context.Context) error {
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	var all sync.WaitGroup
	for partition := range uint8(eventlog.Partitions) {
		all.Go(func() {
			after := p.board.position(partition)
			var failed error // of the store, or a commit that cannot be read
			err := p.log.Follow(ctx, partition, after, func(batch []events.Stored) error {
				failed = p.observe(ctx, partition, batch)
				return failed
			})
			if failed == nil {
				failed = damaged(ctx, partition, p.board.position(partition)+1, err)
			}
			if failed != nil {
				cancel(failed) // the first one stays
			}
		})
	}
	all.Wait()
	return context.Cause(ctx)
}

// observe waits until the store holds a batch, and tells of it as it comes.
func (p *Projector) observe(ctx context.Context, partition uint8, batch []events.Stored) error {
	for len(batch) > 0 {
		at, err := p.store.Position(ctx, partition)
		if err != nil {
			return err
		}
		held := 0
		for held < len(batch) && batch[held].Sequence <= at {
			held++
		}
		if held == 0 {
			if !linger(ctx, p.limits.pause) {
				return ctx.Err()
			}
			continue
		}
		if err := p.tell(partition, batch[:held]); err != nil {
			return err
		}
		batch = batch[held:]
	}
	return nil
}

// tell tells of commits that the store holds.
func (p *Projector) tell(partition uint8, held []events.Stored) error {
	var notices []firmNotice
	var own []ofFirm
	for _, s := range held {
		c, err := decode(s)
		if err != nil {
			return err
		}
		notices = append(notices, firmNotice{c.Firm, Notice{c.Job, s.Sequence}})
		if c.Job == events.FirmJob {
			own = append(own, ofFirm{c, s.Sequence})
		}
	}
	p.directory.learn(partition, own)
	p.board.advance(partition, held[len(held)-1].Sequence)
	p.watchers.tell(notices)
	return nil
}
