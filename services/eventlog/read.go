package eventlog

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
)

// message is one message as it stands in a stream.
type message struct {
	subject  string
	sequence uint64
	header   nats.Header
	data     []byte
}

// lastOf returns the last message of a job; ok is false if there is none. Where the
// log has no files here it always asks the stream's leader: a direct read may be
// answered by a replica that does not know the newest commit yet.
func (l *Log) lastOf(ctx context.Context, firm, job string) (m message, ok bool, err error) {
	if m, ok := l.inside.shelf(Partition(firm)).last(subject(firm, job)); ok {
		return m, true, nil
	}
	return l.fromLeader(ctx, Partition(firm), map[string]any{"last_by_subj": subject(firm, job)})
}

// at returns the message at the sequence; ok is false if there is none. Any
// replica may answer, because messages never change; only one that is said to be
// missing is asked for again at the leader.
func (l *Log) at(ctx context.Context, partition uint8, sequence uint64) (m message, ok bool, err error) {
	if m := l.inside.shelf(partition).take([]uint64{sequence})[0]; m.sequence != 0 {
		return m, true, nil
	}
	ctx, cancel := context.WithTimeout(ctx, l.cfg.readTimeout())
	defer cancel()
	ctx, unwatch := l.link.denials.watch(ctx, about(partition))
	defer unwatch()
	got, err := l.streams[partition].GetMsg(ctx, sequence)
	if errors.Is(err, jetstream.ErrMsgNotFound) {
		return l.fromLeader(ctx, partition, map[string]any{"seq": sequence})
	}
	if err != nil {
		err = fmt.Errorf("read sequence %d of partition %d: %w", sequence, partition, orDenied(ctx, err))
		return message{}, false, settle(err)
	}
	return message{got.Subject, got.Sequence, got.Header, got.Data}, true, nil
}

// fromLeader asks the stream's leader for one message. The jetstream package
// cannot, where a stream allows direct reads.
func (l *Log) fromLeader(
	ctx context.Context, partition uint8, which map[string]any,
) (m message, ok bool, err error) {
	ctx, cancel := context.WithTimeout(ctx, l.cfg.readTimeout())
	defer cancel()
	question, err := json.Marshal(which)
	if err != nil {
		return message{}, false, fmt.Errorf("ask for a message: %w", err)
	}
	ctx, unwatch := l.link.denials.watch(ctx, about(partition))
	defer unwatch()
	reply, err := l.link.RequestWithContext(ctx, "$JS.API.STREAM.MSG.GET."+streamName(partition), question)
	if err != nil {
		return message{}, false, settle(fmt.Errorf("read from partition %d: %w", partition, orDenied(ctx, err)))
	}
	var answer struct {
		Error   *jetstream.APIError `json:"error"`
		Message *struct {
			Subject  string `json:"subject"`
			Sequence uint64 `json:"seq"`
			Header   []byte `json:"hdrs"`
			Data     []byte `json:"data"`
		} `json:"message"`
	}
	if err := json.Unmarshal(reply.Data, &answer); err != nil {
		return message{}, false, fmt.Errorf("read answer of partition %d: %w", partition, err)
	}
	switch {
	case answer.Error != nil && answer.Error.ErrorCode == jetstream.JSErrCodeMessageNotFound:
		return message{}, false, nil
	case answer.Error != nil:
		return message{}, false, settle(fmt.Errorf("read from partition %d: %w", partition, answer.Error))
	case answer.Message == nil:
		return message{}, false, fmt.Errorf("read from partition %d: the answer holds no message", partition)
	}
	m = message{subject: answer.Message.Subject, sequence: answer.Message.Sequence, data: answer.Message.Data}
	if len(answer.Message.Header) > 0 {
		if m.header, err = nats.DecodeHeadersMsg(answer.Message.Header); err != nil {
			return message{}, false, fmt.Errorf("sequence %d: read headers: %w", m.sequence, err)
		}
	}
	return m, true, nil
}
