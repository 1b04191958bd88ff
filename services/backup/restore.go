package backup

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"

	"filippo.io/age"

	"daysheet/events"
	"daysheet/services/dataformat"
	"daysheet/services/eventlog"
	"daysheet/services/listfile"
	"daysheet/services/sealing"
)

// Restoring is a ledger that is made of archives.
type Restoring struct {
	Archives   []string // of the ledger and of keys, in any order
	Identities []age.Identity
	Erased     []sealing.Erasure // customers who are erased, whatever the archives know
	Folder     string            // the data folder; it must be empty, or not be there
	Program    string            // version of this program
	Places                       // in the data folder

	// Log makes the log, which will have so many bytes in its largest partition.
	Log func(ctx context.Context, bytes int64) (*eventlog.Writer, error)

	// Photo keeps a photo.
	Photo func(ctx context.Context, firm, digest string, body io.Reader) error

	// Upgrade brings the folder to the format of this program.
	Upgrade func(ctx context.Context) error
}

// Restored says what was restored.
type Restored struct {
	Checked
	Keys sealing.Restored // nothing where no archive of keys was given
}

// keysDraft is the folder, in the data folder, that keys are taken from.
const keysDraft = "keys.restoring"

// Restore makes a ledger of a whole archive and those that go on from it. It proves all of
// them before it writes anything, and again while it writes. Until it is done, the folder
// says that it is half restored, which every command refuses; then it can be run again
// and begins anew.
func Restore(ctx context.Context, r Restoring) (done Restored, err error) {
	ledger, keys, err := openAll(r.Archives, r.Identities)
	if err == nil {
		err = whole(ledger)
	}
	if err != nil {
		return done, err
	}
	bytes, last, err := r.prove(ctx, ledger, keys)
	if err == nil {
		err = enoughRoom(r.Folder, bytes.all)
	}
	if err != nil {
		return done, err
	}
	if err := dataformat.Begin(r.Folder); err != nil {
		return done, err
	}
	done, err = r.write(ctx, ledger, keys, bytes, last)
	if errors.Is(err, syscall.ENOSPC) || errors.Is(err, syscall.EDQUOT) {
		err = &FullError{r.Folder, err}
	}
	return done, err
}

// write makes the ledger of archives that were proved, in a folder that says that it is
// half restored.
func (r *Restoring) write(ctx context.Context, ledger, keys []opened, bytes sizes, last *Manifest) (done Restored,
	err error) {
	if done.Checked, err = r.writeLedger(ctx, ledger, slices.Max(bytes.log[:])); err != nil {
		return done, fmt.Errorf("restore: %w", err)
	}
	done.KeyFiles = len(keys)
	if done.Keys, err = r.writeKeys(ctx, keys); err != nil {
		return done, err
	}
	if err := dataformat.Write(r.Folder, last.Data, r.Program); err != nil {
		return done, err
	}
	if err := r.Upgrade(ctx); err != nil {
		return done, err
	}
	return done, dataformat.End(r.Folder)
}

// sizes are the bytes that archives hold, unpacked.
type sizes struct {
	all int64
	log [eventlog.Partitions]int64
}

// prove reads all archives to their ends. It returns how much is in them, and adds whom
// they know as erased.
func (r *Restoring) prove(ctx context.Context, ledger, keys []opened) (bytes sizes, last *Manifest, err error) {
	var before *checked
	for _, o := range ledger {
		c, err := checkFile(o.path, r.Identities, before, use{})
		if err != nil {
			return bytes, nil, err
		}
		for _, p := range c.manifest.Parts {
			bytes.all += p.Size
			if partition, _, ok := readSegment(p.Name); ok {
				bytes.log[partition] += p.Size
			}
		}
		r.Erased = append(r.Erased, c.erased...)
		before, last = c, c.manifest
		if ctx.Err() != nil {
			return bytes, nil, ctx.Err()
		}
	}
	for _, o := range keys {
		c, err := checkFile(o.path, r.Identities, nil, use{})
		if err != nil {
			return bytes, nil, err
		}
		r.Erased = append(r.Erased, c.erased...)
	}
	return bytes, last, nil
}

// writeLedger writes log, photos and access.
func (r *Restoring) writeLedger(ctx context.Context, ledger []opened, bytes int64) (sum Checked, err error) {
	log, err := r.Log(ctx, bytes)
	if err != nil {
		return sum, err
	}
	var before *checked
	for i, o := range ledger {
		do := use{
			commit: func(s events.Stored) error { return log.Add(ctx, s) },
			photo: func(firm, digest string, body io.Reader) error {
				return r.Photo(ctx, firm, digest, body)
			},
		}
		if i == len(ledger)-1 {
			do.file = r.writeFile
		}
		c, err := checkFile(o.path, r.Identities, before, do)
		if err != nil {
			return sum, errors.Join(err, log.Discard())
		}
		sum.Archives++
		sum.Proved = true
		sum.add(c)
		before = c
	}
	return sum, log.Close(ctx)
}

// writeFile puts a file of access, or a signing key, in its place.
func (r *Restoring) writeFile(name string, content []byte) error {
	path := ""
	if signed, ok := strings.CutPrefix(name, signPrefix); ok {
		if err := os.MkdirAll(r.Signing, 0o700); err != nil {
			return err
		}
		path = filepath.Join(r.Signing, signed)
	}
	for _, f := range r.access() {
		if name == accessPrefix+f.name {
			path = f.path
		}
	}
	return listfile.Replace(path, content)
}

// writeKeys brings back the keys of customers who are not erased. It makes the list of
// those who are in any case.
func (r *Restoring) writeKeys(ctx context.Context, keys []opened) (done sealing.Restored, err error) {
	draft := filepath.Join(r.Folder, keysDraft)
	if err := os.Mkdir(draft, 0o700); err != nil {
		return done, fmt.Errorf("restore keys: %w", err)
	}
	defer func() { err = errors.Join(err, os.RemoveAll(draft)) }()
	var withheld []sealing.Erasure
	for _, o := range keys { // the newest last, which stays
		_, err := checkFile(o.path, r.Identities, nil, use{key: func(firm, customer string, content []byte) error {
			if at := slices.IndexFunc(r.Erased, isOf(firm, customer)); at >= 0 {
				if !slices.ContainsFunc(withheld, isOf(firm, customer)) {
					withheld = append(withheld, r.Erased[at])
				}
				return ctx.Err()
			}
			if err := os.MkdirAll(filepath.Join(draft, firm), 0o700); err != nil {
				return err
			}
			return os.WriteFile(filepath.Join(draft, firm, customer), content, 0o600)
		}})
		if err != nil {
			return done, fmt.Errorf("restore keys: %w", err)
		}
	}
	into, err := sealing.OpenKeys(r.Keys)
	if err != nil {
		return done, err
	}
	done, err = into.Restore(draft, r.Erased)
	done.Withheld = append(done.Withheld, withheld...)
	return done, err
}
