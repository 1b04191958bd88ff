package eventlog

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"

	"github.com/nats-io/nats.go"

	"daysheet/events"
)

// DeniedError says what the server's permissions keep this process from. Its code
// is Unavailable: once the operator has put it right, the same request is taken.
type DeniedError struct {
	Verb    string // publish or subscribe
	Subject string
}

// Error says it to the operator.
func (e *DeniedError) Error() string {
	return fmt.Sprintf("the log's server does not let this user %s to %s: sign in as a user who may, "+
		"with the inbox prefix that the server gives that user", e.Verb, e.Subject)
}

// Unwrap returns what is said to the sender of events.
func (e *DeniedError) Unwrap() error {
	return &events.Error{Code: events.Unavailable,
		Rule: "the log's server does not let daysheet do this; its operator must change that, " +
			"and sending the same events again is safe"}
}

// denials hears what the server denies to one connection. A denied request is not
// answered; the server says why beside it, so that all its sender sees is that time
// runs out.
type denials struct {
	mu      sync.Mutex
	watches map[*watch]bool
	replies *DeniedError // no answer can arrive on this connection; nil if that is not known
}

// watch is an operation that wants to know whether it is denied.
type watch struct {
	concerns func(subject string) bool
	cancel   context.CancelCauseFunc
}

func newDenials() *denials { return &denials{watches: map[*watch]bool{}} }

// watch returns a context that ends with a [DeniedError] as its cause once the
// server denies a subject that concerns the caller, or the way back for answers.
// The caller calls end.
func (d *denials) watch(
	ctx context.Context, concerns func(subject string) bool,
) (watched context.Context, end context.CancelFunc) {
	watched, cancel := context.WithCancelCause(ctx)
	w := &watch{concerns, cancel}
	d.mu.Lock()
	defer d.mu.Unlock()
	d.watches[w] = true
	if d.replies != nil {
		cancel(d.replies)
	}
	return watched, func() {
		d.mu.Lock()
		delete(d.watches, w)
		d.mu.Unlock()
		cancel(nil)
	}
}

// heard is told of every error that no request is answered with.
func (d *denials) heard(err error) {
	denied := deniedBy(err)
	if denied == nil {
		return
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	if denied.Verb == "subscribe" {
		d.replies = denied // the one subscription that a connection has is for answers
	}
	for w := range d.watches {
		if denied.Verb == "subscribe" || w.concerns(denied.Subject) {
			w.cancel(denied)
		}
	}
}

// forget starts anew on a new connection.
func (d *denials) forget() {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.replies = nil
}

// deniedBy reads what the server says: Permissions Violation for Publish to "x".
func deniedBy(err error) *DeniedError {
	if !errors.Is(err, nats.ErrPermissionViolation) {
		return nil
	}
	text := err.Error()
	_, rest, _ := strings.Cut(text, `"`)
	subject, _, _ := strings.Cut(rest, `"`)
	if strings.Contains(text, "Subscription to") {
		return &DeniedError{"subscribe", subject}
	}
	return &DeniedError{"publish", subject}
}

// orDenied returns the denial that ended ctx, if one did, else err.
func orDenied(ctx context.Context, err error) error {
	var denied *DeniedError
	if err != nil && errors.As(context.Cause(ctx), &denied) {
		return denied
	}
	return err
}

// about concerns itself with requests to the server about a partition.
func about(partition uint8) func(subject string) bool {
	name := streamName(partition)
	return func(subject string) bool {
		return strings.HasPrefix(subject, "$JS.API.") && strings.Contains(subject, "."+name)
	}
}

// only concerns itself with one subject.
func only(wanted string) func(subject string) bool {
	return func(subject string) bool { return subject == wanted }
}
