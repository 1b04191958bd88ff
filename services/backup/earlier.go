package backup

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"daysheet/services/listfile"
)

// Write writes down what the next archive must know, for [ReadEarlier].
func (e *Earlier) Write(path string) error {
	file, err := os.CreateTemp(filepath.Dir(path), filepath.Base(path)+".*") // mode 0600
	if err != nil {
		return fmt.Errorf("note what was backed up: %w", err)
	}
	o := e.manifest.Opening
	o.Kind = index
	p, err := newPacker(file, o, nil)
	if err == nil {
		known := *e.manifest // its sums of parts stay those of the archive
		err = p.addKnown(e.heads, e.photos, &known)
	}
	if err == nil {
		_, err = p.seal(e.manifest)
	}
	if err == nil {
		err = file.Sync()
	}
	err = errors.Join(err, file.Close())
	if err == nil {
		err = os.Rename(file.Name(), path)
	}
	if err != nil {
		return fmt.Errorf("note what was backed up: %w", errors.Join(err, os.Remove(file.Name())))
	}
	return listfile.SyncFolder(filepath.Dir(path))
}
