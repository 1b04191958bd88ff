package eventlog

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"sync"

	"github.com/nats-io/nats.go/jetstream"

	"daysheet/events"
)

// Headers of a commit's message.
const (
	headerVersion  = "Daysheet-Version"  // the commit's number on its job
	headerPrevious = "Daysheet-Previous" // sequence of the job's commit before it; 0 for the first
	headerTrail    = "Daysheet-Trail"    // every trailLength commits: sequences of the ones before, newest first
)

// trailLength is the number of commits between two trails. With them a chain of
// thousands is read in runs of this many at once instead of one by one.
const trailLength = 64

// link is one commit of a job's chain.
type link struct {
	stored  events.Stored
	commit  *events.Commit
	attempt string // id of the message that stored it, see [Log.attempt]; empty if it is not known
}

// Commits returns a job's commits, oldest first, up to and including the sequence;
// upTo 0 is all. It is empty if nothing was recorded on the job. It fails if the
// chain is damaged; the error names the sequence.
func (l *Log) Commits(ctx context.Context, firm, job string, upTo uint64) ([]events.Stored, error) {
	if err := checkTokens(firm, job); err != nil {
		return nil, err
	}
	end, err := l.begin()
	if err != nil {
		return nil, err
	}
	defer end()
	var links []link
	err = patiently(ctx, func() error {
		head, ok, err := l.head(ctx, firm, job, upTo)
		if err == nil && l.inside == nil {
			_, err = l.knows(ctx, Partition(firm), upTo)
		}
		if err != nil || !ok {
			return err
		}
		links, err = l.chain(ctx, firm, job, head, 0)
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("read commits of %s/%s: %w", firm, job, err)
	}
	stored := make([]events.Stored, 0, len(links))
	for _, k := range links {
		if upTo == 0 || k.stored.Sequence <= upTo {
			stored = append(stored, k.stored)
		}
	}
	return stored, nil
}

// head returns the message to walk back from: the one at upTo if it is the job's,
// else the job's last.
func (l *Log) head(ctx context.Context, firm, job string, upTo uint64) (m message, ok bool, err error) {
	if upTo > 0 {
		m, ok, err = l.at(ctx, Partition(firm), upTo)
		if err != nil || ok && m.subject == subject(firm, job) {
			return m, ok, err
		}
	}
	return l.lastOf(ctx, firm, job)
}

// chain returns the commits of a job from the one after the given sequence (0:
// from the first) to head, oldest first, and verifies that they follow each other.
func (l *Log) chain(ctx context.Context, firm, job string, head message, after uint64) ([]link, error) {
	messages, err := l.walk(ctx, firm, job, head, after)
	if err != nil {
		return nil, err
	}
	slices.Reverse(messages)
	links := make([]link, len(messages))
	for i, m := range messages {
		if links[i], err = readLink(firm, job, m); err != nil {
			return nil, err
		}
		if i == 0 && after > 0 {
			continue // follows a commit that the caller holds, and the caller compares
		}
		var before *link
		if i > 0 {
			before = &links[i-1]
		}
		if err := follows(before, links[i]); err != nil {
			return nil, err
		}
	}
	return links, nil
}

// readLink decodes a message as a commit of the job.
func readLink(firm, job string, m message) (link, error) {
	c, err := events.DecodeCommit(m.data)
	if err != nil {
		return link{}, fmt.Errorf("sequence %d: %w", m.sequence, err)
	}
	switch {
	case c.Firm != firm || c.Job != job:
		return link{}, fmt.Errorf("sequence %d: a commit of %s/%s stands under %s", m.sequence, c.Firm, c.Job, m.subject)
	case m.header.Get(headerVersion) != strconv.FormatUint(c.Version, 10):
		return link{}, fmt.Errorf("sequence %d: commit %d has the header %s %q",
			m.sequence, c.Version, headerVersion, m.header.Get(headerVersion))
	}
	stored := events.Stored{Partition: Partition(firm), Sequence: m.sequence, Raw: m.data}
	return link{stored, c, m.header.Get(jetstream.MsgIDHeader)}, nil
}

// follows verifies that k is the commit after before; nil is the start of a job.
func follows(before *link, k link) error {
	var version, sequence uint64
	var hash string
	if before != nil {
		version, sequence, hash = before.commit.Version, before.stored.Sequence, events.Hash(before.stored.Raw)
	}
	if k.commit.Version != version+1 || k.commit.Previous != hash {
		return fmt.Errorf("sequence %d: commit %d does not follow commit %d at sequence %d: the chain is broken",
			k.stored.Sequence, k.commit.Version, version, sequence)
	}
	return nil
}

// walk collects the messages of a job from head back to the one after the given
// sequence, newest first.
func (l *Log) walk(ctx context.Context, firm, job string, head message, after uint64) ([]message, error) {
	messages := []message{head}
	for {
		m := messages[len(messages)-1]
		if m.subject != subject(firm, job) {
			return nil, fmt.Errorf("sequence %d: the chain of %s/%s leads to %s", m.sequence, firm, job, m.subject)
		}
		before, err := sequencesBefore(m, after)
		if err != nil || len(before) == 0 {
			return messages, err
		}
		run, err := l.atAll(ctx, Partition(firm), before)
		if err != nil {
			return nil, err
		}
		messages = append(messages, run...)
	}
}

// sequencesBefore returns where the commits before m stand, newest first, as far
// as its headers tell and as they come after the given sequence. It is empty at
// the start of the chain.
func sequencesBefore(m message, after uint64) ([]uint64, error) {
	listed := m.header.Get(headerTrail)
	if listed == "" {
		listed = m.header.Get(headerPrevious)
	}
	var before []uint64
	bound := m.sequence
	for text := range strings.SplitSeq(listed, ",") {
		sequence, err := strconv.ParseUint(text, 10, 64)
		if err != nil || sequence >= bound {
			return nil, fmt.Errorf("sequence %d: not a commit of this ledger: the headers %s %q and %s %q do not lead back",
				m.sequence, headerPrevious, m.header.Get(headerPrevious), headerTrail, m.header.Get(headerTrail))
		}
		if sequence == after {
			return before, nil
		}
		if sequence < after {
			return nil, fmt.Errorf("sequence %d: the chain passes by sequence %d, which is known to be in it",
				m.sequence, after)
		}
		before = append(before, sequence)
		bound = sequence
	}
	return before, nil
}

// atAll returns the messages at the sequences, read together.
func (l *Log) atAll(ctx context.Context, partition uint8, sequences []uint64) ([]message, error) {
	messages := l.inside.shelf(partition).take(sequences)
	failures := make([]error, len(sequences))
	read := func(i int) {
		var ok bool
		if messages[i], ok, failures[i] = l.at(ctx, partition, sequences[i]); !ok && failures[i] == nil {
			failures[i] = l.gone(ctx, partition, sequences[i],
				fmt.Errorf("sequence %d: missing from partition %d: the log is damaged", sequences[i], partition))
		}
	}
	var all sync.WaitGroup
	for i := range sequences {
		if messages[i].sequence == 0 {
			all.Go(func() { read(i) })
		}
	}
	all.Wait()
	return messages, errors.Join(failures...)
}
