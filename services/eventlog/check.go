package eventlog

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/nats-io/nats.go/jetstream"
)

// Last returns the greatest sequence of a partition; 0 if it is empty.
func (l *Log) Last(ctx context.Context, partition uint8) (uint64, error) {
	state, err := l.state(ctx, partition)
	return state.LastSeq, err
}

// Check looks for holes in a partition: every sequence from 1 to the last must be
// there, and the last must be at least atLeast, which is the last that was read
// from it before. It counts and does not read, so it is cheap; that commits are
// intact is proved by their hashes when they are read.
func (l *Log) Check(ctx context.Context, partition uint8, atLeast uint64) error {
	state, err := l.state(ctx, partition)
	if err != nil {
		return err
	}
	if err := sound(state, atLeast); err != nil {
		return fmt.Errorf("partition %d is damaged: %w", partition, err)
	}
	return nil
}

// sound says what is wrong with the state of a stream from which nothing may ever
// be missing.
func sound(s jetstream.StreamState, atLeast uint64) error {
	switch {
	case s.LastSeq < atLeast:
		return fmt.Errorf("it ends at sequence %d, and %d was read from it before: "+
			"its tail is lost or an old copy was restored", s.LastSeq, atLeast)
	case s.NumDeleted != 0:
		return fmt.Errorf("%d of the sequences %d to %d are missing", s.NumDeleted, s.FirstSeq, s.LastSeq)
	case s.Msgs > 0 && s.FirstSeq != 1:
		return fmt.Errorf("it starts at sequence %d, and must start at 1", s.FirstSeq)
	case s.Msgs != s.LastSeq:
		return fmt.Errorf("it holds %d commits up to sequence %d", s.Msgs, s.LastSeq)
	}
	return nil
}

// reaches fails if the partition ends before the sequence.
func (l *Log) reaches(ctx context.Context, partition uint8, sequence uint64) error {
	if sequence == 0 {
		return nil
	}
	last, err := l.Last(ctx, partition)
	if err != nil || last >= sequence {
		return err
	}
	return sound(jetstream.StreamState{LastSeq: last}, sequence)
}

// state asks the stream's leader how the partition stands.
func (l *Log) state(ctx context.Context, partition uint8) (state jetstream.StreamState, err error) {
	if err := checkPartition(partition); err != nil {
		return state, err
	}
	end, err := l.begin()
	if err != nil {
		return state, err
	}
	defer end()
	err = patiently(ctx, func() error {
		info, err := l.ask(ctx, partition)
		if err == nil {
			state = info.State
		}
		return err
	})
	if err != nil {
		return state, fmt.Errorf("ask for the state of partition %d: %w", partition, err)
	}
	return state, nil
}

// ask asks once. An answer of a server that does not know what the others have
// recorded since is none.
func (l *Log) ask(ctx context.Context, partition uint8) (*jetstream.StreamInfo, error) {
	ctx, cancel := context.WithTimeout(ctx, l.cfg.readTimeout())
	defer cancel()
	ctx, unwatch := l.link.denials.watch(ctx, about(partition))
	defer unwatch()
	info, err := l.streams[partition].Info(ctx)
	if err != nil {
		return nil, settle(orDenied(ctx, err))
	}
	if err := leads(info.Cluster); err != nil {
		return nil, &unsettled{fmt.Errorf("stream %s: %w", info.Config.Name, err)}
	}
	return info, nil
}

// knows returns who leads the partition, blank in an embedded log. It fails with an unsettled
// error unless who answers now knows the partition up to the sequence. What was read just
// before is then not older than that.
func (l *Log) knows(ctx context.Context, partition uint8, sequence uint64) (leader string, err error) {
	info, err := l.ask(ctx, partition)
	if err != nil || info.Cluster == nil {
		return "", err
	}
	if info.State.LastSeq < sequence && len(info.Cluster.Replicas) > 0 {
		return "", &unsettled{fmt.Errorf("stream %s ends at sequence %d by its leader %s, and sequence %d was seen",
			info.Config.Name, info.State.LastSeq, info.Cluster.Leader, sequence)}
	}
	return info.Cluster.Leader, nil
}

// gone tells a commit that is missing from one that the server asked did not know
// yet: it returns damage, or an unsettled error. That a leader does not have it counts only
// where the same leads before and after the question: else one that was cut off, or has just
// come back, may have answered it.
func (l *Log) gone(ctx context.Context, partition uint8, sequence uint64, damage error) error {
	leader, err := l.knows(ctx, partition, sequence)
	if err != nil {
		return err
	}
	_, ok, err := l.fromLeader(ctx, partition, map[string]any{"seq": sequence})
	switch {
	case err != nil:
		return err
	case ok:
		return &unsettled{fmt.Errorf("sequence %d was not known where it was asked for", sequence)}
	}
	after, err := l.knows(ctx, partition, sequence)
	switch {
	case err != nil:
		return err
	case after != leader:
		return &unsettled{fmt.Errorf("sequence %d was asked for while %s took over from %s", sequence, after, leader)}
	}
	return damage
}

// electionLeast is how long a replica hears nothing of its leader before it looks
// for another one (minElectionTimeoutDefault of the server's raft.go).
const electionLeast = 4 * time.Second

// leads fails unless the answer comes from a leader that the others follow. A
// replica without a leader answers with what it has itself, and one that was cut
// off believes for a while that it still leads.
func leads(c *jetstream.ClusterInfo) error {
	if c == nil || c.Name == "" {
		return nil // one server alone
	}
	if c.Leader == "" {
		return errors.New("it has no leader now")
	}
	with := 1
	for _, replica := range c.Replicas {
		if replica.Active > 0 && replica.Active < electionLeast {
			with++
		}
	}
	if all := 1 + len(c.Replicas); with <= all/2 {
		return fmt.Errorf("its leader %s hears %d of the %d servers that keep it", c.Leader, with, all)
	}
	return nil
}
