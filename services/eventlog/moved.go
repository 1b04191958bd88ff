package eventlog

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"time"

	"daysheet/events"
)

// movedName is the file in an embedded log's folder that says where the log went
// on. It lies beside the lock, so that a copy of the folder says it as well.
const movedName = "moved.json"

// moved is the content of that file.
type moved struct {
	To   string           `json:"to"` // address without a password
	At   time.Time        `json:"at"`
	Ends [Partitions]ends `json:"ends"`
}

// ends is where a partition ended when the log was moved.
type ends struct {
	Sequence uint64 `json:"sequence"`
	Hash     string `json:"hash"` // of the commit there; empty where there is none
}

// MovedError says that an embedded log goes on somewhere else. What would be
// recorded in it now would make a second ledger of the same firms.
type MovedError struct {
	Dir string // of the log that was opened
	To  string // address of the one that goes on
	At  time.Time
}

// Error says it to the operator, with the way back.
func (e *MovedError) Error() string {
	return fmt.Sprintf("the log in %s was moved to %s on %s and goes on there, with --nats: recorded on both sides, "+
		"the two would part. If nothing was recorded there since, \"daysheet migrate --back\" with the same --nats flags "+
		"lets this one go on instead", e.Dir, e.To, e.At.Format(time.RFC3339))
}

// notMoved fails with a [MovedError] if the log in the folder goes on elsewhere.
func notMoved(dir string) error {
	m, err := readMoved(dir)
	if err != nil || m == nil {
		return err
	}
	return &MovedError{Dir: dir, To: m.To, At: m.At}
}

// readMoved returns what the folder says; nil where it says nothing.
func readMoved(dir string) (*moved, error) {
	path := filepath.Join(dir, movedName)
	raw, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("read where the log was moved to: %w", err)
	}
	var m moved
	if err := json.Unmarshal(raw, &m); err != nil {
		return nil, fmt.Errorf("read where the log was moved to: %s: %w", path, err)
	}
	return &m, nil
}

// write brings the file to disk, whole or not at all.
func (m *moved) write(dir string) error {
	raw, err := json.MarshalIndent(m, "", "  ")
	if err != nil {
		return fmt.Errorf("mark the log as moved: %w", err)
	}
	path := filepath.Join(dir, movedName)
	if err := os.WriteFile(path+".new", append(raw, '\n'), 0o600); err != nil {
		return fmt.Errorf("mark the log as moved: %w", err)
	}
	if err := syncPath(path + ".new"); err != nil {
		return err
	}
	if err := os.Rename(path+".new", path); err != nil {
		return fmt.Errorf("mark the log as moved: %w", err)
	}
	return syncPath(dir)
}

// MoveBack lets an embedded log that was moved go on again. It fails, and leaves it
// moved, if the external log has recorded anything since or is not the one that it
// was moved to (code Conflict). Nobody may record there meanwhile or afterwards:
// the two would part.
func MoveBack(ctx context.Context, from, to Config) (err error) {
	if err := checkMove(from, to); err != nil {
		return err
	}
	lock, err := lockFolder(from.Dir)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, lock.Close()) }()
	m, err := readMoved(from.Dir)
	if err != nil {
		return err
	}
	if m == nil {
		return events.Refuse("back", nil, "the log in %s was not moved, and can be served as it is", from.Dir)
	}
	l, err := Open(ctx, to)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, l.Close()) }()
	for partition := range uint8(Partitions) {
		if err := l.endsAt(ctx, partition, m.Ends[partition]); err != nil {
			return err
		}
	}
	if err := os.Remove(filepath.Join(from.Dir, movedName)); err != nil {
		return fmt.Errorf("take the log back: %w", err)
	}
	return syncPath(from.Dir)
}

// endsAt fails unless a partition ends where it did when it was moved here.
func (l *Log) endsAt(ctx context.Context, partition uint8, then ends) error {
	last, err := l.Last(ctx, partition)
	if err != nil {
		return err
	}
	switch {
	case last > then.Sequence:
		return l.other("partition %d has recorded %d commits since the move, which would be lost: "+
			"the log has to stay there", partition, last-then.Sequence)
	case last < then.Sequence:
		return l.other("partition %d ends at sequence %d, and %d commits were moved: "+
			"this is not where the log was moved to, or it lost something", partition, last, then.Sequence)
	case last == 0:
		return nil
	}
	var m message
	err = patiently(ctx, func() (err error) {
		m, _, err = l.at(ctx, partition, last)
		return err
	})
	if err == nil && events.Hash(m.data) != then.Hash {
		return l.other("sequence %d of partition %d is another commit than the one that was moved: "+
			"this is not where the log was moved to", last, partition)
	}
	return err
}

// other says that an external log is not the one that it should be.
func (l *Log) other(rule string, args ...any) error {
	return &events.Error{Code: events.Conflict, Field: "nats", Value: withoutPasswords(l.cfg.URL),
		Rule: fmt.Sprintf(rule, args...)}
}

// checkMove fails unless one side is embedded and the other external.
func checkMove(from, to Config) error {
	switch {
	case from.Dir == "":
		return events.Refuse("Dir", from.Dir, "only an embedded log can be moved: name its folder")
	case to.URL == "":
		return events.Refuse("URL", to.URL, "a log is moved to an external server or cluster: name its address")
	}
	return nil
}

// withoutPasswords returns addresses as they can be written down.
func withoutPasswords(addresses string) string {
	var out []string
	for address := range strings.SplitSeq(addresses, ",") {
		address = strings.TrimSpace(address)
		if !strings.Contains(address, "://") {
			address = "nats://" + address
		}
		if u, err := url.Parse(address); err == nil {
			out = append(out, (&url.URL{Scheme: u.Scheme, Host: u.Host}).String())
		}
	}
	return strings.Join(out, ",")
}
