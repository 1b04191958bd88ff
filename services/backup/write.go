package backup

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"daysheet/events"
	"daysheet/services/listfile"
)

// Written says what was backed up.
type Written struct {
	File, Keys string // paths of the two archives
	Bytes      int64  // of both
	Whole      bool
	Commits    uint64
	Photos     int
	KeyCount   int
	Lacking    []string // photos that could not be read, as <firm>/<sha256>
}

// WriteFiles writes the archive of a ledger and that of its keys. Each is there whole or
// not at all, and neither is written over what is there.
func WriteFiles(ctx context.Context, file, keys string, s Source, o Options) (w Written, e *Earlier, err error) {
	for _, path := range []string{file, keys} {
		if _, err := os.Stat(path); err == nil {
			return w, nil, events.Refuse("file", path, "there is something of this name: name a new file")
		}
	}
	w = Written{File: file, Keys: keys, Whole: o.Since == nil}
	first, err := draftOf(file, func(to io.Writer) (err error) {
		e, err = archiveLedger(ctx, to, s, o)
		return err
	})
	if err != nil {
		return w, nil, err
	}
	// The keys come after the log: a key is made before what it seals is recorded.
	second, err := draftOf(keys, func(to io.Writer) (err error) {
		w.KeyCount, err = archiveKeys(ctx, to, s.Places, o)
		return err
	})
	if err != nil {
		return w, nil, errors.Join(err, os.Remove(file+draftEnding))
	}
	if err := errors.Join(settle(keys), settle(file)); err != nil {
		return w, nil, err
	}
	w.Bytes = first + second
	w.Commits, w.Photos, w.Lacking = e.manifest.Commits, e.manifest.Photos, e.manifest.Lacking
	return w, e, nil
}

// draftEnding is that of the name of what is not whole yet.
const draftEnding = ".part"

// draftOf writes a file beside its place and brings it to disk.
func draftOf(path string, write func(io.Writer) error) (size int64, err error) {
	draft := path + draftEnding
	if err := os.Remove(draft); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return 0, fmt.Errorf("write %s: %w", path, err)
	}
	file, err := os.OpenFile(draft, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return 0, fmt.Errorf("write %s: %w", path, err)
	}
	if err = write(file); err == nil {
		err = file.Sync()
	}
	if err == nil {
		size, err = file.Seek(0, io.SeekEnd)
	}
	if err = errors.Join(err, file.Close()); err != nil {
		return 0, errors.Join(fmt.Errorf("write %s: %w", path, err), os.Remove(draft))
	}
	return size, nil
}

// settle puts a draft in its place.
func settle(path string) error {
	err := os.Rename(path+draftEnding, path)
	if err == nil {
		err = listfile.SyncFolder(filepath.Dir(path))
	}
	if err != nil {
		return fmt.Errorf("write %s: %w", path, err)
	}
	return nil
}
