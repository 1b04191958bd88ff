package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"

	"daysheet/services/eventlog"
	"daysheet/services/facts/duckdb"
	"daysheet/services/photos"
	"daysheet/services/projector"
)

// VerifyCmd checks that the ledger is whole and that the facts follow from it.
type VerifyCmd struct {
	NATSFlags
	StoreFlags
	PhotoFlags
	Files    []string `arg:"" optional:"" name:"file" help:"A paper (PDF), an evidence file, or archives of a backup to prove; without it the ledger is checked." type:"existingfile"`
	Identity []string `help:"File of the age key that opens archives that are encrypted." type:"existingfile" placeholder:"FILE"`
	Key      string   `help:"Public key (PEM) of the firm that signed the file; that of the ledger in the data folder, if not given." type:"existingfile" placeholder:"FILE"`
}

// Help says what is checked and what the exit code means.
func (c *VerifyCmd) Help() string {
	return `Checks that the log has no gap, that every commit names the hash of the one before it, that the copy of
the log in the store is the same byte for byte, that the facts are what a replay of the log makes, that
every photo has the bytes that it is named by, and that every photo that an event names is there.
The server must not be running.

With the name of a paper or an evidence file it proves that file instead: that every byte of it is as the firm
signed it, and, where the data folder holds a ledger that is not being served, that the ledger still holds the
records it was made of.
With the names of archives of "daysheet backup" it proves them: every part, every chain, and that they go on from
each other.

Exit code 0: nothing found. 2: something was found, and printed. 1: the check could not be made.`
}

// Run makes the check and prints what it found.
func (c *VerifyCmd) Run(ctx context.Context, g *Globals) (err error) {
	if len(c.Files) > 0 {
		return c.verifyFiles(ctx, g)
	}
	if err := g.needLedger(c.NATSFlags); err != nil {
		return err
	}
	logger := g.logger()
	log, err := openLog(ctx, g, c.NATSFlags, logger)
	if unreadable := (*eventlog.DamagedError)(nil); errors.As(err, &unreadable) {
		return sayDamage(unreadable)
	}
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, log.Close()) }()
	live, damaged, err := c.openStore(ctx, g, logger)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, live.Close()) }()
	folder, err := os.MkdirTemp(g.Data, "verify-")
	if err != nil {
		return fmt.Errorf("make a folder for the replay: %w", err)
	}
	defer func() { err = errors.Join(err, os.RemoveAll(folder)) }()
	scratch, err := duckdb.Open(ctx, filepath.Join(folder, factsFile), duckdb.Options{})
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, scratch.Close()) }()

	bar := newProgress("verify")
	report, err := projector.Verify(ctx, log, live, scratch, bar.update)
	bar.finish()
	if err != nil {
		return err
	}
	fmt.Printf("%d firms, %d jobs, %d commits, %d events, %d facts\n",
		report.Firms, report.Jobs, report.Commits, report.Events, report.Facts)
	if report.Behind > 0 {
		fmt.Printf("the facts are %d commits behind the log; the next start takes them in\n", report.Behind)
	}
	report.Findings = append(damaged, report.Findings...)
	for _, finding := range report.Findings {
		fmt.Println("found:", finding)
	}
	ofPhotos, err := verifyPhotos(ctx, c.folder(g, c.NATSFlags, photos.Limits{}), log, report.Sound())
	if err != nil {
		return err
	}
	if findings := len(report.Findings) + report.More + ofPhotos; findings > 0 {
		fmt.Printf("%d findings\n", findings)
		return errFound
	}
	fmt.Println("nothing found: the chains are whole, the facts are what the log says, and no photo is missing or damaged")
	return nil
}

// sayDamage prints what of the log cannot be read. Nothing else is compared with such a log:
// whoever opens it changes it.
func sayDamage(e *eventlog.DamagedError) error {
	for _, finding := range e.Findings {
		fmt.Println("found:", finding)
	}
	fmt.Printf("%d findings; run \"daysheet repair\", which restores a damaged log from the copy in the store, and then "+
		"\"daysheet verify\" again\n", len(e.Findings))
	return errFound
}

// openStore opens the store of facts and says whether it was damaged: it is then set
// aside, and what is compared is a store that is behind, in which nothing is wrong.
func (c *VerifyCmd) openStore(ctx context.Context, g *Globals, logger *slog.Logger) (store, []string, error) {
	if c.ClickHouse != "" {
		live, err := openStore(ctx, g, c.StoreFlags, logger)
		return live, nil, err
	}
	live, err := duckdb.Open(ctx, filepath.Join(g.Data, factsFile), duckdb.Options{})
	if err == nil {
		return live, nil, nil
	}
	var damaged []string
	if errors.Is(err, duckdb.ErrDamaged) {
		damaged = []string{fmt.Sprintf("facts: %v; the file is set aside, and the next start makes them again from the "+
			"log", err)}
	}
	again, err := openStore(ctx, g, c.StoreFlags, logger)
	return again, damaged, err
}
