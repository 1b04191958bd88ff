package eventlog

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/nats-io/nats.go"

	"daysheet/events"
)

// Migration says what [Migrate] found and did.
type Migration struct {
	Commits uint64 // in the embedded log, and now in the external one
	Copied  uint64 // of these, sent by this run; the rest was there before
	Since   uint64 // recorded in the external log since an earlier run had moved everything
}

// Migrate moves an embedded log into an external one, commit for commit and under
// the same sequences, and marks the embedded one as moved, so that it cannot be
// opened any more (see [MovedError] and [MoveBack]). It makes the streams where they
// are missing and the user may.
//
// First it reads the embedded log's files without the server, as [Repair] does, proves
// them (sequences without gaps, each job's chain of hashes, and the same bytes as in the
// archive, which may be nil) and compares what the external log has already, byte for
// byte. Only then it sends what is missing, each commit to be taken at its own sequence
// or not at all. At the end it reads back what it sent and compares it, and last it
// writes the mark. It can be ended at any moment, however hard, and run again: it goes
// on where the external log ends.
//
// It fails and changes nothing if the embedded log is in use ([ErrInUse]) or damaged, and
// if the external one holds other commits (code Conflict). progress is called with the
// name of the step, commits done and in all; it may be nil.
func Migrate(
	ctx context.Context, from, to Config, archive Archive, progress func(step string, done, total uint64),
) (report Migration, err error) {
	if err := checkMove(from, to); err != nil {
		return report, err
	}
	if err := finishRepair(from.Dir); err != nil {
		return report, err
	}
	lock, err := lockFolder(from.Dir)
	if err != nil {
		return report, err
	}
	defer func() { err = errors.Join(err, lock.Close()) }()
	m := &migration{dir: from.Dir, archive: archive, progress: progress}
	if m.progress == nil {
		m.progress = func(string, uint64, uint64) {}
	}
	if m.before, err = readMoved(from.Dir); err != nil {
		return report, err
	}
	if m.to, err = openTarget(ctx, to); err != nil {
		return report, err
	}
	defer func() { err = errors.Join(err, m.to.Close()) }()
	for _, step := range []func(context.Context) error{m.check, m.send, m.compare} {
		if err := step(ctx); err != nil {
			return m.report, err
		}
	}
	if m.before != nil {
		return m.report, nil
	}
	mark := moved{To: withoutPasswords(to.URL), At: m.to.cfg.Now().UTC().Truncate(time.Second), Ends: m.ends}
	return m.report, mark.write(from.Dir)
}

// openTarget opens the external log, and makes its streams where they are missing.
func openTarget(ctx context.Context, cfg Config) (*Log, error) {
	l, err := Open(ctx, cfg)
	if !errors.Is(err, errMissing) {
		return l, err
	}
	if _, failed := Prepare(ctx, cfg); failed != nil {
		return nil, errors.Join(err, failed)
	}
	return Open(ctx, cfg)
}

// migration is the state of one [Migrate]. Of each partition it holds where the
// embedded log ends, and up to where the external one is known to have the same:
// compared where it was read, acknowledged where it was sent.
type migration struct {
	dir      string
	archive  Archive
	to       *Log
	before   *moved // what an earlier run wrote; nil if none came to its end
	progress func(step string, done, total uint64)
	report   Migration

	ends         [Partitions]ends
	compared     [Partitions]uint64
	acknowledged [Partitions]uint64
}

// walk goes through the commits of a partition of the embedded log in their order,
// each with the message that it belongs in, and proves that they follow each other.
func (m *migration) walk(
	ctx context.Context, partition uint8, archive Archive, use func(*nats.Msg, events.Stored) error,
) error {
	chains := chains{}
	var failed error // of use
	w := &merging{dir: m.dir, archive: archive, partition: partition, use: func(s events.Stored) error {
		if failed = orDenied(ctx, ctx.Err()); failed != nil {
			return failed
		}
		message, err := chains.next(s)
		if err == nil {
			failed = use(message, s)
			err = failed
		}
		return err
	}}
	err := w.run(ctx)
	switch {
	case failed != nil:
		return failed
	case err != nil:
		return fmt.Errorf("partition %d of the embedded log: %w", partition, err)
	}
	if w.restored > 0 {
		w.damage = append(w.damage, fmt.Sprintf("%d commits are in the store and not in the log", w.restored))
	}
	if len(w.damage) > 0 {
		return fmt.Errorf("partition %d of the embedded log is damaged: %s: run \"daysheet repair\" before it is moved",
			partition, w.damage[0])
	}
	return nil
}

// check proves the embedded log, and compares what the external one has of it.
func (m *migration) check(ctx context.Context) error {
	total, err := countCommits(m.dir)
	if err != nil {
		return err
	}
	if err := m.mayRead(ctx); err != nil {
		return err
	}
	for partition := range uint8(Partitions) {
		there, err := m.last(ctx, partition, 0)
		if err != nil {
			return err
		}
		r := &reading{log: m.to, partition: partition}
		err = m.walk(ctx, partition, m.archive, func(message *nats.Msg, s events.Stored) error {
			m.ends[partition] = ends{s.Sequence, events.Hash(s.Raw)}
			m.report.Commits++
			m.progress("check", m.report.Commits, max(total, m.report.Commits))
			if s.Sequence > there {
				return nil
			}
			if err := m.same(ctx, r, message, s); err != nil {
				return err
			}
			m.compared[partition], m.acknowledged[partition] = s.Sequence, s.Sequence
			return nil
		})
		r.close()
		if err == nil {
			err = m.belongs(partition, there)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// mayRead fails if the user may not read back what will be sent: better now than
// at the end.
func (m *migration) mayRead(ctx context.Context) error {
	ctx, unwatch := m.to.tail.denials.watch(ctx, about(0))
	defer unwatch()
	return m.to.tail.outlast(ctx, func() (bool, error) {
		f := &follower{log: m.to}
		_, err := f.consumer(ctx)
		return false, orDenied(ctx, err)
	})
}

// last returns where a partition of the external log ends. It fails if commits are
// missing from it, or if it ends before the sequence.
func (m *migration) last(ctx context.Context, partition uint8, atLeast uint64) (last uint64, err error) {
	err = m.to.link.outlast(ctx, func() (bool, error) {
		info, err := m.to.ask(ctx, partition)
		if err != nil {
			return false, err
		}
		last = info.State.LastSeq
		return true, sound(info.State, atLeast)
	})
	if err != nil {
		return 0, fmt.Errorf("external log: partition %d: %w", partition, err)
	}
	return last, nil
}

// belongs fails if the external log cannot be the one in which the embedded log goes
// on, by where its partition ends.
func (m *migration) belongs(partition uint8, last uint64) error {
	end := m.ends[partition].Sequence
	switch {
	case last > end && m.before == nil:
		return m.to.other("partition %d holds %d commits and the log in %s %d of them: it is the log of others, "+
			"or already goes on there; move into a cluster that holds no commits of its own", partition, last, m.dir, end)
	case last < end && m.before != nil:
		return m.to.other("partition %d ends at sequence %d, and %d commits were moved to %s before: "+
			"this is not where the log was moved to, or it lost something", partition, last, end, m.before.To)
	case m.before != nil && m.before.Ends[partition] != m.ends[partition]:
		return fmt.Errorf("partition %d of the embedded log ends at sequence %d, and ended at %d when it was moved: "+
			"it is another copy", partition, end, m.before.Ends[partition].Sequence)
	}
	m.report.Since += last - min(last, end)
	return nil
}

// same reads the message at the commit's sequence in the external log and compares.
func (m *migration) same(ctx context.Context, r *reading, want *nats.Msg, s events.Stored) error {
	got, err := r.next(ctx)
	if err != nil {
		return fmt.Errorf("external log: %w", err)
	}
	if err := isMessage(got, want, s.Sequence); err != nil {
		return m.to.other("partition %d holds other commits: %v; nothing was written over", s.Partition, err)
	}
	return nil
}

// isMessage fails unless a message is what was to be stored at the sequence.
func isMessage(got message, want *nats.Msg, sequence uint64) error {
	switch {
	case got.sequence != sequence || got.subject != want.Subject:
		return fmt.Errorf("sequence %d is of %s, and here of %s", got.sequence, got.subject, want.Subject)
	case string(got.data) != string(want.Data):
		return fmt.Errorf("sequence %d is another commit of %s than here", sequence, want.Subject)
	}
	for _, name := range []string{headerVersion, headerPrevious, headerTrail} {
		if got.header.Get(name) != want.Header.Get(name) {
			return fmt.Errorf("sequence %d has the header %s %q, and here %q",
				sequence, name, got.header.Get(name), want.Header.Get(name))
		}
	}
	return nil
}

// compare reads back what was sent, and requires that nobody else sent anything.
func (m *migration) compare(ctx context.Context) error {
	done := uint64(0)
	for partition := range uint8(Partitions) {
		end, from := m.ends[partition].Sequence, m.compared[partition]
		if from < end {
			r := &reading{log: m.to, partition: partition, at: from}
			err := m.walk(ctx, partition, nil, func(message *nats.Msg, s events.Stored) error {
				if s.Sequence <= from {
					return nil
				}
				done++
				m.progress("compare", done, m.report.Copied)
				if err := m.same(ctx, r, message, s); err != nil {
					return err
				}
				m.compared[partition] = s.Sequence
				return nil
			})
			r.close()
			if err != nil {
				return err
			}
		}
		last, err := m.last(ctx, partition, end)
		if err != nil {
			return err
		}
		if m.compared[partition] != end || last != end && m.before == nil {
			return m.to.other("partition %d ends at sequence %d, %d of the %d commits could be compared: "+
				"somebody records there while the log is being moved", partition, last, m.compared[partition], end)
		}
	}
	return nil
}

// countCommits says how many commits an embedded log should have, by the last of each
// partition that can be read.
func countCommits(dir string) (total uint64, err error) {
	for partition := range uint8(Partitions) {
		last, err := lastInBlocks(dir, partition)
		if err != nil {
			return 0, err
		}
		total += last
	}
	return total, nil
}
