package main

import (
	"context"
	"errors"
	"fmt"

	"daysheet/events"
	"daysheet/services/eventlog"
	"daysheet/services/projector"
)

// RepairCmd makes a damaged log whole from the copy in the store.
type RepairCmd struct {
	NATSFlags
	StoreFlags
}

// Help says when it is needed and what it does.
func (c *RepairCmd) Help() string {
	return `A fault of the disk can make a part of the log unreadable. At each start every byte of the log is read, and
the ledger refuses to start where one is wrong; where that is found while it is served, nothing is recorded
any more, and every page, /readyz and the program's log say so. The store of facts has a copy of every commit.
A repair makes a new log from what can be read of the old one and, for the rest, from that copy, proves that
it is whole, and puts it in the place of the old one, which is kept beside it. Needs as much free disk as the
log takes. The server must not be running.

Where a commit is neither in the log nor in the copy, or the two differ, it is named and nothing is changed.`
}

// Run repairs the log and says what was done.
func (c *RepairCmd) Run(ctx context.Context, g *Globals) (err error) {
	if c.NATS != "" {
		return events.Refuse("nats", c.NATS, "only a log in the data folder can be repaired here; in a cluster, "+
			"let the damaged server drop its copy of the stream and fetch it again from the others, or restore a backup of it")
	}
	if err := g.needLedger(c.NATSFlags); err != nil {
		return err
	}
	archive := archiveOf(g, c.StoreFlags)
	defer func() { err = errors.Join(err, archive.close()) }()
	cfg := logConfig(g, c.NATSFlags, g.logger())
	bar := newProgress("repair")
	report, err := eventlog.Repair(ctx, cfg, archive, bar.update)
	bar.finish()
	for _, damage := range report.Damage {
		fmt.Println("found:", damage)
	}
	switch {
	case err != nil:
		return err
	case report.Aside == "":
		fmt.Printf("nothing to repair: all %d commits can be read\n", report.Commits)
	default:
		fmt.Printf("the log is whole: %d commits, %d of them from the copy in the store\n", report.Commits, report.Restored)
		fmt.Printf("the old log is kept in %s; check the ledger with \"daysheet verify\", then delete it\n", report.Aside)
	}
	return nil
}

// wayOut says what to do while a damaged log is served.
const wayOut = "stop daysheet, run \"daysheet repair\", which restores the log from the copy in the store, " +
	"start it, and send the same events again, which is safe"

// logDamaged reports whether the projector stopped because of the log, and not the store.
func logDamaged(err error) bool {
	return errors.As(err, new(*projector.DamageError)) || errors.Is(err, projector.ErrLogBehind)
}

// adviseRepair adds the way out to an error that says the log is damaged.
func adviseRepair(err error) error {
	if logDamaged(err) {
		return fmt.Errorf("%w (\"daysheet repair\" restores a damaged log from the copy in the store)", err)
	}
	return err
}

// checkLog looks for holes in the log, and for one that ends before a position. A
// ledger is not served on such a log: what is recorded next would take sequences
// that were used before.
func checkLog(ctx context.Context, log *eventlog.Log, position func(context.Context, uint8) (uint64, error)) error {
	for partition := range uint8(eventlog.Partitions) {
		atLeast, err := position(ctx, partition)
		if err != nil {
			return fmt.Errorf("read position of partition %d: %w", partition, err)
		}
		if err := log.Check(ctx, partition, atLeast); err != nil {
			return fmt.Errorf("check the log: %w (\"daysheet repair\" restores a damaged log from the copy in the store)", err)
		}
	}
	return nil
}

// fromNothing is the position of a store that has nothing.
func fromNothing(context.Context, uint8) (uint64, error) { return 0, nil }
