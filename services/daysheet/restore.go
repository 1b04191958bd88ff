package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"

	"daysheet/events"
	"daysheet/services/backup"
	"daysheet/services/eventlog"
	"daysheet/services/photos"
	"daysheet/services/sealing"
)

// RestoreCmd makes a ledger of archives.
type RestoreCmd struct {
	Archives []string `arg:"" help:"The archives: a whole one, those that go on from it, and one of the keys of customers." type:"existingfile"`
	Identity []string `help:"File of the age key that opens archives that are encrypted." type:"existingfile" placeholder:"FILE"`
	Erased   string   `help:"List of erased customers (erased.json of the folder of keys) that is newer than the archives: no key of theirs comes back." type:"existingfile" placeholder:"FILE"`
}

// Help says what comes back, and what does not.
func (c *RestoreCmd) Help() string {
	return `Makes a ledger of archives in the folder of --data, which must be empty. Everything is proved before anything
is written. Every commit keeps its sequence, so that every report is the same to the byte, also as of a position.
If it is broken off, the folder says so and cannot be served; run the same command again.

Give the newest archive of the keys of customers: without one, what is personal of them cannot be read. The key of
a customer who was erased does not come back, if the archives or the list of --erased know of it.

Afterwards everybody signs in anew. Tokens, links and people are as they were then: what was revoked since has to be
revoked again. For an external log, "daysheet migrate" moves the restored one there.`
}

// Run restores the ledger and says what it has.
func (c *RestoreCmd) Run(ctx context.Context, g *Globals) error {
	if g.Tokens != "" || g.Keys != "" {
		return events.Refuse("data", g.Data, "all of the ledger is restored into this folder: "+
			"leave --tokens and --keys out, and move those to their places afterwards")
	}
	identities, err := backup.ReadIdentities(c.Identity)
	if err != nil {
		return err
	}
	var erased []sealing.Erasure
	if c.Erased != "" {
		if erased, err = sealing.ReadErased(c.Erased); err != nil {
			return err
		}
	}
	folder := photos.NewFolder(filepath.Join(g.Data, photosFolder), photos.Limits{Bytes: math.MaxInt64 / 2,
		FirmBytes: math.MaxInt64})
	logger := g.logger()
	done, err := backup.Restore(ctx, backup.Restoring{
		Archives: c.Archives, Identities: identities, Erased: erased, Folder: g.Data, Program: build().Version,
		Places: g.places(), Photo: folder.Restore,
		Log: func(ctx context.Context, bytes int64) (*eventlog.Writer, error) {
			cfg := logConfig(g, NATSFlags{}, logger)
			cfg.MaxBytes = max(logMaxDefault, 2*bytes)
			return eventlog.NewWriter(ctx, cfg)
		},
		Upgrade: upgrading(g, logger).Restored,
	})
	if err := asFound(err); err != nil {
		return err
	}
	c.print(g, done)
	return nil
}

// logMaxDefault is what a partition of a restored log may take; serve raises it.
const logMaxDefault = int64(1) << 30

// asFound prints what is wrong with an archive, and ends the command as verify does.
func asFound(err error) error {
	var damaged *backup.DamagedError
	if !errors.As(err, &damaged) {
		return err
	}
	fmt.Println("found:", damaged)
	return errFound
}

func (c *RestoreCmd) print(g *Globals, r backup.Restored) {
	fmt.Printf("restored as of %s: %d commits in %d chains, %d photos\n", r.Made.Format("2006-01-02 15:04:05 UTC"),
		r.Commits, r.Jobs, r.Photos)
	switch {
	case r.KeyFiles == 0:
		fmt.Println("no archive of keys was given: what is personal of customers cannot be read")
	default:
		fmt.Printf("%d keys of customers, and %d that stay away because the customer was erased\n",
			r.Keys.Keys, len(r.Keys.Withheld))
	}
	warnLacking(r.Lacking)
	fmt.Printf("the ledger is in %s; the first \"daysheet serve\" makes its facts\n", g.Data)
}

// verifyArchives proves archives without restoring them.
func (c *VerifyCmd) verifyArchives() error {
	identities, err := backup.ReadIdentities(c.Identity)
	if err != nil {
		return err
	}
	sum, err := backup.Verify(c.Files, identities)
	if err := asFound(err); err != nil {
		return err
	}
	if sum.Archives > 0 {
		fmt.Printf("%d archives of a ledger as of %s: %d commits, %d photos in them; %d chains in all\n", sum.Archives,
			sum.Made.Format("2006-01-02 15:04:05 UTC"), sum.Commits, sum.Photos, sum.Jobs)
		warnLacking(sum.Lacking)
	}
	if sum.KeyFiles > 0 {
		fmt.Printf("%d archives of keys, %d keys in the newest\n", sum.KeyFiles, sum.Keys)
	}
	if sum.Archives > 0 && !sum.Proved {
		fmt.Println("it goes on from an earlier archive: name that as well to prove the chains from their beginning")
	}
	fmt.Println("nothing found: every part is as it was written, and the chains are whole")
	return nil
}

// isArchive reports whether a file is an archive of a ledger, rather than a paper.
func isArchive(path string) (bool, error) {
	file, err := os.Open(path)
	if err != nil {
		return false, fmt.Errorf("open the file: %w", err)
	}
	defer file.Close()
	head := make([]byte, 32)
	n, err := io.ReadFull(file, head)
	if err != nil && !errors.Is(err, io.EOF) && !errors.Is(err, io.ErrUnexpectedEOF) {
		return false, fmt.Errorf("read the file: %w", err)
	}
	return backup.IsArchive(head[:n]), nil
}
