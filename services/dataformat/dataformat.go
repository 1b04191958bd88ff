// Package dataformat knows how what is kept in a data folder is laid out, so that a
// program never reads what a newer one wrote, and brings up to date what an older one
// did.
package dataformat

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"daysheet/services/listfile"
)

// Current is the format that this program keeps. Format 1 is that of the first
// programs, which did not write it down.
const Current = 1

// The files of this package in a data folder.
const (
	FileName = "format.json"
	halfName = "restoring.json"
)

// Format is what the file says.
type Format struct {
	Number  int    `json:"format"`
	Program string `json:"program"` // version of the program that wrote it, and that can read it
}

// NewerError says that the folder was written by a newer program.
type NewerError struct {
	What string // the folder, or the archive
	Format
	Most int // that is known here
}

// Error names the version that is needed.
func (e *NewerError) Error() string {
	return fmt.Sprintf("%s is of format %d, and this program knows formats up to %d: use daysheet %s or newer",
		e.What, e.Number, e.Most, e.Program)
}

// HalfError says that the folder is that of a restore which did not come to its end.
type HalfError struct{ Folder string }

// Error says what to do.
func (e *HalfError) Error() string {
	return fmt.Sprintf("%s is half restored: run \"daysheet restore\" with the same archives again, which begins anew",
		e.Folder)
}

// Read returns the format of a folder without changing anything. A folder that does not
// say is of format 1. It fails with a [*NewerError] or a [*HalfError].
func Read(folder string) (int, error) { return read(folder, Current) }

func read(folder string, most int) (int, error) {
	half, err := Half(folder)
	if err != nil {
		return 0, err
	}
	if half {
		return 0, &HalfError{folder}
	}
	return said(folder, most)
}

// said returns what the folder says of itself.
func said(folder string, most int) (int, error) {
	raw, err := os.ReadFile(filepath.Join(folder, FileName))
	if errors.Is(err, fs.ErrNotExist) {
		return 1, nil
	}
	if err != nil {
		return 0, fmt.Errorf("read the format of the data folder: %w", err)
	}
	f := Format{}
	if err := json.Unmarshal(raw, &f); err != nil || f.Number < 1 {
		return 0, fmt.Errorf("read the format of the data folder: %s is not what this program writes (%v): "+
			"take it from a backup", filepath.Join(folder, FileName), err)
	}
	if f.Number > most {
		return 0, &NewerError{"the data folder " + folder, f, most}
	}
	return f.Number, nil
}

// Write writes down which format a folder has. program is the version of this one.
func Write(folder string, number int, program string) error {
	raw, err := json.Marshal(Format{number, program})
	if err == nil {
		err = listfile.Replace(filepath.Join(folder, FileName), append(raw, '\n'))
	}
	if err != nil {
		return fmt.Errorf("write the format of the data folder: %w", err)
	}
	return nil
}

// isFresh reports whether nothing is kept in a folder yet.
func isFresh(folder string) (bool, error) {
	entries, err := os.ReadDir(folder)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return false, fmt.Errorf("look into the data folder: %w", err)
	}
	for _, e := range entries {
		if !strings.HasSuffix(e.Name(), ".lock") {
			return false, nil
		}
	}
	return true, nil
}

// Half reports whether a restore into the folder did not come to its end.
func Half(folder string) (bool, error) {
	_, err := os.Stat(filepath.Join(folder, halfName))
	if errors.Is(err, fs.ErrNotExist) {
		return false, nil
	}
	if err != nil {
		return false, fmt.Errorf("look into the data folder: %w", err)
	}
	return true, nil
}

// Begin marks a folder as half restored, and removes whatever an earlier restore left
// in it. It refuses a folder that holds anything else.
func Begin(folder string) error {
	entries, err := os.ReadDir(folder)
	if errors.Is(err, fs.ErrNotExist) {
		err = os.MkdirAll(folder, 0o700)
	}
	if err != nil {
		return fmt.Errorf("begin to restore: %w", err)
	}
	half, err := Half(folder)
	if err != nil {
		return err
	}
	if !half && len(entries) > 0 {
		var names []string
		for _, e := range entries {
			names = append(names, e.Name())
		}
		return fmt.Errorf("begin to restore: %s is not empty: it holds %s; name a new folder", folder,
			strings.Join(names, ", "))
	}
	if err := listfile.Replace(filepath.Join(folder, halfName), []byte("{}\n")); err != nil {
		return fmt.Errorf("begin to restore: %w", err)
	}
	for _, e := range entries {
		if e.Name() == halfName {
			continue
		}
		if err := os.RemoveAll(filepath.Join(folder, e.Name())); err != nil {
			return fmt.Errorf("begin to restore: %w", err)
		}
	}
	return nil
}

// End takes the mark of [Begin] away: what was restored is on disk and proved.
func End(folder string) error {
	err := os.Remove(filepath.Join(folder, halfName))
	if err == nil {
		err = listfile.SyncFolder(folder)
	}
	if err != nil {
		return fmt.Errorf("end the restore: %w", err)
	}
	return nil
}
