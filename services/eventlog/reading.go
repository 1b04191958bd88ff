package eventlog

import (
	"context"
	"fmt"

	"github.com/nats-io/nats.go/jetstream"
)

// reading reads the messages of a partition in their order, one by one.
type reading struct {
	log       *Log
	partition uint8
	at        uint64 // sequence that was read last

	arriving jetstream.MessagesContext // nil where nothing is open
	watched  context.Context           // ends when the server denies the reading
	unwatch  context.CancelFunc
}

// next returns the message after the last one, and outlasts outages.
func (r *reading) next(ctx context.Context) (m message, err error) {
	err = r.log.tail.outlast(ctx, func() (bool, error) {
		if m, err = r.once(ctx); err != nil {
			r.close()
			return false, err
		}
		r.at = m.sequence
		return true, nil
	})
	return m, err
}

// once reads one message, after opening where nothing is open.
func (r *reading) once(ctx context.Context) (message, error) {
	if r.arriving == nil {
		r.watched, r.unwatch = r.log.tail.denials.watch(ctx, about(r.partition))
		f := &follower{log: r.log, partition: r.partition, at: r.at}
		consumer, err := f.consumer(r.watched)
		if err != nil {
			return message{}, orDenied(r.watched, err)
		}
		r.arriving, err = consumer.Messages(jetstream.PullMaxMessagesWithBytesLimit(batchMost, batchBytesMost),
			jetstream.PullHeartbeat(heartbeat))
		if err != nil {
			return message{}, &unsettled{fmt.Errorf("pull from the log: %w", err)}
		}
	}
	got, err := r.arriving.Next(jetstream.NextContext(r.watched))
	if err != nil {
		return message{}, orDenied(r.watched, &unsettled{fmt.Errorf("read after sequence %d: %w", r.at, err)})
	}
	meta, err := got.Metadata()
	if err != nil {
		return message{}, fmt.Errorf("after sequence %d: read metadata: %w", r.at, err)
	}
	if meta.Sequence.Stream != r.at+1 {
		return message{}, fmt.Errorf("sequence %d is followed by %d: commits are missing, the log is damaged",
			r.at, meta.Sequence.Stream)
	}
	return message{got.Subject(), meta.Sequence.Stream, got.Headers(), got.Data()}, nil
}

func (r *reading) close() {
	if r.arriving != nil {
		r.arriving.Stop()
		r.arriving = nil
	}
	if r.unwatch != nil {
		r.unwatch()
		r.unwatch = nil
	}
}
