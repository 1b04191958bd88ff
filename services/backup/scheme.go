package backup

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"syscall"
	"time"

	"daysheet/services/listfile"
)

// wholeEvery is how old the last whole archive in a folder may be before another is made.
const wholeEvery = 7 * 24 * time.Hour

// Scheme keeps archives in a folder: a whole one every week, and between them such as go
// on from the one before.
type Scheme struct {
	Folder string // of the archives; it must be there
	Keys   string // folder of the archives of keys; it may be the same
	State  string // folder, in the data folder, of what is known of the last archive
	Keep   int    // how many whole archives stay, each with those that go on from it; 0: all
	Source Source
	Options
}

// Names of archives in a folder: when they were made and what they hold.
const (
	stampName  = "20060102T150405Z"
	kindWhole  = "whole"
	kindSince  = "since"
	kindKeys   = "keys"
	ending     = ".tar.zst"
	endingAge  = ".tar.zst.age"
	statusFile = "status.json"
)

// stored is an archive in a folder, by its name.
type stored struct {
	name string
	made time.Time
	kind string
}

// archiveName is the name of an archive in a folder.
const archiveName = `^daysheet-([0-9]{8}T[0-9]{6}Z)-(whole|since|keys)\.tar\.zst(?:\.age)?`

// removeDrafts removes what a backup left that was broken off, however hard.
func (s Scheme) removeDrafts() error {
	pattern := regexp.MustCompile(archiveName + regexp.QuoteMeta(draftEnding) + "$")
	for _, folder := range slices.Compact([]string{s.Folder, s.Keys}) {
		entries, err := os.ReadDir(folder)
		for _, e := range entries {
			if err == nil && pattern.MatchString(e.Name()) {
				err = os.Remove(filepath.Join(folder, e.Name()))
			}
		}
		if err != nil {
			return fmt.Errorf("remove what a backup left that was broken off: %w", err)
		}
	}
	return nil
}

// archivesIn lists the archives of a folder, oldest first.
func archivesIn(folder string) ([]stored, error) {
	entries, err := os.ReadDir(folder)
	if err != nil {
		return nil, fmt.Errorf("list archives: %w", err)
	}
	pattern := regexp.MustCompile(archiveName + "$")
	var all []stored
	for _, e := range entries {
		m := pattern.FindStringSubmatch(e.Name())
		if m == nil {
			continue
		}
		if made, err := time.Parse(stampName, m[1]); err == nil {
			all = append(all, stored{e.Name(), made, m[2]})
		}
	}
	slices.SortStableFunc(all, func(a, b stored) int { return a.made.Compare(b.made) })
	return all, nil
}

// Run makes the next archive, removes those that are not to be kept any longer, and notes
// how it went for [ReadStatus].
func (s Scheme) Run(ctx context.Context) (w Written, err error) {
	if err := os.MkdirAll(s.State, 0o700); err != nil {
		return w, fmt.Errorf("back up: %w", err)
	}
	lock, err := os.OpenFile(filepath.Join(s.State, "backup.lock"), os.O_CREATE|os.O_RDWR, 0o600)
	if err != nil {
		return w, fmt.Errorf("back up: %w", err)
	}
	defer lock.Close() // lets go of the lock
	if err := syscall.Flock(int(lock.Fd()), syscall.LOCK_EX|syscall.LOCK_NB); err != nil {
		return w, fmt.Errorf("back up: another backup of this ledger is under way (%w)", err)
	}
	w, err = s.next(ctx)
	return w, errors.Join(err, s.note(w, err))
}

func (s Scheme) next(ctx context.Context) (w Written, err error) {
	if err := s.removeDrafts(); err != nil {
		return w, err
	}
	var earlier *Earlier
	w, err = s.write(ctx, &earlier)
	if err != nil {
		return w, err
	}
	if err := s.remember(earlier, w.File); err != nil {
		return w, err
	}
	return w, s.prune()
}

func (s Scheme) write(ctx context.Context, earlier **Earlier) (w Written, err error) {
	kind := kindWhole
	if s.Since, err = s.last(); err != nil {
		return w, err
	}
	if s.Since != nil {
		kind = kindSince
	}
	last := ending
	if len(s.Recipients) > 0 {
		last = endingAge
	}
	stamp := "daysheet-" + s.Now.UTC().Format(stampName) + "-"
	w, *earlier, err = WriteFiles(ctx, filepath.Join(s.Folder, stamp+kind+last), filepath.Join(s.Keys,
		stamp+kindKeys+last),
		s.Source, s.Options)
	return w, err
}

// memory is where what the next archive must know is kept, under the name of the last.
func (s Scheme) memory() string {
	path, err := filepath.Abs(s.Folder)
	if err != nil {
		path = s.Folder
	}
	sum := sha256.Sum256([]byte(path))
	return filepath.Join(s.State, hex.EncodeToString(sum[:8]))
}

// last returns what the next archive goes on from: the last in the folder, if it and the
// whole one before are there, that one is not too old, and what must be known of it is.
// Whoever moved archives away gets a whole one. What bears a time that is still to come
// was made by a clock that went wrong, and nothing goes on from it.
func (s Scheme) last() (*Earlier, error) {
	all, err := archivesIn(s.Folder)
	if err != nil {
		return nil, err
	}
	all = slices.DeleteFunc(all, func(a stored) bool { return a.kind == kindKeys || a.made.After(s.Now) })
	fresh := func(a stored) bool { return a.kind == kindWhole && s.Now.Sub(a.made) < wholeEvery }
	if len(all) == 0 || !slices.ContainsFunc(all, fresh) {
		return nil, nil
	}
	e, err := ReadEarlier(filepath.Join(s.memory(), all[len(all)-1].name), nil)
	if errors.Is(err, fs.ErrNotExist) || errors.As(err, new(*DamagedError)) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	return e, nil
}

// remember writes down what the next archive must know of the one in a file, and forgets
// those before.
func (s Scheme) remember(e *Earlier, file string) error {
	folder := s.memory()
	if err := os.MkdirAll(folder, 0o700); err != nil {
		return fmt.Errorf("note what was backed up: %w", err)
	}
	if err := e.Write(filepath.Join(folder, filepath.Base(file))); err != nil {
		return err
	}
	entries, err := os.ReadDir(folder)
	for _, known := range entries {
		if err == nil && known.Name() != filepath.Base(file) {
			err = os.Remove(filepath.Join(folder, known.Name()))
		}
	}
	if err != nil {
		return fmt.Errorf("note what was backed up: %w", err)
	}
	return nil
}

// prune removes archives from before the oldest whole one that is kept. Those with a time
// that is still to come neither count nor go.
func (s Scheme) prune() error {
	if s.Keep < 1 {
		return nil
	}
	all, err := archivesIn(s.Folder)
	if err != nil {
		return err
	}
	var whole []stored
	for _, a := range all {
		if a.kind == kindWhole && !a.made.After(s.Now) {
			whole = append(whole, a)
		}
	}
	if len(whole) <= s.Keep {
		return nil
	}
	oldest := whole[len(whole)-s.Keep].made
	for _, folder := range slices.Compact([]string{s.Folder, s.Keys}) {
		if all, err = archivesIn(folder); err != nil {
			return err
		}
		for _, a := range all {
			if !a.made.Before(oldest) {
				continue
			}
			if err := os.Remove(filepath.Join(folder, a.name)); err != nil && !errors.Is(err, fs.ErrNotExist) {
				return fmt.Errorf("remove an old archive: %w", err)
			}
		}
		if err := listfile.SyncFolder(folder); err != nil {
			return fmt.Errorf("remove old archives: %w", err)
		}
	}
	return nil
}

// firstLine returns the first line of an error, which a page has room for.
func firstLine(err error) string {
	line, _, _ := strings.Cut(err.Error(), "\n")
	return line
}
