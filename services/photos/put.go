package photos

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"hash"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"sync"
	"syscall"
	"time"

	"daysheet/events"
)

// incoming is the folder of what is being written. No firm has this name.
const incoming = ".incoming"

// ErrNoRoom means that the firm's photos take up all that they may.
var ErrNoRoom = errors.New("the firm's photos take up all the room they may: ask whoever runs the server for more " +
	"(photos-max-megabytes)")

// account is how much room a firm's photos take.
type account struct {
	mu      sync.Mutex // held while a photo of the firm is put in its place
	bytes   int64
	counted time.Time // when the folder was last counted; zero: never
}

// recountAfter is how long a count is trusted: other processes may share the folder.
const recountAfter = 10 * time.Minute

// Put keeps a photo of the firm. added is false where it was there already. When it
// returns without an error, the photo is on disk.
//
// It refuses bytes that have not the digest, more bytes or pixels than are taken,
// what is no whole JPEG, PNG or WebP, a photo that says where it was taken, and
// whatever follows the end of the picture. It fails with [ErrNoRoom] where the firm
// has no room left. Nothing is kept then.
func (f *Folder) Put(ctx context.Context, firm, digest string, body io.Reader) (info Info, added bool, err error) {
	path, err := f.path(firm, digest)
	if err != nil {
		return Info{}, false, err
	}
	d, err := f.newDraft(ctx)
	if err != nil {
		return Info{}, false, writeError(err)
	}
	defer func() { err = errors.Join(err, d.discard()) }()
	if err := d.fill(body, f.limits.Bytes); err != nil {
		return Info{}, false, err
	}
	if got := hex.EncodeToString(d.sum.Sum(nil)); got != digest {
		return Info{}, false, events.Refuse("photo", digest, "the name is not the SHA-256 of the bytes, which is %s", got)
	}
	l, err := f.examine(ctx, d.file)
	if err != nil {
		return Info{}, false, err
	}
	info = Info{Digest: digest, Type: l.kind.media, Bytes: d.bytes, Width: l.width, Height: l.height}
	added, err = f.settle(firm, digest, path, d)
	return info, added, writeError(err)
}

// examine decodes the draft whole, one at a time in this process.
func (f *Folder) examine(ctx context.Context, file *os.File) (look, error) {
	if err := f.decoder.take(ctx); err != nil {
		return look{}, err
	}
	defer f.decoder.leave()
	raw, err := io.ReadAll(io.NewSectionReader(file, 0, f.limits.Bytes))
	if err != nil {
		return look{}, fmt.Errorf("read photo: %w", err)
	}
	l, _, err := examine(raw)
	return l, err
}

// settle puts the draft in its place, if the same is not there already and there is
// room. A photo that was damaged on the disk is replaced.
func (f *Folder) settle(firm, digest, path string, d *draft) (added bool, err error) {
	a := f.account(firm)
	a.mu.Lock()
	defer a.mu.Unlock()
	was, err := digestOf(path)
	if err == nil && was == digest {
		return false, nil
	}
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return false, fmt.Errorf("keep photo: %w", err)
	}
	folder := filepath.Dir(path)
	if err := makeFolder(folder); err != nil {
		return false, err
	}
	if time.Since(a.counted) > recountAfter {
		if a.bytes, err = sizeOf(filepath.Dir(folder)); err != nil {
			return false, err
		}
		a.counted = time.Now()
	}
	if a.bytes+d.bytes > f.limits.FirmBytes {
		return false, ErrNoRoom
	}
	if err := d.moveTo(path); err != nil {
		return false, err
	}
	a.bytes += d.bytes
	return true, nil
}

func (f *Folder) account(firm string) *account {
	f.mu.Lock()
	defer f.mu.Unlock()
	a, ok := f.accounts[firm]
	if !ok {
		a = &account{}
		f.accounts[firm] = a
	}
	return a
}

// digestOf hashes the file at path.
func digestOf(path string) (string, error) {
	file, err := os.Open(path)
	if err != nil {
		return "", err
	}
	defer file.Close()
	sum := sha256.New()
	if _, err := io.Copy(sum, file); err != nil {
		return "", err
	}
	return hex.EncodeToString(sum.Sum(nil)), nil
}

// sizeOf adds up the files in a firm's folder.
func sizeOf(folder string) (int64, error) {
	var total int64
	err := filepath.WalkDir(folder, func(_ string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		stat, err := d.Info()
		if err == nil {
			total += stat.Size()
		}
		return err
	})
	if err != nil {
		return 0, fmt.Errorf("count the firm's photos: %w", err)
	}
	return total, nil
}

// draft is a photo that is being written. Its lock tells other processes that it is.
type draft struct {
	file  *os.File
	sum   hash.Hash
	bytes int64
	moved bool
}

func (f *Folder) newDraft(ctx context.Context) (*draft, error) {
	folder := filepath.Join(f.root, incoming)
	if err := makeFolder(folder); err != nil {
		return nil, err
	}
	if err := ctx.Err(); err != nil {
		return nil, fmt.Errorf("keep photo: %w", err)
	}
	file, err := os.CreateTemp(folder, "photo-*") // mode 0600
	if err != nil {
		return nil, fmt.Errorf("keep photo: %w", err)
	}
	if err := syscall.Flock(int(file.Fd()), syscall.LOCK_EX); err != nil {
		return nil, errors.Join(fmt.Errorf("lock photo: %w", err), file.Close(), os.Remove(file.Name()))
	}
	return &draft{file: file, sum: sha256.New()}, nil
}

// fill writes the body down and hashes it.
func (d *draft) fill(body io.Reader, most int64) error {
	written, err := io.Copy(io.MultiWriter(onDisk{d.file}, d.sum), io.LimitReader(body, most+1))
	d.bytes = written
	if err != nil {
		return err
	}
	if written > most {
		return events.Refuse("photo", nil, "at most %d KiB are taken: send a smaller photo", most>>10)
	}
	return nil
}

// onDisk tells errors of the disk from errors of the sender.
type onDisk struct{ file *os.File }

func (w onDisk) Write(p []byte) (int, error) {
	n, err := w.file.Write(p)
	return n, writeError(err)
}

// moveTo puts the draft at path so that it is there whole or not at all, also over a
// power cut.
func (d *draft) moveTo(path string) error {
	if err := d.file.Sync(); err != nil {
		return fmt.Errorf("keep photo: %w", err)
	}
	if err := os.Rename(d.file.Name(), path); err != nil {
		return fmt.Errorf("keep photo: %w", err)
	}
	d.moved = true
	return syncFolder(filepath.Dir(path))
}

// discard closes the draft, and removes it where it was not put in its place.
func (d *draft) discard() error {
	err := d.file.Close()
	if !d.moved {
		err = errors.Join(err, os.Remove(d.file.Name()))
	}
	if err != nil {
		return fmt.Errorf("close photo: %w", err)
	}
	return nil
}

// removeAbandoned removes a draft that no process has open.
func removeAbandoned(path string) (gone bool, err error) {
	file, err := os.OpenFile(path, os.O_RDWR, 0)
	if errors.Is(err, fs.ErrNotExist) {
		return false, nil // whoever wrote it was done just now
	}
	if err != nil {
		return false, err
	}
	defer file.Close()
	err = syscall.Flock(int(file.Fd()), syscall.LOCK_EX|syscall.LOCK_NB)
	if errors.Is(err, syscall.EWOULDBLOCK) {
		return false, nil
	}
	if err != nil {
		return false, err
	}
	return true, os.Remove(path)
}

// makeFolder makes a folder and those above it, so that they outlast a power cut.
func makeFolder(path string) error {
	if stat, err := os.Stat(path); err == nil && stat.IsDir() {
		return nil
	}
	parent := filepath.Dir(path)
	if parent != path {
		if err := makeFolder(parent); err != nil {
			return err
		}
	}
	if err := os.Mkdir(path, 0o700); err != nil && !errors.Is(err, fs.ErrExist) {
		return fmt.Errorf("make folder for photos: %w", err)
	}
	return syncFolder(parent)
}

func syncFolder(path string) error {
	d, err := os.Open(path)
	if err != nil {
		return fmt.Errorf("write folder of photos down: %w", err)
	}
	if err := errors.Join(d.Sync(), d.Close()); err != nil {
		return fmt.Errorf("write folder of photos down: %w", err)
	}
	return nil
}

// writeError says in one sentence what keeps the disk from taking a photo. It
// leaves other errors as they are.
func writeError(err error) error {
	rule := ""
	switch {
	case err == nil || errors.As(err, new(*events.Error)):
		return err
	case errors.Is(err, syscall.ENOSPC), errors.Is(err, syscall.EDQUOT):
		rule = "the server's disk is full: make room and send the photo again"
	case errors.Is(err, syscall.EROFS), errors.Is(err, fs.ErrPermission):
		rule = "the server may not write into its folder of photos: let it write there and send the photo again"
	case errors.Is(err, syscall.ENOTDIR):
		rule = "a file stands where the server's folder of photos should be: move it away and send the photo again"
	default:
		return err
	}
	return fmt.Errorf("%w (%w)", &events.Error{Code: events.Unavailable, Field: "photo", Rule: rule}, err)
}
