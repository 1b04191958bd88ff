package events

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"strconv"
	"time"
	"unicode/utf8"
)

// Commit is all new events of one job from one submission. It is written to the
// log whole or not at all, as one message, and it is the link of the job's hash
// chain. The zero value is not valid.
type Commit struct {
	Firm       string    `json:"firm"`
	Job        string    `json:"job"`         // a job, or [FirmJob]
	Version    uint64    `json:"version"`     // number of the commit on its job, the first is 1
	Previous   string    `json:"previous"`    // [Hash] of the commit before it; empty for the first
	RecordedAt time.Time `json:"recorded_at"` // when the ledger took it, UTC, whole milliseconds
	RecordedBy string    `json:"recorded_by"` // the credential that sent it
	Events     []Event   `json:"events"`      // at least one; a CloudEvents batch
}

// Encode returns the bytes that are stored: the commit in canonical JSON
// (RFC 8785), so that the hash of a commit is the hash of its bytes as stored.
// It brings RecordedAt to UTC and whole milliseconds.
func (c *Commit) Encode() ([]byte, error) {
	c.RecordedAt = c.RecordedAt.UTC().Truncate(time.Millisecond)
	out := []byte(`{"events":[`)
	for i := range c.Events {
		if i > 0 {
			out = append(out, ',')
		}
		var err error
		if out, err = c.Events[i].appendTo(out); err != nil {
			return nil, fmt.Errorf("write commit %d of %s: %w", c.Version, c.Job, err)
		}
	}
	recorded, err := c.RecordedAt.MarshalJSON()
	if err != nil {
		return nil, fmt.Errorf("write commit %d of %s: %w", c.Version, c.Job, err)
	}
	out = appendText(append(out, `],"firm":`...), c.Firm)
	out = appendText(append(out, `,"job":`...), c.Job)
	out = appendText(append(out, `,"previous":`...), c.Previous)
	out = append(append(out, `,"recorded_at":`...), recorded...)
	out = appendText(append(out, `,"recorded_by":`...), c.RecordedBy)
	out = strconv.AppendUint(append(out, `,"version":`...), c.Version, 10)
	if !utf8.Valid(out) {
		return nil, fmt.Errorf("write commit %d of %s: a member is not UTF-8", c.Version, c.Job)
	}
	return append(out, '}'), nil
}

// DecodeCommit reads what [Commit.Encode] wrote. It refuses anything else,
// since a ledger must not guess: all members, in canonical order, and nothing
// behind them. Its errors have the code [Internal], whatever is wrong inside:
// what is in the log is not the fault of who reads it.
func DecodeCommit(raw []byte) (*Commit, error) {
	var c Commit
	if err := c.read(raw); err != nil {
		return nil, fmt.Errorf("read commit: %v", err)
	}
	switch {
	case !ValidToken(c.Firm) || !ValidToken(c.Job):
		return nil, fmt.Errorf("read commit: firm %q or job %q is no key", c.Firm, c.Job)
	case c.Version == 0, (c.Version == 1) != (c.Previous == ""):
		return nil, fmt.Errorf("read commit of %s: version %d with previous %q", c.Job, c.Version, c.Previous)
	case len(c.Events) == 0:
		return nil, fmt.Errorf("read commit %d of %s: no events", c.Version, c.Job)
	}
	return &c, nil
}

// commitMembers are the members of a stored commit in canonical order.
var commitMembers = [...]string{"events", "firm", "job", "previous", "recorded_at", "recorded_by", "version"}

func (c *Commit) read(raw []byte) error {
	r, err := newReader(raw)
	if err != nil {
		return err
	}
	n := 0
	err = r.object(func(name []byte) error {
		if n == len(commitMembers) || string(name) != commitMembers[n] {
			return fmt.Errorf("member %q does not belong here", name)
		}
		n++
		return c.readMember(&r, commitMembers[n-1])
	})
	switch {
	case err != nil:
		return err
	case n < len(commitMembers):
		return fmt.Errorf("member %q is missing", commitMembers[n])
	}
	return r.end()
}

func (c *Commit) readMember(r *reader, name string) error {
	switch name {
	case "events":
		return r.array(func(i int) error {
			c.Events = append(c.Events, Event{})
			if err := c.Events[i].read(r); err != nil {
				return placed(name+index(i), err)
			}
			return nil
		})
	case "version":
		digits, err := r.number()
		if err == nil {
			c.Version, err = strconv.ParseUint(string(digits), 10, 64)
		}
		return err
	}
	value, err := r.text()
	if err != nil {
		return err
	}
	switch name {
	case "firm":
		c.Firm = string(value)
	case "job":
		c.Job = string(value)
	case "previous":
		c.Previous = string(value)
	case "recorded_at":
		return c.RecordedAt.UnmarshalText(value)
	case "recorded_by":
		c.RecordedBy = string(value)
	}
	return nil
}

// Hash returns the SHA-256 of a commit's stored bytes in hexadecimal. It is
// what the next commit of the job names as its Previous, and what a handover
// report can quote as the head of the job's chain.
func Hash(stored []byte) string {
	sum := sha256.Sum256(stored)
	return hex.EncodeToString(sum[:])
}

// Stored is a commit as it stands in the log.
type Stored struct {
	Partition uint8  // which of the log's partitions holds the firm
	Sequence  uint64 // position in that partition, counted from 1 without gaps
	Raw       []byte // the bytes as stored
}

// Receipt says where one event of a submission ended up.
type Receipt struct {
	ID        string `json:"id" doc:"Id of the event as it was sent"`
	Job       string `json:"job" doc:"Job it was recorded on"`
	Sequence  uint64 `json:"sequence" doc:"Position in the log; the event is on disk"`
	Duplicate bool   `json:"duplicate" doc:"True where the same event was recorded before and nothing was added"`
}
