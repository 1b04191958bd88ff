package eventlog

import (
	"context"
	"fmt"

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
		ctx, cancel := context.WithTimeout(ctx, l.cfg.RequestTimeout)
		defer cancel()
		info, err := l.streams[partition].Info(ctx)
		if err != nil {
			return settle(err)
		}
		state = info.State
		return nil
	})
	if err != nil {
		return state, fmt.Errorf("ask for the state of partition %d: %w", partition, err)
	}
	return state, nil
}
