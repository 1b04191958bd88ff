package events

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"time"
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
func (c *Commit) Encode() ([]byte, error) {
	c.RecordedAt = c.RecordedAt.UTC().Truncate(time.Millisecond)
	raw, err := json.Marshal(c)
	if err != nil {
		return nil, fmt.Errorf("write commit %d of %s: %w", c.Version, c.Job, err)
	}
	return Canonical(raw)
}

// DecodeCommit reads what [Commit.Encode] wrote. It refuses anything else,
// since a ledger must not guess.
func DecodeCommit(raw []byte) (*Commit, error) {
	d := json.NewDecoder(bytes.NewReader(raw))
	d.DisallowUnknownFields()
	var c Commit
	if err := d.Decode(&c); err != nil {
		return nil, fmt.Errorf("read commit: %w", err)
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
