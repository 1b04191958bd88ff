package eventlog

import (
	"strconv"
	"strings"

	"github.com/nats-io/nats.go"

	"daysheet/events"
)

// trail holds the sequences of a job's last commits, oldest first, at most
// trailLength of them.
type trail []uint64

// add returns the trail with one more commit at its end.
func (t trail) add(sequence uint64) trail {
	if len(t) == trailLength {
		copy(t, t[1:])
		t = t[:trailLength-1]
	}
	return append(t, sequence)
}

// last returns the sequence of the last commit; 0 if there is none.
func (t trail) last() uint64 {
	if len(t) == 0 {
		return 0
	}
	return t[len(t)-1]
}

// header returns the trail that the next commit carries; empty on all but every
// trailLength-th. It reaches back to the commit with the trail before it.
func (t trail) header(version uint64) string {
	if version%trailLength != 0 {
		return ""
	}
	texts := make([]string, len(t))
	for i, sequence := range t {
		texts[len(texts)-1-i] = strconv.FormatUint(sequence, 10)
	}
	return strings.Join(texts, ",")
}

// newMessage returns the message in which a commit is stored that comes after
// those of the trail.
func newMessage(c *events.Commit, raw []byte, before trail) *nats.Msg {
	m := nats.NewMsg(subject(c.Firm, c.Job))
	m.Data = raw
	m.Header.Set(headerVersion, strconv.FormatUint(c.Version, 10))
	m.Header.Set(headerPrevious, strconv.FormatUint(before.last(), 10))
	if listed := before.header(c.Version); listed != "" {
		m.Header.Set(headerTrail, listed)
	}
	return m
}
