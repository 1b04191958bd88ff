// Package listfile keeps a short list in one JSON file that several processes may
// read and change: who has access, which links are open, which customers were
// erased. Every change is on disk, whole, before it is reported as made.
package listfile

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"syscall"
)

// version is that of the layout: an object with the version and the list.
const version = 1

// List is a list in a file. The file is read again whenever it has changed. All
// methods are safe for concurrent use.
type List[T any] struct {
	path, name string

	mu    sync.Mutex
	stamp os.FileInfo // of the file as it was last read; nil where there was none
	items []T
}

// New returns the list in the file at path, which need not exist: the list is empty
// then. name is what the list is called in the file and in errors.
func New[T any](path, name string) *List[T] { return &List[T]{path: path, name: name} }

// Path returns where the file is.
func (l *List[T]) Path() string { return l.path }

// Items returns what is in the file now. The slice must not be changed. Where the
// file cannot be read, the items are those that were read before.
func (l *List[T]) Items() ([]T, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	err := l.refresh()
	return l.items, err
}

// Change replaces the list by what change makes of a copy of it: read, change, write
// beside it, rename. A lock between processes makes sure that none overwrites what
// another has just written. Where change fails nothing is written.
func (l *List[T]) Change(change func([]T) ([]T, error)) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	lock, err := os.OpenFile(l.path+".lock", os.O_CREATE|os.O_RDWR, 0o600)
	if err != nil {
		return fmt.Errorf("lock %s: %w", l.name, err)
	}
	defer lock.Close() // lets go of the lock
	if err := syscall.Flock(int(lock.Fd()), syscall.LOCK_EX); err != nil {
		return fmt.Errorf("lock %s: %w", l.name, err)
	}
	if err := l.refresh(); err != nil {
		return err
	}
	items, err := change(slices.Clone(l.items))
	if err != nil {
		return err
	}
	raw, err := json.MarshalIndent(map[string]any{"version": version, l.name: items}, "", "  ")
	if err == nil {
		err = Replace(l.path, raw)
	}
	if err != nil {
		return fmt.Errorf("write %s: %w", l.name, err)
	}
	return l.refresh()
}

// refresh reads the file if it is not the one that was read last. Every write makes
// a new file, so a changed one is known by its identity, and one that was edited in
// place by its time and size.
func (l *List[T]) refresh() error {
	now, err := os.Stat(l.path)
	if errors.Is(err, fs.ErrNotExist) {
		l.stamp, l.items = nil, nil
		return nil
	}
	if err != nil {
		return fmt.Errorf("read %s: %w", l.name, err)
	}
	old := l.stamp
	if old != nil && os.SameFile(old, now) && old.ModTime().Equal(now.ModTime()) && old.Size() == now.Size() {
		return nil
	}
	f, err := os.Open(l.path)
	if err != nil {
		return fmt.Errorf("read %s: %w", l.name, err)
	}
	defer f.Close()
	// The stamp is of the file that was opened: it may have been replaced since.
	stamp, err := f.Stat()
	if err != nil {
		return fmt.Errorf("read %s: %w", l.name, err)
	}
	items, err := l.decode(f)
	if err != nil {
		return fmt.Errorf("read %s %s: %w", l.name, l.path, err)
	}
	l.stamp, l.items = stamp, items
	return nil
}

// decode reads the layout to the letter: a list of which a part is not understood
// must not be written back without that part.
func (l *List[T]) decode(r io.Reader) ([]T, error) {
	raw, err := io.ReadAll(r)
	if err != nil {
		return nil, err
	}
	file := map[string]json.RawMessage{}
	if err := json.Unmarshal(raw, &file); err != nil {
		return nil, err
	}
	var written int
	if err := json.Unmarshal(file["version"], &written); err != nil {
		return nil, errors.New("it names no version")
	}
	if written != version {
		return nil, fmt.Errorf("version %d: this program reads version %d", written, version)
	}
	list, ok := file[l.name]
	if !ok || len(file) != 2 {
		return nil, fmt.Errorf("an object with version and %s, and nothing else, is needed", l.name)
	}
	d := json.NewDecoder(bytes.NewReader(list))
	d.DisallowUnknownFields()
	var items []T
	err = d.Decode(&items)
	return items, err
}

// Replace puts content at path whole or not at all, also over a power cut. The file
// can be read by its owner alone.
func Replace(path string, content []byte) error {
	draft, err := draftOf(path, content)
	if err == nil {
		err = os.Rename(draft, path)
	}
	if err != nil && draft != "" {
		err = errors.Join(err, os.Remove(draft))
	}
	if err != nil {
		return err
	}
	return SyncFolder(filepath.Dir(path))
}

// PutNew is as [Replace], but never over what is there: of several processes the first
// one's content stays, and that is no error.
func PutNew(path string, content []byte) error {
	draft, err := draftOf(path, content)
	if err == nil {
		err = os.Link(draft, path)
	}
	if errors.Is(err, fs.ErrExist) {
		err = nil
	}
	if draft != "" {
		err = errors.Join(err, os.Remove(draft))
	}
	return errors.Join(err, SyncFolder(filepath.Dir(path)))
}

// draftOf puts content on disk beside path. Where it fails there may be a draft all the
// same, which is then named.
func draftOf(path string, content []byte) (draft string, err error) {
	f, err := os.CreateTemp(filepath.Dir(path), "."+filepath.Base(path)+".*") // mode 0600
	if err != nil {
		return "", err
	}
	_, err = f.Write(content)
	if err == nil {
		err = f.Sync()
	}
	return f.Name(), errors.Join(err, f.Close())
}

// SyncFolder puts on disk which files a folder has.
func SyncFolder(folder string) error {
	d, err := os.Open(folder)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}
