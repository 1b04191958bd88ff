package sealing

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"daysheet/events"
	"daysheet/services/listfile"
)

// Restored says what [Keys.Restore] did.
type Restored struct {
	Keys     int       // brought back
	Kept     int       // that were there already; they were not touched
	Withheld []Erasure // keys in the backup of customers who were erased since
}

// Restore brings keys back from the folder of a backup. A customer who is on the list
// of erased customers of this folder, of the backup, or on the one that is given does
// not come back: a backup from before the erasure still holds the key, and the list
// is younger. Whoever restores onto an empty machine gives the list from the newest
// copy of erased.json that there is. A key that is here already is kept.
//
// The caller then records the erasure of each customer on the list whom the restored
// log does not know as erased; the program does so when it starts.
func (k *Keys) Restore(backup string, also []Erasure) (Restored, error) {
	var done Restored
	theirs, err := ErasedIn(backup)
	if err != nil {
		return done, fmt.Errorf("restore keys: %w", err)
	}
	err = k.erased.Change(func(list []Erasure) ([]Erasure, error) { return merge(merge(list, theirs...), also...), nil })
	if err != nil {
		return done, fmt.Errorf("restore keys: %w", err)
	}
	err = filepath.WalkDir(backup, func(path string, entry fs.DirEntry, err error) error {
		if err != nil || entry.IsDir() {
			return err
		}
		firm, customer := filepath.Base(filepath.Dir(path)), entry.Name()
		if filepath.Dir(filepath.Dir(path)) != filepath.Clean(backup) || !events.ValidToken(firm) ||
			!events.ValidToken(customer) {
			return nil // not a key: the list, its lock, what a crash left behind
		}
		return k.restore(path, firm, customer, &done)
	})
	if err != nil {
		return done, fmt.Errorf("restore keys: %w", err)
	}
	return done, nil
}

// ErasedIn returns the list of erased customers of a folder, or of the copy of one, and
// changes nothing in it.
func ErasedIn(folder string) ([]Erasure, error) { return ReadErased(filepath.Join(folder, erasedFile)) }

// ReadErased returns the list of erased customers in a file; nobody where it is not there.
func ReadErased(path string) ([]Erasure, error) { return listfile.New[Erasure](path, "erased").Items() }

// CheckKey fails unless the content of a file is the key of a customer.
func CheckKey(customer string, content []byte) error {
	_, err := decodeKey(customer, content)
	return err
}

// restore brings one key back, or says why not.
func (k *Keys) restore(path, firm, customer string, done *Restored) error {
	raw, err := os.ReadFile(path)
	if err != nil {
		return err
	}
	if _, err := decodeKey(customer, raw); err != nil {
		return err
	}
	_, err = k.read(firm, customer)
	var erased *ErasedError
	var lost *LostError
	switch {
	case err == nil:
		done.Kept++
		return nil
	case errors.As(err, &erased):
		done.Withheld = append(done.Withheld, Erasure{firm, customer, erased.Day})
		return nil
	case !errors.As(err, &lost):
		return err
	case lost.there: // damaged: what comes from the backup takes its place
		err = k.destroy(firm, customer)
	default:
		err = nil
	}
	if err != nil {
		return err
	}
	done.Keys++
	return k.put(firm, customer, raw)
}
