package backup

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"syscall"

	"daysheet/services/dataformat"
)

// enoughRoom fails unless the disk of a folder, which need not be there yet, has so many
// bytes left. A restore that fills a disk would be broken off by whatever meets its end
// first, and that says nothing of what to do.
func enoughRoom(folder string, bytes int64) error {
	place, err := filepath.Abs(folder)
	for err == nil {
		if _, err = os.Stat(place); !errors.Is(err, fs.ErrNotExist) || place == filepath.Dir(place) {
			break
		}
		place, err = filepath.Dir(place), nil
	}
	var disk syscall.Statfs_t
	if err == nil {
		err = syscall.Statfs(place, &disk)
	}
	if err != nil {
		return fmt.Errorf("look for room on the disk: %w", err)
	}
	again, err := bytesOfHalf(folder)
	if err != nil {
		return err
	}
	if left := int64(disk.Bavail)*disk.Bsize + again; left < bytes {
		return fmt.Errorf("the disk of %s has %d MB left, and the ledger takes %d MB and more for its facts: "+
			"make room, or name a folder on another disk", place, left>>20, bytes>>20)
	}
	return nil
}

// bytesOfHalf returns how much a restore that was broken off left in a folder, which the
// next removes; 0 where it was none.
func bytesOfHalf(folder string) (total int64, err error) {
	if half, err := dataformat.Half(folder); err != nil || !half {
		return 0, err
	}
	err = filepath.WalkDir(folder, func(_ string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		info, err := d.Info()
		if err == nil {
			total += info.Size()
		}
		return err
	})
	if err != nil {
		return 0, fmt.Errorf("look for room on the disk: %w", err)
	}
	return total, nil
}

// FullError says that the disk became full while a ledger was restored: there was room for
// it, but something else wrote there too.
type FullError struct {
	Folder string // the data folder
	Cause  error  // what met the end of the disk first
}

// Error says what to do.
func (e *FullError) Error() string {
	return fmt.Sprintf("the disk of %s became full before the ledger was restored: make room, and run the same "+
		"\"daysheet restore\" again, which begins anew; until then the folder is half restored, and says so", e.Folder)
}

// Unwrap returns the cause.
func (e *FullError) Unwrap() error { return e.Cause }
