package projector

import (
	"context"
	"fmt"
	"maps"
	"slices"

	"daysheet/services/eventlog"
	"daysheet/services/facts"
)

// auditWidth is how many commits are counted together at first: few enough for
// one query to list each of them, many enough for the ranges of a log to be few.
const auditWidth = 10_000

// Audited is what [Audit] asks of a store.
type Audited interface {
	Position(ctx context.Context, partition uint8) (uint64, error)
	facts.Auditor
}

// Difference is a run of commits whose rows in the store come to something else
// than the log makes of them.
type Difference struct {
	Partition uint8
	From, To  uint64      // both belong to it; all commits between differ
	Store     facts.Tally // what the store had
	Log       facts.Tally // what it must be
	Mended    bool        // the store has since been counted again, and is right
}

// String says where the difference is and in what.
func (d Difference) String() string {
	return fmt.Sprintf("partition %d, commits %d to %d: %s", d.Partition, d.From, d.To, difference(&d.Store, &d.Log))
}

// AuditReport is what [Audit] counted and what it found.
type AuditReport struct {
	Commits     uint64 // counted in the log and in the store
	Behind      uint64 // commits that the store has not taken in yet; not a fault
	Differences []Difference
	More        int // differences beyond those listed
	Unmended    int // differences that are still there, listed or not
}

// Audit counts the rows that the store has of the log's commits, range by range,
// and compares them with what a replay of the log makes, up to where the store
// stands. Where a range differs it finds the commits that do, and with mend it
// puts their rows into the store as the log has them and counts again. The store
// may be written to meanwhile. progress is called with commits done and in all; it
// may be nil.
//
// A log that is damaged or ends before the store does cannot be audited against:
// the error is a [*DamageError] or [ErrLogBehind].
func Audit(
	ctx context.Context, log Log, store Audited, mend bool, progress func(done, total uint64),
) (AuditReport, error) {
	a := &audit{log: log, store: store, mend: mend, width: auditWidth}
	ends, total, err := a.locate(ctx)
	if err != nil {
		return AuditReport{}, err
	}
	for partition := range uint8(eventlog.Partitions) {
		if ends[partition] == 0 {
			continue
		}
		span := facts.Span{Partition: partition, From: 1, To: ends[partition], Width: a.width}
		err := a.partition(ctx, span, func(commits uint64) {
			a.report.Commits += commits
			if progress != nil {
				progress(a.report.Commits, total)
			}
		})
		if err != nil {
			return AuditReport{}, fmt.Errorf("audit partition %d: %w", partition, err)
		}
	}
	return a.report, nil
}

// audit is the state of one [Audit].
type audit struct {
	log    Log
	store  Audited
	mend   bool
	width  uint64
	report AuditReport
}

// locate finds up to where each partition can be audited.
func (a *audit) locate(ctx context.Context) (ends [eventlog.Partitions]uint64, total uint64, err error) {
	for partition := range uint8(eventlog.Partitions) {
		position, err := a.store.Position(ctx, partition) // first, so that it cannot overtake the end
		if err != nil {
			return ends, 0, fmt.Errorf("read position of partition %d: %w", partition, err)
		}
		last, err := a.log.Last(ctx, partition)
		if err != nil {
			return ends, 0, fmt.Errorf("find the end of partition %d: %w", partition, err)
		}
		if last < position {
			return ends, 0, behind(partition, last, position)
		}
		ends[partition] = position
		total += position
		a.report.Behind += last - position
	}
	return ends, total, nil
}

// partition audits one partition, range by range.
func (a *audit) partition(ctx context.Context, span facts.Span, counted func(commits uint64)) error {
	made := facts.Tallies{}
	err := a.replay(ctx, span, func(_ context.Context, b facts.Batch) error {
		made.Add(span.Of(b))
		counted(uint64(len(b.Commits)))
		return nil
	})
	if err != nil {
		return err
	}
	held, err := a.store.Tallies(ctx, span)
	if err != nil {
		return err
	}
	for _, first := range slices.Sorted(maps.Keys(made)) { // every range has commits in the log
		if held[first] == made[first] {
			continue
		}
		one := facts.Span{Partition: span.Partition, From: max(first, 1), To: min(first+span.Width-1, span.To), Width: 1}
		if err := a.examine(ctx, one); err != nil {
			return err
		}
	}
	return nil
}

// examine finds the commits of a range that differ, and mends them.
func (a *audit) examine(ctx context.Context, span facts.Span) error {
	held, err := a.store.Tallies(ctx, span)
	if err != nil {
		return err
	}
	made := facts.Tallies{} // of what differs
	var found []Difference
	err = a.replay(ctx, span, func(ctx context.Context, b facts.Batch) error {
		from := len(found)
		all := span.Of(b)
		for i := range b.Commits {
			sequence := b.Commits[i].Sequence
			if held[sequence] == all[sequence] {
				continue
			}
			made[sequence] = all[sequence]
			if last := len(found) - 1; last < from || found[last].To+1 != sequence {
				found = append(found, Difference{Partition: b.Partition, From: sequence})
			}
			found[len(found)-1].To = sequence
		}
		return a.mendAll(ctx, b, found[from:])
	})
	if err != nil {
		return err
	}
	after := held
	if a.mend && len(found) > 0 {
		if after, err = a.store.Tallies(ctx, span); err != nil {
			return err
		}
	}
	for _, d := range found {
		a.note(d, held, made, after)
	}
	return nil
}

// mendAll mends the runs of a batch that differ, if it is to.
func (a *audit) mendAll(ctx context.Context, b facts.Batch, differences []Difference) error {
	if !a.mend {
		return nil
	}
	for _, d := range differences {
		if err := a.store.Mend(ctx, b.Part(d.From, d.To)); err != nil {
			return fmt.Errorf("mend commits %d to %d: %w", d.From, d.To, err)
		}
	}
	return nil
}

// note adds a difference to the report.
func (a *audit) note(d Difference, held, made, after facts.Tallies) {
	before, must := facts.Tallies{}, facts.Tallies{}
	d.Mended = a.mend
	for sequence := d.From; sequence <= d.To; sequence++ {
		before.Add(facts.Tallies{0: held[sequence]})
		must.Add(facts.Tallies{0: made[sequence]})
		d.Mended = d.Mended && after[sequence] == made[sequence]
	}
	d.Store, d.Log = before[0], must[0]
	if !d.Mended {
		a.report.Unmended++
	}
	if len(a.report.Differences) == findingsListed {
		a.report.More++
		return
	}
	a.report.Differences = append(a.report.Differences, d)
}

// replay projects the commits of a span and gives them to take in batches.
func (a *audit) replay(ctx context.Context, span facts.Span, take func(context.Context, facts.Batch) error) error {
	r := newReplay(a.log, taker(take), defaultLimits)
	r.once = true
	r.lanes = []*lane{{replay: r, partition: span.Partition, position: span.From - 1, target: span.To}}
	return r.run(ctx)
}

// taker is the target of a replay that keeps nothing.
type taker func(context.Context, facts.Batch) error

// Position is always the beginning.
func (taker) Position(context.Context, uint8) (uint64, error) { return 0, nil }

// Write takes a batch.
func (t taker) Write(ctx context.Context, b facts.Batch) error { return t(ctx, b) }
