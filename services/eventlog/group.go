package eventlog

import (
	"context"
	"crypto/rand"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"sync"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
)

// Limits of one group. The embedded server syncs the disk for each message, and for a
// group a dozen times in all, however many are in it: below that number a group is slower
// than its messages one by one.
const (
	groupLeast     = 12
	groupMost      = 256
	groupBytesMost = 4 << 20
)

// Headers of a group's messages: the server's atomic batch, which stores all or none.
const (
	headerGroup       = "Nats-Batch-Id"
	headerGroupPlace  = "Nats-Batch-Sequence"
	headerGroupCommit = "Nats-Batch-Commit"
)

// errGroupRefused says that the server took no message of a group, because of at least
// one of them.
var errGroupRefused = errors.New("the commits that were sent together were not taken")

// errWithdrawn says that a message was never sent.
var errWithdrawn = errors.New("there was no time left to send the commit")

// group sends the commits of one partition. Few go each by itself; those that pile up
// while the disk is busy go together, so that they share its syncs. They are of different
// jobs: a job has one commit on its way at a time.
type group struct {
	link     *connection
	stream   string
	patience time.Duration // with the server

	mu       sync.Mutex
	waiting  []*outgoing
	alone    int  // messages on their way by themselves
	together bool // a group is on its way
}

// outgoing is a message whose sender waits for its turn.
type outgoing struct {
	message *nats.Msg
	turn    chan turn // of one place, so that nobody waits for the sender
}

// turn tells a sender what to do, or what was done.
type turn struct {
	lead     []*outgoing // send these; nil: send yours alone, or it is done
	done     bool
	sequence uint64
	err      error
}

// send stores a message and returns its sequence. It fails with [errGroupRefused] if the
// message went with others and might be taken alone; ctx bounds the wait for its turn.
func (g *group) send(ctx context.Context, m *nats.Msg) (*jetstream.PubAck, error) {
	o := &outgoing{m, make(chan turn, 1)}
	g.mu.Lock()
	g.waiting = append(g.waiting, o)
	g.call()
	g.mu.Unlock()
	var t turn
	select {
	case t = <-o.turn:
	case <-ctx.Done():
		if g.withdraw(o) {
			return nil, fmt.Errorf("%w: %w", errWithdrawn, ctx.Err())
		}
		t = <-o.turn // soon: a group has a time limit of its own
	}
	switch {
	case t.lead != nil:
		g.sendTogether(ctx, t.lead)
		t = <-o.turn
	case !t.done:
		ack, err := g.link.js.PublishMsg(ctx, m, jetstream.WithRetryAttempts(0))
		g.mu.Lock()
		g.alone--
		g.call()
		g.mu.Unlock()
		return ack, err
	}
	if t.err != nil {
		return nil, t.err
	}
	return &jetstream.PubAck{Stream: g.stream, Sequence: t.sequence}, nil
}

// call gives those who wait their turns, as far as there is room. g.mu is held.
func (g *group) call() {
	if g.together {
		return
	}
	if len(g.waiting) >= groupLeast {
		members := g.take()
		g.together = true
		members[0].turn <- turn{lead: members}
		return
	}
	for g.alone < groupLeast && len(g.waiting) > 0 {
		g.alone++
		g.waiting[0].turn <- turn{}
		g.waiting = slices.Delete(g.waiting, 0, 1)
	}
}

// take removes the members of the next group. g.mu is held.
func (g *group) take() []*outgoing {
	n, bytes := 0, 0
	for n < len(g.waiting) && n < groupMost && (n == 0 || bytes+len(g.waiting[n].message.Data) <= groupBytesMost) {
		bytes += len(g.waiting[n].message.Data)
		n++
	}
	members := slices.Clone(g.waiting[:n])
	g.waiting = slices.Delete(g.waiting, 0, n)
	return members
}

// withdraw takes a message back that has not had its turn.
func (g *group) withdraw(o *outgoing) bool {
	g.mu.Lock()
	defer g.mu.Unlock()
	at := slices.Index(g.waiting, o)
	if at < 0 {
		return false
	}
	g.waiting = slices.Delete(g.waiting, at, at+1)
	return true
}

// sendTogether sends a group and tells each member what became of it. The leader's
// patience is not that of the others: a group has its request's time.
func (g *group) sendTogether(ctx context.Context, members []*outgoing) {
	last, err := g.request(context.WithoutCancel(ctx), members)
	for i, o := range members {
		t := turn{done: true, err: err}
		if err == nil {
			t.sequence = last - uint64(len(members)-1-i)
		}
		o.turn <- t
	}
	g.mu.Lock()
	g.together = false
	g.call()
	g.mu.Unlock()
}

// request sends a group's messages and returns the sequence of the last. They have
// sequences one after the other.
func (g *group) request(ctx context.Context, members []*outgoing) (last uint64, err error) {
	ctx, cancel := context.WithTimeout(ctx, g.patience)
	defer cancel()
	id := rand.Text()
	for i, o := range members {
		o.message.Header.Set(headerGroup, id)
		o.message.Header.Set(headerGroupPlace, strconv.Itoa(i+1))
	}
	end := len(members) - 1
	for _, o := range members[:end] {
		if err := g.link.PublishMsg(o.message); err != nil {
			return 0, fmt.Errorf("send a group of commits: %w", err)
		}
	}
	members[end].message.Header.Set(headerGroupCommit, "1")
	answer, err := g.link.RequestMsgWithContext(ctx, members[end].message)
	if err != nil {
		return 0, fmt.Errorf("send a group of commits: %w", err)
	}
	var ack struct {
		Error    *jetstream.APIError `json:"error"`
		Sequence uint64              `json:"seq"`
		Group    string              `json:"batch"`
		Count    int                 `json:"count"`
	}
	if err := json.Unmarshal(answer.Data, &ack); err != nil {
		return 0, fmt.Errorf("read the answer to a group of commits: %w: %w", jetstream.ErrInvalidJSAck, err)
	}
	if ack.Error != nil {
		return 0, fmt.Errorf("%w: %w", errGroupRefused, ack.Error)
	}
	if ack.Group != id || ack.Count != len(members) || ack.Sequence < uint64(len(members)) {
		return 0, fmt.Errorf("the answer to a group of commits is %s: %w", answer.Data, jetstream.ErrInvalidJSAck)
	}
	return ack.Sequence, nil
}
