package httpd

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
	"syscall"
)

// tokensFile is the layout of the file.
type tokensFile struct {
	Version int         `json:"version"`
	Tokens  []keptToken `json:"tokens"`
}

const tokensVersion = 1

// refresh reads the file if it is not the one that was read last. Every write
// makes a new file, so a changed one is known by its identity, and one that was
// edited in place by its time and size.
func (t *Tokens) refresh() error {
	now, err := os.Stat(t.path)
	if errors.Is(err, fs.ErrNotExist) {
		t.stamp, t.tokens = nil, nil
		return nil
	}
	if err != nil {
		return fmt.Errorf("read tokens: %w", err)
	}
	old := t.stamp
	if old != nil && os.SameFile(old, now) && old.ModTime().Equal(now.ModTime()) && old.Size() == now.Size() {
		return nil
	}
	f, err := os.Open(t.path)
	if err != nil {
		return fmt.Errorf("read tokens: %w", err)
	}
	defer f.Close()
	// The stamp is of the file that was opened: it may have been replaced since.
	stamp, err := f.Stat()
	if err != nil {
		return fmt.Errorf("read tokens: %w", err)
	}
	tokens, err := decodeTokens(f)
	if err != nil {
		return fmt.Errorf("read tokens %s: %w", t.path, err)
	}
	t.stamp, t.tokens = stamp, tokens
	return nil
}

func decodeTokens(r io.Reader) ([]keptToken, error) {
	raw, err := io.ReadAll(r)
	if err != nil {
		return nil, err
	}
	d := json.NewDecoder(bytes.NewReader(raw))
	d.DisallowUnknownFields()
	var file tokensFile
	if err := d.Decode(&file); err != nil {
		return nil, err
	}
	if _, err := d.Token(); !errors.Is(err, io.EOF) {
		return nil, errors.New("something follows the list")
	}
	if file.Version != tokensVersion {
		return nil, fmt.Errorf("version %d: this program reads version %d", file.Version, tokensVersion)
	}
	return file.Tokens, nil
}

// update changes the file: read, change, write beside it, rename. A lock between
// processes makes sure that none overwrites what another has just written.
func (t *Tokens) update(change func([]keptToken) ([]keptToken, error)) error {
	lock, err := os.OpenFile(t.path+".lock", os.O_CREATE|os.O_RDWR, 0o600)
	if err != nil {
		return fmt.Errorf("lock tokens: %w", err)
	}
	defer lock.Close() // lets go of the lock
	if err := syscall.Flock(int(lock.Fd()), syscall.LOCK_EX); err != nil {
		return fmt.Errorf("lock tokens: %w", err)
	}
	if err := t.refresh(); err != nil {
		return err
	}
	tokens, err := change(slices.Clone(t.tokens))
	if err != nil {
		return err
	}
	raw, err := json.MarshalIndent(tokensFile{tokensVersion, tokens}, "", "  ")
	if err != nil {
		return fmt.Errorf("write tokens: %w", err)
	}
	if err := replaceFile(t.path, raw); err != nil {
		return fmt.Errorf("write tokens: %w", err)
	}
	return t.refresh()
}

// replaceFile puts content at path whole or not at all, also over a power cut.
func replaceFile(path string, content []byte) error {
	folder := filepath.Dir(path)
	f, err := os.CreateTemp(folder, filepath.Base(path)+".*") // mode 0600
	if err != nil {
		return err
	}
	_, err = f.Write(content)
	if err == nil {
		err = f.Sync()
	}
	err = errors.Join(err, f.Close())
	if err == nil {
		err = os.Rename(f.Name(), path)
	}
	if err != nil {
		return errors.Join(err, os.Remove(f.Name()))
	}
	d, err := os.Open(folder)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}
