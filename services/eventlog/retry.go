package eventlog

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"net"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"daysheet/events"
)

// attemptsMax bounds how often one operation is tried. Attempts that fail at once
// come to some four seconds with the pauses between; the election of a new leader
// may take twice as long, and the sender is then told to send again.
const attemptsMax = 12

// pauseMax bounds one pause.
const pauseMax = time.Second

// unsettled is a failure after which trying again makes sense: nobody answered,
// or the job moved on.
type unsettled struct{ cause error }

func (u *unsettled) Error() string { return u.cause.Error() }

// Unwrap returns the cause.
func (u *unsettled) Unwrap() error { return u.cause }

// patiently tries until there is an outcome: nil, or an error that is not
// [unsettled]. When ctx ends or the attempts are used up, the answer is an
// [events.Error] with code Unavailable.
func patiently(ctx context.Context, try func() error) error {
	var last *unsettled
	for attempt := range attemptsMax {
		if attempt > 0 && !pause(ctx, attempt) {
			break
		}
		err := try()
		if !errors.As(err, &last) {
			return err
		}
		if ctx.Err() != nil {
			break
		}
	}
	return unavailable(last.cause)
}

// pause waits before the next attempt: twice as long each time, up to a limit,
// and by chance up to half of it less, so that rivals do not meet again. It
// reports whether ctx still stands.
func pause(ctx context.Context, attempt int) bool {
	wait := min(5*time.Millisecond<<min(attempt, 10), pauseMax)
	timer := time.NewTimer(wait/2 + rand.N(wait/2))
	defer timer.Stop()
	select {
	case <-timer.C:
		return true
	case <-ctx.Done():
		return false
	}
}

// unavailable tells the sender that sending again is safe, and the operator why
// it is needed.
func unavailable(cause error) error {
	return fmt.Errorf("%w (%w)", &events.Error{
		Code: events.Unavailable,
		Rule: "the log cannot answer now; sending the same events again is safe",
	}, cause)
}

// Codes of the server that jetstream has no names for.
const (
	codeWrongLastSequence      jetstream.ErrorCode = 10071
	codeWrongLastSequenceOther jetstream.ErrorCode = 10164 // the same, from a replicated stream
	codeNoPeers                jetstream.ErrorCode = 10005 // a cluster that is still finding itself
	codeClusterUnavailable     jetstream.ErrorCode = 10008
	codeNotLeader              jetstream.ErrorCode = 10009
	codeStreamOffline          jetstream.ErrorCode = 10118
	codeExpectationNotReady    jetstream.ErrorCode = 10163
	codeTooManyRequests        jetstream.ErrorCode = 10167
)

// conflict reports whether a commit was not taken because the job moved on.
func conflict(err error) bool {
	code := errorCode(err)
	return code == codeWrongLastSequence || code == codeWrongLastSequenceOther
}

// errorCode returns the server's code in err; 0 if it did not answer with one.
func errorCode(err error) jetstream.ErrorCode {
	var answer *jetstream.APIError
	if errors.As(err, &answer) {
		return answer.ErrorCode
	}
	return 0
}

// settle marks an error of a request as unsettled where another attempt may do
// better: no answer, no connection, no leader. The context that ran out was the
// request's own, or patiently notices that it was not.
func settle(err error) error {
	if err == nil {
		return nil
	}
	switch errorCode(err) {
	case codeNoPeers, codeClusterUnavailable, codeNotLeader, codeStreamOffline, codeExpectationNotReady,
		codeTooManyRequests:
		return &unsettled{err}
	}
	if errors.As(err, new(*net.OpError)) {
		return &unsettled{err}
	}
	for _, passing := range []error{
		context.DeadlineExceeded, context.Canceled, nats.ErrTimeout, nats.ErrNoResponders, jetstream.ErrNoStreamResponse,
		nats.ErrConnectionReconnecting, nats.ErrReconnectBufExceeded, nats.ErrDisconnected, nats.ErrStaleConnection,
		jetstream.ErrInvalidJSAck, jetstream.ErrAsyncPublishTimeout, jetstream.ErrTooManyStalledMsgs,
		net.ErrClosed,
	} {
		if errors.Is(err, passing) {
			return &unsettled{err}
		}
	}
	return err
}
