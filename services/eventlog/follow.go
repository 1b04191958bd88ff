package eventlog

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/nats-io/nats.go/jetstream"

	"daysheet/events"
)

// Follow calls deliver with the commits of a partition after the sequence, in
// order and without gaps: what has arrived while deliver was busy comes as one
// batch, and while catching up batches are filled up to 4,096 commits or 8 MiB.
// deliver may keep what it is given.
//
// Follow blocks. It returns nil when ctx ends, the error of deliver when it fails,
// an [events.Error] with code Unavailable when the log is closed, and an error
// that names both sequences when commits are missing. A server that is away for a
// while, or forgets that it is followed, is waited for.
func (l *Log) Follow(
	ctx context.Context, partition uint8, after uint64, deliver func([]events.Stored) error,
) error {
	if err := checkPartition(partition); err != nil {
		return err
	}
	end, err := l.begin()
	if err != nil {
		return err
	}
	defer end()
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	defer context.AfterFunc(l.following, cancel)()

	f := &follower{log: l, partition: partition, at: after, deliver: deliver}
	err = f.run(ctx)
	switch {
	case l.following.Err() != nil:
		return errClosed()
	case ctx.Err() != nil:
		return nil
	}
	return fmt.Errorf("follow partition %d: %w", partition, err)
}

// heartbeat is how often a consumer with nothing to send says that it is there.
// After two that did not come another one is made: the server that kept it may be
// cut off.
const heartbeat = 3 * time.Second

// follower is one Follow on its way.
type follower struct {
	log       *Log
	partition uint8
	at        uint64 // sequence of the last commit that was delivered
	deliver   func([]events.Stored) error
}

// run follows until something ends it, starting again where it was after each
// outage. An outage is logged here, because nothing else would tell of it.
func (f *follower) run(ctx context.Context) error {
	if err := f.log.reaches(ctx, f.partition, f.at); err != nil {
		return err
	}
	for outage := 0; ; {
		before := f.at
		err := f.once(ctx)
		var passing *unsettled
		if ctx.Err() != nil || !errors.As(err, &passing) {
			return err
		}
		if f.at > before {
			outage = 0
		}
		outage++
		f.log.cfg.Logger.Warn("following a partition was interrupted and goes on",
			"partition", f.partition, "sequence", f.at, "attempt", outage, "error", passing.cause)
		if !pause(ctx, outage) {
			return ctx.Err()
		}
	}
}

// once follows with one consumer until it fails.
func (f *follower) once(ctx context.Context) error {
	ctx, unwatch := f.log.tail.denials.watch(ctx, about(f.partition))
	defer unwatch()
	consumer, err := f.consumer(ctx)
	if err != nil {
		return orDenied(ctx, err)
	}
	arriving, err := consumer.Messages(jetstream.PullMaxMessagesWithBytesLimit(batchMost, batchBytesMost),
		jetstream.PullHeartbeat(heartbeat))
	if err != nil {
		return &unsettled{fmt.Errorf("pull from the log: %w", err)}
	}
	g := newGathering()
	read := make(chan struct{})
	go func() { // ends when arriving is stopped, or g is closed, below
		defer close(read)
		g.fail(readInto(g, arriving, f.at))
	}()
	err = f.hand(ctx, g)
	g.close()
	arriving.Stop()
	<-read
	return orDenied(ctx, err)
}

// consumer makes an ordered consumer without filter: filters cost the server more
// than they save.
func (f *follower) consumer(ctx context.Context) (jetstream.Consumer, error) {
	ctx, cancel := context.WithTimeout(ctx, f.log.cfg.RequestTimeout)
	defer cancel()
	consumer, err := f.log.tail.js.OrderedConsumer(ctx, streamName(f.partition), jetstream.OrderedConsumerConfig{
		DeliverPolicy:     jetstream.DeliverByStartSequencePolicy,
		OptStartSeq:       f.at + 1,
		InactiveThreshold: time.Minute,
		// One attempt to replace a lost consumer, then the follower takes over:
		// its pauses end with ctx.
		MaxResetAttempts: 1,
	})
	switch {
	case err == nil:
		return consumer, nil
	case errors.Is(err, jetstream.ErrStreamNotFound):
		return nil, fmt.Errorf("its stream is gone: %w", err)
	}
	return nil, &unsettled{fmt.Errorf("make consumer: %w", err)}
}

// readInto moves messages into g until the consumer fails or g is closed.
func readInto(g *gathering, arriving jetstream.MessagesContext, last uint64) error {
	for {
		m, err := arriving.Next()
		if err != nil {
			return &unsettled{fmt.Errorf("read from the log: %w", err)}
		}
		meta, err := m.Metadata()
		if err != nil {
			return fmt.Errorf("after sequence %d: read metadata: %w", last, err)
		}
		sequence := meta.Sequence.Stream
		if sequence != last+1 {
			// The consumer noticed no loss on the way, so the log itself skips.
			return fmt.Errorf("sequence %d is followed by %d: commits are missing, the log is damaged", last, sequence)
		}
		last = sequence
		if !g.put(sequence, m.Data(), meta.NumPending > 0) {
			return nil
		}
	}
}

// hand gives batches to deliver until one of the two sides fails.
func (f *follower) hand(ctx context.Context, g *gathering) error {
	for {
		batch, err := g.take(ctx)
		if err != nil {
			return err
		}
		for i := range batch {
			batch[i].Partition = f.partition
		}
		if err := f.deliver(batch); err != nil {
			return err
		}
		f.at = batch[len(batch)-1].Sequence
	}
}
