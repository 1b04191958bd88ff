package eventlog

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"

	"github.com/nats-io/nats.go"

	"daysheet/events"
)

// Archive is a second copy of the log's commits.
type Archive interface {
	// Commits returns up to limit commits of the partition after the sequence, in
	// order.
	Commits(ctx context.Context, partition uint8, after uint64, limit int) ([]events.Stored, error)
}

// RepairReport says what a repair found and did.
type RepairReport struct {
	Commits  uint64   // in the log as it is now
	Restored uint64   // of these, taken from the archive
	Damage   []string // what could not be read of the old log
	Aside    string   // where the old log's folder is now; empty if there was nothing to repair
}

// Repair makes an embedded log whole again. It reads the files of the old log
// without the server, takes what is missing or cannot be read from the archive,
// which may be nil, and proves the whole: sequences without gaps, each job's chain
// of hashes, and the same bytes where both have a commit. Then it writes a new log
// with the same sequences, puts it in the place of the old one and keeps that
// aside.
//
// Where a commit is in neither, or the two differ, it fails with an error that
// names partition and sequence, and changes nothing. A log in which nothing is
// wrong is left alone. progress is called with commits done and in all; it may be
// nil. Nobody else may have the log open.
func Repair(
	ctx context.Context, cfg Config, archive Archive, progress func(done, total uint64),
) (report RepairReport, err error) {
	if cfg, err = cfg.withDefaults(); err != nil {
		return report, err
	}
	if cfg.Dir == "" {
		return report, events.Refuse("Dir", cfg.Dir, "only the embedded log can be repaired")
	}
	if err := finishRepair(cfg.Dir); err != nil {
		return report, err
	}
	lock, err := lockFolder(cfg.Dir)
	if err != nil {
		return report, err
	}
	defer func() { err = errors.Join(err, lock.Close()) }()
	if err := notMoved(cfg.Dir); err != nil {
		return report, err
	}
	r := &repair{cfg: cfg, archive: archive, progress: progress}
	if r.progress == nil {
		r.progress = func(uint64, uint64) {}
	}
	if err := r.survey(ctx); err != nil {
		return r.report, err
	}
	if len(r.report.Damage) == 0 && r.report.Restored == 0 {
		return r.report, nil
	}
	if err := r.build(ctx); err != nil {
		return r.report, errors.Join(err, os.RemoveAll(cfg.Dir+repairing))
	}
	r.report.Aside, err = replaceLog(cfg.Dir)
	return r.report, err
}

// repair is the state of one [Repair].
type repair struct {
	cfg      Config
	archive  Archive
	progress func(done, total uint64)
	report   RepairReport
	lasts    [Partitions]uint64 // where each partition ends
}

// survey goes through all commits as they will be in the new log, and reports every
// partition for which that cannot be done.
func (r *repair) survey(ctx context.Context) error {
	var failures []error
	for partition := range uint8(Partitions) {
		chains := chains{}
		m := r.merging(partition, func(s events.Stored) error {
			_, err := chains.next(s)
			r.lasts[partition] = s.Sequence
			return err
		})
		if err := m.run(ctx); err != nil {
			failures = append(failures, fmt.Errorf("repair partition %d: %w", partition, err))
		}
		r.report.Commits += r.lasts[partition]
		r.report.Restored += m.restored
		r.report.Damage = append(r.report.Damage, m.damage...)
	}
	return errors.Join(failures...)
}

func (r *repair) merging(partition uint8, use func(events.Stored) error) *merging {
	return &merging{dir: r.cfg.Dir, archive: r.archive, partition: partition, use: use}
}

// archivePage is how many commits are asked of the archive at a time.
const archivePage = 500

// merging goes through the commits of one partition in the order of their
// sequences, from the old log where it has them and from the archive elsewhere.
type merging struct {
	dir       string
	archive   Archive
	partition uint8
	use       func(events.Stored) error

	last     uint64 // sequence that was used last
	restored uint64 // commits from the archive
	damage   []string
	page     []events.Stored // of the archive, from the next commit on
	asked    uint64          // up to where the archive was asked
	over     bool            // the archive has no more
}

func (m *merging) run(ctx context.Context) (err error) {
	m.over = m.archive == nil
	torn := 0
	m.damage, torn, err = readBlocks(m.dir, m.partition, func(s events.Stored) error { return m.fromLog(ctx, s) })
	end := m.last
	for err == nil {
		var more bool
		if more, err = m.fill(ctx); err != nil || !more {
			break
		}
		err = m.restore(ctx, m.last+1)
	}
	if torn > 0 && m.last == end {
		m.damage = append(m.damage, fmt.Sprintf("partition %d: what stood in the last %d bytes, after sequence %d, "+
			"is left out: a commit that was never acknowledged, or one that the store's archive does not have either",
			m.partition, torn, end))
	}
	return err
}

// fromLog uses a commit of the old log, after those before it that only the archive
// has.
func (m *merging) fromLog(ctx context.Context, s events.Stored) error {
	if s.Sequence <= m.last {
		return fmt.Errorf("sequence %d comes after sequence %d in the log", s.Sequence, m.last)
	}
	for m.last+1 < s.Sequence {
		if err := m.restore(ctx, m.last+1); err != nil {
			return err
		}
	}
	kept, ok, err := m.kept(ctx, s.Sequence)
	if err != nil {
		return err
	}
	if ok && !bytes.Equal(kept.Raw, s.Raw) {
		return fmt.Errorf("sequence %d: the commit in the log differs from the one in the store's archive: "+
			"both have been recorded, and nobody but you can say which is right", s.Sequence)
	}
	m.last = s.Sequence
	return m.use(s)
}

// restore uses the archive's commit of the sequence.
func (m *merging) restore(ctx context.Context, sequence uint64) error {
	kept, ok, err := m.kept(ctx, sequence)
	if err != nil {
		return err
	}
	if !ok {
		return fmt.Errorf("sequence %d: the commit is neither in the log nor in the store's archive: "+
			"restore one of them from a backup", sequence)
	}
	m.last = sequence
	m.restored++
	return m.use(kept)
}

// kept returns the archive's commit of the sequence, if it has it. Sequences are
// asked for in ascending order.
func (m *merging) kept(ctx context.Context, sequence uint64) (events.Stored, bool, error) {
	for {
		more, err := m.fill(ctx)
		if err != nil || !more || m.page[0].Sequence > sequence {
			return events.Stored{}, false, err
		}
		kept := m.page[0]
		m.page = m.page[1:]
		if kept.Sequence == sequence {
			return kept, true, nil
		}
	}
}

// fill asks the archive for more if there is none at hand, and reports whether there
// is any.
func (m *merging) fill(ctx context.Context) (more bool, err error) {
	for len(m.page) == 0 && !m.over {
		if m.page, err = m.archive.Commits(ctx, m.partition, m.asked, archivePage); err != nil {
			return false, fmt.Errorf("read the archive after sequence %d: %w", m.asked, err)
		}
		if len(m.page) == 0 {
			m.over = true
			break
		}
		m.asked = m.page[len(m.page)-1].Sequence
	}
	return len(m.page) > 0, nil
}

// chains holds the ends of the jobs' chains in a partition, by firm/job.
type chains map[string]*chainEnd

type chainEnd struct {
	version uint64
	hash    string
	trail   trail
}

// next proves that a commit is the next of its job, and returns the message to store
// it in.
func (c chains) next(s events.Stored) (*nats.Msg, error) {
	commit, err := events.DecodeCommit(s.Raw)
	if err != nil {
		return nil, fmt.Errorf("sequence %d: %w", s.Sequence, err)
	}
	if Partition(commit.Firm) != s.Partition {
		return nil, fmt.Errorf("sequence %d: firm %s belongs to partition %d",
			s.Sequence, commit.Firm, Partition(commit.Firm))
	}
	name := commit.Firm + "/" + commit.Job
	end := c[name]
	if end == nil {
		end = &chainEnd{}
		c[name] = end
	}
	if commit.Version != end.version+1 || commit.Previous != end.hash {
		return nil, fmt.Errorf("sequence %d: commit %d of job %s does not follow commit %d: the chain is broken",
			s.Sequence, commit.Version, name, end.version)
	}
	message := newMessage(commit, s.Raw, end.trail)
	end.version, end.hash, end.trail = commit.Version, events.Hash(s.Raw), end.trail.add(s.Sequence)
	return message, nil
}
