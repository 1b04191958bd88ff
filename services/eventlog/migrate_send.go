package eventlog

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"daysheet/events"
)

// send brings what the external log lacks there, partition by partition.
func (m *migration) send(ctx context.Context) error {
	total := m.report.Commits
	for _, known := range m.acknowledged {
		total -= known
	}
	js, err := jetstream.New(m.to.link.Conn, jetstream.WithPublishAsyncTimeout(m.to.cfg.RequestTimeout))
	if err != nil {
		return fmt.Errorf("use JetStream: %w", err)
	}
	for partition := range uint8(Partitions) {
		start, end := m.acknowledged[partition], m.ends[partition].Sequence
		s := &sending{migration: m, js: js, partition: partition, start: start, done: m.report.Copied, total: total}
		if start == end {
			continue
		}
		if err := s.run(ctx); err != nil {
			return err
		}
		m.report.Copied += end - start
	}
	return nil
}

// sending brings one partition to the external log.
type sending struct {
	*migration
	js          jetstream.JetStream
	partition   uint8
	start       uint64 // sequence that was there before
	done, total uint64 // for the progress: sent before this partition, and to be sent in all
}

// run tries until everything is acknowledged, going on where the external log ends
// after each outage.
func (s *sending) run(ctx context.Context) error {
	return s.to.link.outlast(ctx, func() (bool, error) {
		before := s.acknowledged[s.partition]
		err := s.attempt(ctx)
		return s.acknowledged[s.partition] > before, err
	})
}

// attempt compares what the external log has beyond what is known, which an attempt
// before has sent, and sends the rest.
func (s *sending) attempt(ctx context.Context) error {
	known, end := s.acknowledged[s.partition], s.ends[s.partition].Sequence
	there, err := s.last(ctx, s.partition, known)
	if err != nil {
		return err
	}
	if there > end {
		return s.to.other("partition %d ends at sequence %d, and %d commits are to be there: "+
			"somebody records there while the log is being moved", s.partition, there, end)
	}
	ctx, unwatch := s.to.link.denials.watch(ctx, func(denied string) bool { return strings.HasPrefix(denied, "ledger.") })
	defer unwatch()
	r := &reading{log: s.to, partition: s.partition, at: known}
	defer r.close()
	w := &window{partition: s.partition}
	err = s.walk(ctx, s.partition, nil, func(message *nats.Msg, c events.Stored) error {
		switch {
		case c.Sequence <= known:
			return nil
		case c.Sequence <= there:
			if err := s.same(ctx, r, message, c); err != nil {
				return err
			}
			s.acknowledged[s.partition] = c.Sequence
			return nil
		}
		s.progress("copy", s.done+c.Sequence-s.start, s.total)
		return s.outcome(ctx, s.publish(ctx, w, message, c))
	})
	if err == nil {
		err = s.outcome(ctx, w.settle(ctx))
	}
	s.acknowledged[s.partition] = max(s.acknowledged[s.partition], w.last)
	return err
}

// publish sends one commit, to be taken at its own sequence or not at all. So nothing
// can come twice or in another order, whatever becomes of the messages on their way.
func (s *sending) publish(ctx context.Context, w *window, message *nats.Msg, c events.Stored) error {
	future, err := s.js.PublishMsgAsync(message,
		jetstream.WithExpectStream(streamName(s.partition)),
		jetstream.WithExpectLastSequence(c.Sequence-1),
		jetstream.WithRetryAttempts(0))
	if err != nil {
		return fmt.Errorf("sequence %d: %w", c.Sequence, err)
	}
	return w.add(ctx, future, c)
}

// outcome marks an error of sending as unsettled where another attempt may do better:
// that of a sequence that is taken, too, because the attempt first looks by what.
func (s *sending) outcome(ctx context.Context, err error) error {
	if err = orDenied(ctx, err); err == nil || errors.As(err, new(*DeniedError)) {
		return err
	}
	if conflict(err) {
		return &unsettled{err}
	}
	if err = settle(err); errors.As(err, new(*unsettled)) {
		return err
	}
	return fmt.Errorf("partition %d: the external log does not take a commit; once its operator has put that right, "+
		"run it again, and it goes on where it stopped: %w", s.partition, err)
}
