package eventlog

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"
)

// A repair builds the new log in one folder beside the log's own, gives it a second
// name once it is whole and on disk, and then puts it in the place of the old.
// Whoever opens the log finds a folder of the second name only where the program
// ended before the last step, and takes that step.
const (
	repairing = ".repairing"
	repaired  = ".repaired"
	aside     = ".aside-"
)

// Exists reports whether there is a log in the folder.
func Exists(dir string) (bool, error) {
	for _, path := range []string{dir, dir + repaired} {
		if _, err := os.Stat(path); err == nil {
			return true, nil
		} else if !errors.Is(err, fs.ErrNotExist) {
			return false, fmt.Errorf("look for the log: %w", err)
		}
	}
	return false, nil
}

// finishRepair takes the last step of a repair that was cut short.
func finishRepair(dir string) error {
	if _, err := os.Stat(dir + repaired); errors.Is(err, fs.ErrNotExist) {
		return nil
	} else if err != nil {
		return fmt.Errorf("look for a repaired log: %w", err)
	}
	lock, err := lockFolder(dir) // not while a repair is at work
	if err != nil {
		return err
	}
	_, err = replaceLog(dir)
	return errors.Join(err, lock.Close())
}

// replaceLog puts the repaired log in the place of the old one, which the caller
// has locked, and returns the old one's new name.
func replaceLog(dir string) (old string, err error) {
	old = fmt.Sprintf("%s%s%d", dir, aside, time.Now().UnixMilli())
	for _, step := range []struct{ from, to string }{{dir, old}, {dir + repaired, dir}} {
		if err := os.Rename(step.from, step.to); err != nil {
			return "", fmt.Errorf("put the repaired log in its place: %w", err)
		}
	}
	return old, syncPath(filepath.Dir(dir))
}

// syncTree brings a folder and everything in it to disk.
func syncTree(dir string) error {
	return filepath.WalkDir(dir, func(path string, _ fs.DirEntry, err error) error {
		if err != nil {
			return fmt.Errorf("bring the new log to disk: %w", err)
		}
		return syncPath(path)
	})
}

// syncPath brings one file or folder to disk.
func syncPath(path string) error {
	f, err := os.Open(path)
	if err != nil {
		return fmt.Errorf("bring the new log to disk: %w", err)
	}
	if err := errors.Join(f.Sync(), f.Close()); err != nil {
		return fmt.Errorf("bring the new log to disk: %w", err)
	}
	return nil
}
