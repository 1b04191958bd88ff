package sealing

import (
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"daysheet/events"
	"daysheet/services/listfile"
)

// Keys is the folder of the keys: <firm>/<customer>, and erased.json. Several
// processes may share it. All methods are safe for concurrent use.
type Keys struct {
	folder string
	erased *listfile.List[Erasure]
}

// Erasure says that a customer's key was destroyed. The list of them holds nothing
// personal and is kept for ever, so that no backup can bring a customer back.
type Erasure struct {
	Firm     string     `json:"firm"`
	Customer string     `json:"customer"`
	Day      events.Day `json:"day"`
}

const (
	keyBytes   = 32
	keyHead    = "daysheet key 1\n"
	erasedFile = "erased.json"
)

// OpenKeys opens the folder, makes it where it is not there, and finishes erasures
// that were broken off.
func OpenKeys(folder string) (*Keys, error) {
	if err := os.MkdirAll(folder, 0o700); err != nil {
		return nil, fmt.Errorf("make folder of keys: %w", err)
	}
	k := &Keys{folder: folder, erased: listfile.New[Erasure](filepath.Join(folder, erasedFile), "erased")}
	list, err := k.Erased()
	if err != nil {
		return nil, err
	}
	for _, e := range list {
		if err := k.destroy(e.Firm, e.Customer); err != nil {
			return nil, err
		}
	}
	return k, nil
}

// Erased returns every erasure, oldest first. The slice must not be changed.
func (k *Keys) Erased() ([]Erasure, error) { return k.erased.Items() }

// Firms returns the firms that have, or had, a key.
func (k *Keys) Firms() ([]string, error) {
	entries, err := os.ReadDir(k.folder)
	if err != nil {
		return nil, fmt.Errorf("list firms with keys: %w", err)
	}
	var firms []string
	for _, e := range entries {
		if e.IsDir() && events.ValidToken(e.Name()) {
			firms = append(firms, e.Name())
		}
	}
	list, err := k.Erased()
	for _, e := range list {
		if !slices.Contains(firms, e.Firm) {
			firms = append(firms, e.Firm)
		}
	}
	return firms, err
}

// Has reports whether there is a key of the customer.
func (k *Keys) Has(firm, customer string) (bool, error) {
	if err := checkPlace(firm, customer); err != nil {
		return false, err
	}
	_, err := os.Stat(k.path(firm, customer))
	if errors.Is(err, fs.ErrNotExist) {
		return false, nil
	}
	if err != nil {
		return false, fmt.Errorf("look for key of customer %s: %w", customer, err)
	}
	return true, nil
}

// Erase destroys the key of a customer for good. The list says so first: from then on
// no key of this customer is made or read, whatever happens in between. Erasing again
// changes nothing; the day stays that of the first time.
func (k *Keys) Erase(firm, customer string, day events.Day) error {
	if err := checkPlace(firm, customer); err != nil {
		return err
	}
	if !day.Valid() {
		return events.Refuse("day", string(day), "a day as YYYY-MM-DD from 1970 to 2148")
	}
	known, err := k.ErasureOf(firm, customer)
	if err != nil {
		return err
	}
	if known == nil {
		err := k.erased.Change(func(list []Erasure) ([]Erasure, error) {
			return merge(list, Erasure{firm, customer, day}), nil
		})
		if err != nil {
			return err
		}
	}
	return k.destroy(firm, customer)
}

// merge adds erasures that the list does not have.
func merge(list []Erasure, more ...Erasure) []Erasure {
	for _, e := range more {
		same := func(known Erasure) bool { return known.Firm == e.Firm && known.Customer == e.Customer }
		if !slices.ContainsFunc(list, same) {
			list = append(list, e)
		}
	}
	return list
}

// ErasureOf returns when a customer was erased; nil where that was not done.
func (k *Keys) ErasureOf(firm, customer string) (*Erasure, error) {
	list, err := k.Erased()
	if err != nil {
		return nil, err
	}
	for _, e := range list {
		if e.Firm == firm && e.Customer == customer {
			return &e, nil
		}
	}
	return nil, nil
}

// destroy overwrites and removes the file of a key, if there is one.
func (k *Keys) destroy(firm, customer string) error {
	path := k.path(firm, customer)
	f, err := os.OpenFile(path, os.O_WRONLY, 0)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return fmt.Errorf("destroy key of customer %s: %w", customer, err)
	}
	info, err := f.Stat()
	if err == nil {
		_, err = f.WriteAt(make([]byte, info.Size()), 0)
	}
	if err == nil {
		err = f.Sync()
	}
	err = errors.Join(err, f.Close())
	if err == nil {
		err = os.Remove(path)
	}
	if err == nil || errors.Is(err, fs.ErrNotExist) { // another process was faster
		err = listfile.SyncFolder(filepath.Dir(path))
	}
	if err != nil {
		return fmt.Errorf("destroy key of customer %s: %w", customer, err)
	}
	return nil
}

func (k *Keys) path(firm, customer string) string { return filepath.Join(k.folder, firm, customer) }

// checkPlace keeps everything but keys of the ledger out of paths.
func checkPlace(firm, customer string) error {
	if !events.ValidToken(firm) {
		return events.Refuse("firm", firm, "%s", events.TokenRule)
	}
	if !events.ValidToken(customer) {
		return events.Refuse("customer", customer, "%s", events.TokenRule)
	}
	return nil
}

// read returns the key of a customer: an [*ErasedError] or [*LostError] where there
// is none.
func (k *Keys) read(firm, customer string) ([]byte, error) {
	if err := checkPlace(firm, customer); err != nil {
		return nil, err
	}
	erased, err := k.ErasureOf(firm, customer)
	if err != nil {
		return nil, err
	}
	if erased != nil {
		return nil, &ErasedError{customer, erased.Day}
	}
	raw, err := os.ReadFile(k.path(firm, customer))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, &LostError{Customer: customer, why: "is not in the folder of keys"}
	}
	if err != nil {
		return nil, fmt.Errorf("read key of customer %s: %w", customer, err)
	}
	return decodeKey(customer, raw)
}

func decodeKey(customer string, raw []byte) ([]byte, error) {
	text, ok := strings.CutPrefix(string(raw), keyHead)
	key, err := base64.StdEncoding.DecodeString(strings.TrimSuffix(text, "\n"))
	if !ok || err != nil || len(key) != keyBytes {
		return nil, &LostError{customer, "is damaged", true}
	}
	return key, nil
}

func encodeKey(key []byte) []byte {
	return []byte(keyHead + base64.StdEncoding.EncodeToString(key) + "\n")
}

// obtain returns the key of a customer and makes it where there is none yet.
func (k *Keys) obtain(firm, customer string) ([]byte, error) {
	key, err := k.read(firm, customer)
	var lost *LostError
	if !errors.As(err, &lost) || lost.there {
		return key, err
	}
	key = make([]byte, keyBytes)
	_, _ = rand.Read(key) // cannot fail: the program is stopped where there is no randomness
	if err := k.put(firm, customer, encodeKey(key)); err != nil {
		return nil, err
	}
	return k.read(firm, customer) // another process may have been faster, or have erased the customer
}

// put writes the file of a key, whole or not at all, where there is none. A customer
// who is erased meanwhile keeps none.
func (k *Keys) put(firm, customer string, content []byte) error {
	path := k.path(firm, customer)
	folder := filepath.Dir(path)
	err := os.MkdirAll(folder, 0o700)
	if err == nil {
		err = listfile.SyncFolder(k.folder)
	}
	if err == nil {
		err = listfile.PutNew(path, content)
	}
	if err != nil {
		return fmt.Errorf("write key of customer %s: %w", customer, err)
	}
	erased, err := k.ErasureOf(firm, customer)
	if err == nil && erased != nil {
		err = k.destroy(firm, customer)
	}
	return err
}

// nameOf returns what a key is known by in the log. It is a hash of 256 random bits,
// so that it tells nothing of them.
func nameOf(key []byte) string {
	sum := sha256.Sum256(append([]byte("daysheet name of a key\x00"), key...))
	return hex.EncodeToString(sum[:8])
}
