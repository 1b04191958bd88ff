package eventlog

import (
	"errors"
	"fmt"
	"strings"
	"sync"
	"syscall"

	"daysheet/events"
)

// breakage knows whether the embedded server could not write to its disk. From then on
// the server neither takes nor answers what is sent to that stream, until it is started
// anew; all it does is to write a line into its own log.
type breakage struct {
	once sync.Once
	done chan struct{} // closed when it happened

	mu   sync.Mutex
	said error // what the server said of its disk last; nil where it said nothing
}

func newBreakage() *breakage { return &breakage{done: make(chan struct{})} }

// criticalWrite is in the line of the server that says so.
const criticalWrite = "critical write error"

// hear takes a line of the server's log.
func (b *breakage) hear(line string) {
	said, ofSystem := asError(line)
	critical := strings.Contains(strings.ToLower(line), criticalWrite)
	if !critical && !ofSystem {
		return
	}
	b.mu.Lock()
	b.said = said
	b.mu.Unlock()
	if critical {
		b.once.Do(func() { close(b.done) })
	}
}

// cause returns what the server said of its disk last.
func (b *breakage) cause() error {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.said
}

// because adds to an error of the server what it said of its disk, of which its answers
// say nothing.
func (e *embedded) because(err error) error {
	if err == nil || e == nil || e.broken.cause() == nil {
		return err
	}
	return fmt.Errorf("%w: %w", err, e.broken.cause())
}

// asError makes a line of the server's log an error: where it names one of the system's of
// a disk, that.
func asError(line string) (err error, ofSystem bool) {
	for _, fault := range []error{syscall.ENOSPC, syscall.EDQUOT, syscall.EROFS, syscall.EIO, syscall.EFBIG} {
		if before, after, found := strings.Cut(line, fault.Error()); found {
			return fmt.Errorf("%s%w%s", before, fault, after), true
		}
	}
	return errors.New(line), false
}

// errBroken is the answer from then on.
func errBroken() error {
	return &events.Error{Code: events.Unavailable, Rule: "the log cannot be written to: its disk is full or failing; " +
		"make room, start daysheet again, and send the same events again, which is safe"}
}

// failed returns [errBroken] if the disk of the embedded server could not be written to.
func (e *embedded) failed() error {
	if e == nil {
		return nil
	}
	select {
	case <-e.broken.done:
		return errBroken()
	default:
		return nil
	}
}
