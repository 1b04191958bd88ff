package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"time"

	"daysheet/events"
	"daysheet/services/backup"
	"daysheet/services/eventlog"
	"daysheet/services/photos"
)

// stateFolder, in the data folder, is what is known of backups.
const stateFolder = "backups"

// BackupCmd writes an archive of the ledger.
type BackupCmd struct {
	NATSFlags
	PhotoFlags
	To             string   `arg:"" help:"File to write, or a folder that is there: it then gets a whole archive every week, and between them such as hold only what is new." type:"path"`
	Since          string   `help:"Earlier archive: hold only what came since." type:"existingfile" placeholder:"ARCHIVE"`
	KeysTo         string   `help:"File, or folder, of the archive of the keys of customers; beside the other, if not given." type:"path" placeholder:"PATH"`
	Keep           int      `help:"In a folder: how many whole archives are kept, each with those that go on from it; 0 for all." default:"0" placeholder:"N"`
	Recipient      []string `help:"Public key (age1...) for whom the archives are encrypted. Can be given again." placeholder:"KEY"`
	RecipientsFile string   `help:"File of such keys, one on a line." type:"existingfile" placeholder:"FILE"`
	Identity       []string `help:"File of the age key that opens the earlier archive." type:"existingfile" placeholder:"FILE"`
}

// Help says what is in an archive and what is not.
func (c *BackupCmd) Help() string {
	return `Writes two files: one of log, photos, signing keys and who has access, and one of the keys of customers,
without which nobody can read in the first what is personal of them. Keep the two in different places. The ledger
may be served meanwhile: everything that was acknowledged before is in the archive. The facts are not, since the
first start makes them again from the log, nor who is signed in.

"daysheet verify ARCHIVE..." proves archives, "daysheet restore ARCHIVE... --data FOLDER" makes a ledger of them.
An archive of --since needs those before it for that.

With --recipient archives are encrypted with age; what is encrypted so can be opened with the age program too.`
}

// Run writes the archives and says what is in them.
func (c *BackupCmd) Run(ctx context.Context, g *Globals) (err error) {
	if err := g.needLedger(c.NATSFlags); err != nil {
		return err
	}
	recipients, err := backup.ParseRecipients(c.Recipient, c.RecipientsFile)
	if err != nil {
		return err
	}
	source, closing, err := openSource(ctx, g, c.NATSFlags, c.PhotoFlags)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, closing()) }()
	o := backup.Options{Program: build().Version, Recipients: recipients, Now: time.Now()}
	written, err := c.write(ctx, g, source, o)
	if err != nil {
		return err
	}
	printWritten(written)
	return nil
}

// write writes into a folder or to a file.
func (c *BackupCmd) write(ctx context.Context, g *Globals, s backup.Source, o backup.Options) (w backup.Written,
	err error) {
	if isFolder(c.To) {
		if c.Since != "" {
			return w, events.Refuse("since", c.Since, "in a folder the archive before is found; name a file to write instead")
		}
		return schemeOf(g, c.To, c.KeysTo, c.Keep, s, o).Run(ctx)
	}
	if c.Keep != 0 {
		return w, events.Refuse("keep", c.Keep, "archives are kept in a folder, which must be there: name one, or leave "+
			"it out")
	}
	if c.Since != "" {
		identities, err := backup.ReadIdentities(c.Identity)
		if err != nil {
			return w, err
		}
		if o.Since, err = backup.ReadEarlier(c.Since, identities); err != nil {
			return w, err
		}
	}
	keys := c.To + ".keys"
	switch {
	case isFolder(c.KeysTo):
		keys = filepath.Join(c.KeysTo, filepath.Base(keys))
	case c.KeysTo != "":
		keys = c.KeysTo
	}
	w, _, err = backup.WriteFiles(ctx, c.To, keys, s, o)
	return w, err
}

func isFolder(path string) bool {
	info, err := os.Stat(path)
	return path != "" && err == nil && info.IsDir()
}

// schemeOf is how archives are kept in a folder.
func schemeOf(g *Globals, folder, keys string, keep int, s backup.Source, o backup.Options) backup.Scheme {
	if keys == "" {
		keys = folder
	}
	return backup.Scheme{Folder: folder, Keys: keys, Keep: keep, State: filepath.Join(g.Data, stateFolder), Source: s,
		Options: o}
}

// printWritten says what was written.
func printWritten(w backup.Written) {
	since := "new since the archive before"
	if w.Whole {
		since = "in all"
	}
	fmt.Printf("%s: %d commits and %d photos %s\n", w.File, w.Commits, w.Photos, since)
	fmt.Printf("%s: %d keys of customers; keep it in another place\n", w.Keys, w.KeyCount)
	warnLacking(w.Lacking)
}

// warnLacking names photos that are in no archive.
func warnLacking(lacking []string) {
	for _, name := range lacking {
		warn("photo %s could not be read, or is damaged, and is not in the archive: run \"daysheet verify\"", name)
	}
}

// placesOf says where a ledger is, beside its log and photos.
func (g *Globals) places() backup.Places {
	beside := filepath.Dir(g.tokensPath())
	return backup.Places{Tokens: g.tokensPath(), People: filepath.Join(beside, peopleFile),
		Links: filepath.Join(beside, linksFile), Changes: filepath.Join(beside, accessFile),
		Signing: filepath.Join(g.Data, signingFolder), Keys: g.keysPath()}
}

// openSource opens the ledger to be read beside whoever serves it. The caller closes it.
func openSource(ctx context.Context, g *Globals, n NATSFlags, p PhotoFlags) (s backup.Source, closing func() error,
	err error) {
	s.Places = g.places()
	if folder := p.folder(g, n, photos.Limits{}); folder != nil {
		s.Photos, s.PhotosFolder = folder.Each, folder.Root()
	}
	if n.NATS != "" {
		log, err := openLog(ctx, g, n, g.logger())
		if err != nil {
			return s, nil, err
		}
		s.Commits = commitsOf(log)
		return s, log.Close, nil
	}
	files, err := eventlog.OpenFiles(filepath.Join(g.Data, logFolder))
	if err != nil {
		return s, nil, err
	}
	s.Commits = func(ctx context.Context, partition uint8, after uint64, use func(events.Stored) error) error {
		if err := files.Commits(ctx, partition, after, use); err != nil {
			return err
		}
		return files.Same()
	}
	return s, func() error { return nil }, nil
}

// commitsOf reads the commits of an external log.
func commitsOf(log *eventlog.Log) func(context.Context, uint8, uint64, func(events.Stored) error) error {
	return func(ctx context.Context, partition uint8, after uint64, use func(events.Stored) error) error {
		return storedOf(ctx, log, partition, after, use)
	}
}

// copyBefore is the copy of a ledger that is made before its folder is upgraded.
func copyBefore(g *Globals, n NATSFlags, p PhotoFlags, logger *slog.Logger) func(context.Context, string) error {
	return func(ctx context.Context, into string) (err error) {
		s, closing, err := openSource(ctx, g, n, p)
		if err != nil {
			return err
		}
		defer func() { err = errors.Join(err, closing()) }()
		w, _, err := backup.WriteFiles(ctx, filepath.Join(into, "ledger.tar.zst"), filepath.Join(into, "keys.tar.zst"), s,
			backup.Options{Program: build().Version, Now: time.Now()})
		if err == nil {
			logger.Info("the data folder was copied before it is upgraded", "file", w.File, "bytes", w.Bytes)
		}
		return err
	}
}
