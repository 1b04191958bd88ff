package projector

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"

	"daysheet/events"
	"daysheet/services/eventlog"
	"daysheet/services/facts"
)

// findingsListed bounds the findings of a report; the rest is counted.
const findingsListed = 100

// Report is what [Verify] looked at and what it found.
type Report struct {
	Partitions int
	Firms      int
	Jobs       int    // jobs, without the firms' own
	Commits    uint64 // read from the log
	Events     uint64
	Facts      uint64 // rows compared
	Archived   uint64 // commits compared with the store's own copy
	Behind     uint64 // commits that the store has not taken in yet; not a fault
	Findings   []string
	More       int // findings beyond those listed
}

// Sound reports whether nothing was found.
func (r Report) Sound() bool { return len(r.Findings) == 0 }

// Verify proves log and store against each other. In every partition it looks
// for missing commits, for bytes that are not canonical JSON, for breaks in the
// jobs' chains and for commits that differ from the copy in live's archive. It
// replays the log into scratch, which must be empty, and compares the facts and
// jobs of live with it, up to where live stands. live may be written to
// meanwhile; it is only read.
//
// What is wrong is in the report. The error says that verifying itself failed.
func Verify(
	ctx context.Context, log Log, live, scratch facts.Store, progress func(done, total uint64),
) (Report, error) {
	v := &verification{live: live, scratch: scratch}
	r := newReplay(log, scratch, defaultLimits)
	r.once = true
	if err := r.locate(ctx); err != nil {
		return Report{}, err
	}
	var done, total uint64
	for _, l := range r.lanes {
		if l.position != 0 {
			return Report{}, errors.New("verify: the scratch store is not empty")
		}
		total += l.target
	}
	r.decoded = func(m message) error { return v.inspect(ctx, m) }
	if progress != nil {
		r.written = func(w *work) {
			done += uint64(len(w.batch.Commits))
			progress(done, total)
		}
	}
	for _, l := range r.lanes {
		if err := v.partition(ctx, r, l); err != nil {
			return Report{}, fmt.Errorf("verify partition %d: %w", l.partition, err)
		}
		v.report.Partitions++
	}
	return v.report, nil
}

// verification is the state of one Verify: what it found, and what it has to
// remember of the partition at hand.
type verification struct {
	live, scratch facts.Store
	report        Report

	links    map[jobKey]link
	firms    map[string]bool
	archive  *pages[events.Stored] // nil where the store keeps none
	position uint64                // where live stands
}

// link is the last commit of a job's chain.
type link struct {
	version uint64
	hash    string
}

func (v *verification) find(format string, args ...any) {
	if len(v.report.Findings) == findingsListed {
		v.report.More++
		return
	}
	v.report.Findings = append(v.report.Findings, fmt.Sprintf(format, args...))
}

// partition replays one lane alone, so that damage in it keeps no other
// partition from being looked at.
func (v *verification) partition(ctx context.Context, r *replay, l *lane) (err error) {
	v.links, v.firms, v.archive = map[jobKey]link{}, map[string]bool{}, nil
	if v.position, err = v.live.Position(ctx, l.partition); err != nil {
		return err
	}
	switch {
	case v.position > l.target:
		v.find("%v", behind(l.partition, l.target, v.position))
	case v.position < l.target:
		v.report.Behind += l.target - v.position
	}
	if archive, ok := v.live.(facts.Archive); ok {
		v.archive = archivePages(ctx, archive, l.partition)
	}
	r.lanes = []*lane{l}
	err = r.run(ctx)
	if damage := (*DamageError)(nil); errors.As(err, &damage) && ctx.Err() == nil {
		v.find("%v", damage)
	} else if err != nil {
		return err
	}
	return v.compare(ctx, min(v.position, l.position))
}

// inspect looks at one commit as the replay reads it.
func (v *verification) inspect(ctx context.Context, m message) error {
	s, c := m.stored, m.commit
	v.report.Commits++
	v.report.Events += uint64(len(c.Events))
	if !v.firms[c.Firm] {
		v.firms[c.Firm] = true
		v.report.Firms++
		if want := eventlog.Partition(c.Firm); want != s.Partition {
			v.find("partition %d: sequence %d: firm %s belongs to partition %d", s.Partition, s.Sequence, c.Firm, want)
		}
	}
	if canonical, err := events.Canonical(s.Raw); err != nil || !bytes.Equal(canonical, s.Raw) {
		v.find("partition %d: sequence %d: the stored bytes are not canonical JSON", s.Partition, s.Sequence)
	}
	key := jobKey{c.Firm, c.Job}
	before := v.links[key]
	if c.Version != before.version+1 || c.Previous != before.hash {
		return &DamageError{s.Partition, s.Sequence, fmt.Errorf(
			"sequence %d: commit %d of job %s/%s does not follow commit %d: the chain is broken",
			s.Sequence, c.Version, c.Firm, c.Job, before.version)}
	}
	if before.version == 0 && c.Job != events.FirmJob {
		v.report.Jobs++
	}
	v.links[key] = link{c.Version, events.Hash(s.Raw)}
	if v.archive == nil || s.Sequence > v.position {
		return nil
	}
	return v.inspectCopy(s)
}

// inspectCopy compares a commit with the copy in the store's archive.
func (v *verification) inspectCopy(s events.Stored) error {
	for {
		kept, err := v.archive.peek()
		if err != nil {
			return fmt.Errorf("read the store's commits: %w", err)
		}
		if kept == nil || kept.Sequence > s.Sequence {
			v.find("partition %d: sequence %d: the commit is missing in the store", s.Partition, s.Sequence)
			return nil
		}
		v.archive.drop()
		if kept.Sequence < s.Sequence {
			v.find("partition %d: sequence %d: the store holds the commit twice", s.Partition, kept.Sequence)
			continue
		}
		v.report.Archived++
		if !bytes.Equal(kept.Raw, s.Raw) {
			v.find("partition %d: sequence %d: the commit in the store differs from the log", s.Partition, s.Sequence)
		}
		return nil
	}
}

// compare compares the facts and jobs of the partition's firms up to asOf.
func (v *verification) compare(ctx context.Context, asOf uint64) error {
	if asOf == 0 {
		return nil // nothing to compare, and queries read 0 as "all"
	}
	for _, firm := range slices.Sorted(maps.Keys(v.firms)) {
		for _, part := range []func(context.Context, string, uint64) error{v.compareSums, v.compareLines, v.compareJobs} {
			if err := part(ctx, firm, asOf); err != nil {
				return fmt.Errorf("compare firm %s: %w", firm, err)
			}
		}
	}
	return nil
}
