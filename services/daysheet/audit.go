package main

import (
	"context"
	"errors"
	"fmt"

	"daysheet/services/projector"
)

// AuditCmd counts the facts against the log, and mends them.
type AuditCmd struct {
	NATSFlags
	StoreFlags
	Mend bool `help:"Put what is missing or wrong into the store again, as the log has it."`
}

// Help says what is compared and what the exit code means.
func (c *AuditCmd) Help() string {
	return `Counts and adds up the rows of the store for each ten thousand commits of the log, compares that with what
a replay of the log makes, and names the commits that differ. It is quicker than verify, which compares every
row, and can repair: with --mend the rows of just those commits are written again. A ClickHouse server that
lost a part of a table in a power cut is mended this way. The ledger must not be served from this data folder
meanwhile; with an external log and ClickHouse it may.

Exit code 0: nothing differs, or all of it was mended. 2: something differs, and was printed. 1: the audit could
not be made.`
}

// Run makes the audit and prints what it found.
func (c *AuditCmd) Run(ctx context.Context, g *Globals) (err error) {
	if err := g.needLedger(c.NATSFlags); err != nil {
		return err
	}
	logger := g.logger()
	log, err := openLog(ctx, g, c.NATSFlags, logger)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, log.Close()) }()
	store, err := openStore(ctx, g, c.StoreFlags, logger)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, store.Close()) }()

	bar := newProgress("audit")
	report, err := projector.Audit(ctx, log, store, c.Mend, bar.update)
	bar.finish()
	if err != nil {
		return adviseRepair(err)
	}
	return c.print(report)
}

// print says what was found, and what to do about what is left of it.
func (c *AuditCmd) print(r projector.AuditReport) error {
	fmt.Printf("%d commits counted\n", r.Commits)
	if r.Behind > 0 {
		fmt.Printf("the facts are %d commits behind the log; the next start takes them in\n", r.Behind)
	}
	for _, d := range r.Differences {
		if d.Mended {
			fmt.Println("mended:", d)
		} else {
			fmt.Println("found:", d)
		}
	}
	if r.More > 0 {
		fmt.Printf("and %d more\n", r.More)
	}
	switch {
	case r.Unmended > 0 && !c.Mend:
		fmt.Printf("differences: %d; \"daysheet audit --mend\" writes these commits again\n", r.Unmended)
	case r.Unmended > 0:
		fmt.Printf("differences that cannot be mended by adding rows: %d; the store has rows that the log does not give. "+
			"Make the facts again (daysheet rebuild --help)\n", r.Unmended)
	case len(r.Differences) > 0:
		fmt.Println("all of it was mended: the facts add up to what the log says")
	default:
		fmt.Println("nothing found: the facts add up to what the log says")
	}
	if r.Unmended > 0 {
		return errFound
	}
	return nil
}
