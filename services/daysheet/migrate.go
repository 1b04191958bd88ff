package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"daysheet/events"
	"daysheet/services/eventlog"
)

// MigrateCmd moves the log from the data folder into an external one.
type MigrateCmd struct {
	NATSFlags
	StoreFlags
	Back bool `help:"Let the log in the data folder go on again after it was moved. Refused once anything was recorded in the external one."`
}

// Help says what happens, in which order, and what is left to do.
func (c *MigrateCmd) Help() string {
	return `Copies the log from the data folder to the NATS server or cluster that --nats names, every commit under the
same sequence, so that every report stays as it is, to the byte. First the log and its chains are checked, against
the store's copy too; then what the cluster lacks is sent; then it is read back and compared. Last, the log in the
data folder is marked as moved, and no command opens it any more: recorded on both sides, the two would part.
The server must not be running.

It can be stopped at any moment, even by a power cut, and run again: it goes on where the cluster's log ends.
A cluster that holds other commits is refused, and nothing in it is changed.

The streams are made by "daysheet prepare" with the operator's key, or here where the user may; the user must be one
who may record and read ("whole" in deploy/nats). --clickhouse names the store of the log that is moved, where its
facts are not in the data folder. The log is all that is copied; what else the folder holds is listed at the end.

--back lets the log in the data folder go on again, as long as nothing was recorded in the external one. Stop what
serves that one first.`
}

// Run moves the log and says what was done and what is left to do.
func (c *MigrateCmd) Run(ctx context.Context, g *Globals) (err error) {
	if c.NATS == "" {
		return events.Refuse("nats", "", "name the server or cluster that the log is moved to")
	}
	if err := g.needLedger(NATSFlags{}); err != nil {
		return err
	}
	logger := g.logger()
	from, to := logConfig(g, NATSFlags{}, logger), logConfig(g, c.NATSFlags, logger)
	if c.Back {
		if err := eventlog.MoveBack(ctx, from, to); err != nil {
			return err
		}
		fmt.Printf("the log in %s goes on from here; nothing may be recorded in the external one any more, and "+
			"\"daysheet migrate\" moves it again\n", from.Dir)
		return nil
	}
	archive := archiveOf(g, c.StoreFlags)
	defer func() { err = errors.Join(err, archive.close()) }()
	var bar *progress
	step := ""
	report, err := eventlog.Migrate(ctx, from, to, archive, func(now string, done, total uint64) {
		if now != step {
			bar.finish()
			bar, step = newProgress(now), now
		}
		bar.update(done, total)
	})
	bar.finish()
	if errors.Is(err, context.Canceled) {
		return fmt.Errorf("stopped before the end, and not marked as moved; run it again, it goes on from there: %w", err)
	}
	if err != nil {
		return err
	}
	return c.print(g, from.Dir, report)
}

// print says what was done, and lists what the log does not hold.
func (c *MigrateCmd) print(g *Globals, dir string, r eventlog.Migration) error {
	fmt.Printf("%d commits are in the external log under the same sequences: %d copied now, %d there before\n",
		r.Commits, r.Copied, r.Commits-r.Copied)
	if r.Since > 0 {
		fmt.Printf("it has recorded %d since they were moved\n", r.Since)
	}
	fmt.Printf("the log in %s is marked as moved; keep it until there is a backup of the external one\n", dir)
	notes, err := leftBehind(g)
	if err != nil {
		return err
	}
	fmt.Println("beside the log, where the ledger is served with another data folder:")
	for _, note := range notes {
		fmt.Println("  " + note)
	}
	return nil
}

// leftBehind says of everything beside the log in the data folder what has to be done
// with it where the ledger is served from now on.
func leftBehind(g *Globals) (notes []string, err error) {
	entries, err := os.ReadDir(g.Data)
	if err != nil {
		return nil, fmt.Errorf("list the data folder: %w", err)
	}
	for _, e := range entries {
		path := filepath.Join(g.Data, e.Name())
		switch name := e.Name(); {
		case name == logFolder || strings.HasPrefix(name, logFolder+".") || strings.HasSuffix(name, ".lock"):
		case strings.HasPrefix(name, factsFile) || name == thumbnailsFolder:
			notes = append(notes, path+": made again; need not be copied")
		case name == tokensFile:
			notes = append(notes, path+": who has access; copy it, or name it with --tokens")
		case name == keysFolder:
			notes = append(notes, path+": without it nobody can read what is personal; copy it, or name it with --keys")
		case name == signingFolder:
			notes = append(notes, path+": the keys that firms sign papers with; copy it")
		case name == photosFolder:
			notes = append(notes, path+": copy it if others serve them; with --nats it must be named, with --photos")
		default:
			notes = append(notes, path+": copy it")
		}
	}
	return notes, nil
}
