package backup

import (
	"errors"
	"fmt"
	"os"
	"slices"
	"time"

	"filippo.io/age"

	"daysheet/services/dataformat"
)

// Checked says what archives hold that were proved together.
type Checked struct {
	Archives int // of the ledger
	Made     time.Time
	Commits  uint64
	Jobs     int
	Photos   int
	Lacking  []string // photos that could not be read when they were backed up
	KeyFiles int
	Keys     int
	Proved   bool // every chain from its first commit; false where the archive before is not given
}

// checkFile proves one file.
func checkFile(path string, identities []age.Identity, before *checked, do use) (*checked, error) {
	file, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("open archive: %w", err)
	}
	defer file.Close()
	c, err := check(file, identities, before, do)
	if err != nil {
		return nil, named(path, err)
	}
	c.file = path
	return c, nil
}

// named says in an error which file it is of.
func named(path string, err error) error {
	var found *DamagedError
	var newer *dataformat.NewerError
	switch {
	case errors.As(err, &found):
		return &DamagedError{path, found.Why}
	case errors.As(err, &newer):
		return fmt.Errorf("%s: %w", path, newer)
	}
	return fmt.Errorf("%s: %w", path, err)
}

// opened is an archive of which the opening was read.
type opened struct {
	path string
	Opening
}

// openAll reads the openings of archives and puts them in the order in which they were
// made; those of keys are put apart.
func openAll(paths []string, identities []age.Identity) (ledger, keys []opened, err error) {
	for _, path := range paths {
		o, err := openOne(path, identities)
		if err != nil {
			return nil, nil, err
		}
		switch o.Kind {
		case Ledger:
			ledger = append(ledger, o)
		case Keys:
			keys = append(keys, o)
		default:
			return nil, nil, fmt.Errorf("%s is what a backup must know of the one before, and no backup", path)
		}
	}
	byAge := func(a, b opened) int { return a.Made.Compare(b.Made) }
	slices.SortStableFunc(ledger, byAge)
	slices.SortStableFunc(keys, byAge)
	return inOrder(ledger), keys, nil
}

// inOrder puts archives into the order in which they go on from each other, which is not
// that of their times where the clock was set back between them. What goes on from none
// of the others comes last, in the order of its times.
func inOrder(byAge []opened) []opened {
	ordered := make([]opened, 0, len(byAge))
	take := func(which func(o opened) bool) bool {
		i := slices.IndexFunc(byAge, which)
		if i >= 0 {
			ordered = append(ordered, byAge[i])
			byAge = slices.Delete(byAge, i, i+1)
		}
		return i >= 0
	}
	if !take(func(o opened) bool { return o.Parent == nil }) {
		return byAge
	}
	for take(func(o opened) bool { return o.Parent != nil && o.Parent.Made.Equal(ordered[len(ordered)-1].Made) }) {
	}
	return append(ordered, byAge...)
}

func openOne(path string, identities []age.Identity) (opened, error) {
	file, err := os.Open(path)
	if err != nil {
		return opened{}, fmt.Errorf("open archive: %w", err)
	}
	defer file.Close()
	u, err := newUnpacker(file, identities)
	if err != nil {
		return opened{}, named(path, err)
	}
	defer u.close()
	return opened{path, u.open}, nil
}

// whole fails unless archives begin with a whole one.
func whole(ledger []opened) error {
	if len(ledger) == 0 {
		return errors.New("no archive of a ledger is named, only of keys")
	}
	if p := ledger[0].Parent; p != nil {
		return fmt.Errorf("%s goes on from the archive %.12s that was made on %s, which is not among those named",
			ledger[0].path, p.Name, p.Made.Format(stampText))
	}
	return nil
}

// Verify proves archives without restoring them: every part of each, every chain, and
// that they go on from each other. One that goes on from another may stand alone; what
// was before it is then taken on trust.
func Verify(paths []string, identities []age.Identity) (Checked, error) {
	ledger, keys, err := openAll(paths, identities)
	if err != nil {
		return Checked{}, err
	}
	if len(ledger) > 1 {
		if err := whole(ledger); err != nil {
			return Checked{}, err
		}
	}
	sum := Checked{Archives: len(ledger), KeyFiles: len(keys), Proved: len(ledger) > 0 && ledger[0].Parent == nil}
	var before *checked
	for _, o := range ledger {
		c, err := checkFile(o.path, identities, before, use{})
		if err != nil {
			return Checked{}, err
		}
		sum.add(c)
		before = c
	}
	for _, o := range keys {
		c, err := checkFile(o.path, identities, nil, use{})
		if err != nil {
			return Checked{}, err
		}
		sum.Keys = c.manifest.Keys
	}
	return sum, nil
}

func (s *Checked) add(c *checked) {
	s.Made, s.Jobs = c.manifest.Made, c.manifest.Jobs
	s.Commits += c.manifest.Commits
	s.Photos += c.manifest.Photos
	s.Lacking = c.manifest.Lacking
}

// ReadEarlier reads what an archive must know of the one that it goes on from: out of
// that archive, or out of what [Earlier.Write] wrote.
func ReadEarlier(path string, identities []age.Identity) (*Earlier, error) {
	c, err := checkFile(path, identities, nil, use{})
	if err != nil {
		return nil, err
	}
	if c.manifest.Kind != Ledger {
		return nil, fmt.Errorf("%s is an archive of keys: name one of the ledger", path)
	}
	return &Earlier{c.name, c.manifest, c.heads, c.photos}, nil
}
