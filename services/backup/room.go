package backup

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"syscall"
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
	if left := int64(disk.Bavail) * disk.Bsize; left < bytes {
		return fmt.Errorf("the disk of %s has %d MB left, and the ledger takes %d MB and more for its facts: "+
			"make room, or name a folder on another disk", place, left>>20, bytes>>20)
	}
	return nil
}
