package eventlog

import (
	"strings"
	"sync"

	"daysheet/events"
)

// breakage knows whether the embedded server could not write to its disk. From then on
// the server neither takes nor answers what is sent to that stream, until it is started
// anew; all it does is to write a line into its own log.
type breakage struct {
	once sync.Once
	done chan struct{} // closed when it happened
}

func newBreakage() *breakage { return &breakage{done: make(chan struct{})} }

// criticalWrite is in the line of the server that says so.
const criticalWrite = "critical write error"

// hear takes a line of the server's log.
func (b *breakage) hear(line string) {
	if strings.Contains(strings.ToLower(line), criticalWrite) {
		b.once.Do(func() { close(b.done) })
	}
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
