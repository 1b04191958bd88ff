package projector

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/services/facts"
)

// chunk is how many commits pass from decoding to projecting at once: enough to
// make the passing cheap, few enough to keep to the limits of a batch.
const chunk = 64

// errReached ends following where a replay is to end.
var errReached = errors.New("reached the end of the replay")

// message is a commit as stored and as read.
type message struct {
	stored events.Stored
	commit *events.Commit
}

// work is a batch on its way to the store, with what is to be told once it is
// there.
type work struct {
	batch   facts.Batch
	bytes   int
	ofFirm  []ofFirm
	notices []firmNotice
}

// ofFirm is a commit of a firm's own.
type ofFirm struct {
	commit   *events.Commit
	sequence uint64
}

// lane takes one partition from the log to the writer.
type lane struct {
	replay    *replay
	partition uint8
	position  uint64 // last sequence projected; used by project alone once run has begun
	target    uint64 // where the log ended when the replay began
}

// run follows and projects until ctx ends, one of the two fails, or the replay
// is to end.
func (l *lane) run(ctx context.Context) error {
	if l.position == l.target && l.replay.once {
		return nil
	}
	done := func() {}
	if l.position < l.target { // few at a time hold large batches
		select {
		case l.replay.catching <- struct{}{}:
			done = sync.OnceFunc(func() { <-l.replay.catching })
			defer done()
		case <-ctx.Done():
			return ctx.Err()
		}
	}
	following, cancel := context.WithCancel(ctx)
	defer cancel()
	chunks := make(chan []message, 1)
	followed := make(chan error, 1)
	after := l.position
	go func() {
		defer close(chunks)
		followed <- l.follow(following, after, chunks)
	}()
	rest, err := l.project(ctx, chunks, done)
	if len(rest.batch.Commits) > 0 { // what stands before a failure is good
		select {
		case l.replay.writes <- rest:
		case <-ctx.Done():
		}
	}
	cancel()
	return errors.Join(<-followed, err)
}

// follow decodes the partition after the sequence into chunks.
func (l *lane) follow(ctx context.Context, after uint64, chunks chan<- []message) error {
	deliver := func(delivered []events.Stored) error {
		for len(delivered) > 0 {
			n := min(len(delivered), chunk)
			messages, err := l.read(delivered[:n], &after)
			delivered = delivered[n:]
			if len(messages) > 0 {
				select {
				case chunks <- messages:
				case <-ctx.Done():
					return ctx.Err()
				}
			}
			if err != nil {
				return err
			}
			if l.replay.once && after == l.target {
				return errReached
			}
		}
		return nil
	}
	err := l.replay.log.Follow(ctx, l.partition, after, deliver)
	if errors.Is(err, errReached) || ctx.Err() != nil {
		return nil
	}
	return damaged(ctx, l.partition, after+1, err)
}

// read decodes what comes after the sequence and moves it on. A commit that was
// delivered before is left out; one that is missing is damage. With an error it
// returns what stands before.
func (l *lane) read(delivered []events.Stored, after *uint64) ([]message, error) {
	messages := make([]message, 0, len(delivered))
	for _, s := range delivered {
		switch {
		case s.Sequence <= *after:
			continue
		case s.Sequence != *after+1:
			return messages, &DamageError{l.partition, *after + 1,
				fmt.Errorf("sequence %d: the log goes on at %d, commits are missing", *after+1, s.Sequence)}
		case l.replay.once && s.Sequence > l.target:
			return messages, nil
		}
		c, err := decode(s)
		if err != nil {
			return messages, err
		}
		m := message{s, c}
		if err := l.replay.decoded(m); err != nil {
			return messages, err
		}
		messages = append(messages, m)
		*after = s.Sequence
	}
	return messages, nil
}

// project turns chunks into work for the writer. Behind the target it hands over
// full batches only; after that, whatever it has when the writer is free and the
// pause since the write before is over, or somebody waits for what comes. It returns what it could not hand over
// before it came to an end.
func (l *lane) project(ctx context.Context, chunks <-chan []message, caughtUp func()) (*work, error) {
	w := l.newWork(facts.Batch{})
	var pause <-chan time.Time // nil while there is none
	for {
		var in <-chan []message
		var out chan<- *work
		full := len(w.batch.Facts) >= l.replay.limits.facts || w.bytes >= l.replay.limits.bytes
		if !full {
			in = chunks
		}
		if full || l.position >= l.target && len(w.batch.Commits) > 0 && pause == nil {
			out = l.replay.writes
		}
		select {
		case messages, open := <-in:
			if !open {
				return w, nil
			}
			for _, m := range messages {
				if err := l.add(ctx, w, m); err != nil {
					return w, err
				}
			}
		case out <- w:
			w = l.newWork(w.batch)
			if l.position >= l.target {
				caughtUp()
				if l.replay.limits.pause > 0 {
					pause = time.After(l.replay.limits.pause)
				}
			}
		case <-pause:
			pause = nil
		case <-l.replay.awaited[l.partition]:
			pause = nil
		case <-ctx.Done():
			return w, nil
		}
	}
}

// newWork returns empty work with room for as much as the batch before had:
// large batches come one after the other, and growing them costs more than
// filling them.
func (l *lane) newWork(before facts.Batch) *work {
	return &work{batch: facts.Batch{
		Partition: l.partition,
		Commits:   make([]events.Stored, 0, len(before.Commits)),
		Facts:     make([]reports.Fact, 0, len(before.Facts)),
		Jobs:      make([]reports.JobRow, 0, len(before.Jobs)),
	}}
}

// add projects one commit into w.
func (l *lane) add(ctx context.Context, w *work, m message) error {
	made, err := l.replay.projection.apply(ctx, m.stored, m.commit)
	if err != nil {
		return err
	}
	b := &w.batch
	b.Position = m.stored.Sequence
	b.Commits = append(b.Commits, m.stored)
	b.Facts = append(b.Facts, made.Facts...)
	if made.Job != nil {
		b.Jobs = append(b.Jobs, *made.Job)
	}
	w.bytes += len(m.stored.Raw)
	if m.commit.Job == events.FirmJob {
		w.ofFirm = append(w.ofFirm, ofFirm{m.commit, m.stored.Sequence})
	}
	w.notices = append(w.notices, firmNotice{m.commit.Firm, Notice{m.commit.Job, m.stored.Sequence}})
	l.position = m.stored.Sequence
	return nil
}
