package projector

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"sync"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/services/eventlog"
	"daysheet/services/recent"
)

// profilesKept bounds how many firms' settings are kept for readers.
const profilesKept = 1024

// Profile is what a firm has recorded about itself, as of now. The zero value
// is a firm that recorded nothing.
type Profile struct {
	Settings *events.Settings // nil before the first
	Products []events.Product // in ascending order of their key
	Prices   []events.Price   // last known, of every product in every unit
	RateBook *events.RateBook // nil before the first

	RateBooks      []*events.RateBook      // every revision, oldest first
	RateRejections []*events.RateRejection // of proposed rates, oldest first
}

// directory answers what firms call their things. It has its own folds of the
// firms' commits, so that readers never touch what the projection works on.
type directory struct {
	log     Log
	loading chan struct{} // holds one: loads come one after the other

	mu      sync.Mutex
	firms   *recent.Values[string, *folded]
	changes [eventlog.Partitions]uint64
}

// folded is a firm with the version of its last commit.
type folded struct {
	mu      sync.RWMutex
	version uint64
	firm    events.Firm
}

// show calls use with the firm as of now.
func (f *folded) show(use func(*events.Firm)) {
	f.mu.RLock()
	defer f.mu.RUnlock()
	use(&f.firm)
}

// next folds one commit in. One that was folded in before changes nothing.
func (f *folded) next(c *events.Commit, sequence uint64) error {
	f.mu.Lock()
	defer f.mu.Unlock()
	switch {
	case c.Version <= f.version:
		return nil
	case c.Version > f.version+1:
		return fmt.Errorf("commit %d of firm %s does not follow commit %d", c.Version, c.Firm, f.version)
	}
	f.version = c.Version
	return f.firm.Apply(c, sequence)
}

func newDirectory(log Log) *directory {
	return &directory{log: log, loading: make(chan struct{}, 1), firms: recent.New[string, *folded](profilesKept)}
}

// learn takes in firms' own commits that are now in the store. A firm that does
// not fold is dropped and loaded again when it is asked for.
func (d *directory) learn(partition uint8, commits []ofFirm) {
	d.mu.Lock()
	defer d.mu.Unlock()
	for _, c := range commits {
		d.changes[partition]++
		if f, ok := d.firms.Get(c.commit.Firm); ok && f.next(c.commit, c.sequence) != nil {
			d.firms.Drop(c.commit.Firm)
		}
	}
}

// read calls use with the firm as of now. What use keeps must be copied.
func (d *directory) read(ctx context.Context, firm string, use func(*events.Firm)) error {
	if d.readKept(firm, use) {
		return nil
	}
	select {
	case d.loading <- struct{}{}:
		defer func() { <-d.loading }()
	case <-ctx.Done():
		return fmt.Errorf("read firm %s: %w", firm, ctx.Err())
	}
	if d.readKept(firm, use) { // another reader loaded it meanwhile
		return nil
	}
	partition := eventlog.Partition(firm)
	d.mu.Lock()
	before := d.changes[partition]
	d.mu.Unlock()
	f, err := d.load(ctx, firm)
	if err != nil {
		return err
	}
	d.mu.Lock()
	if d.changes[partition] == before { // else a commit may have come that the load missed
		d.firms.Put(firm, f)
	}
	d.mu.Unlock()
	f.show(use)
	return nil
}

func (d *directory) readKept(firm string, use func(*events.Firm)) bool {
	f, ok := d.firms.Get(firm)
	if ok {
		f.show(use)
	}
	return ok
}

func (d *directory) load(ctx context.Context, firm string) (*folded, error) {
	stored, err := d.log.Commits(ctx, firm, events.FirmJob, 0)
	if err != nil {
		return nil, fmt.Errorf("read firm %s: %w", firm, err)
	}
	f := &folded{}
	for _, s := range stored {
		c, err := decode(s)
		if err != nil {
			return nil, err
		}
		if err := f.next(c, s.Sequence); err != nil {
			return nil, &DamageError{s.Partition, s.Sequence, err}
		}
	}
	return f, nil
}

// Names returns how the firm calls its things: what it recorded, and the
// standard tasks. The maps are the caller's own.
func (p *Projector) Names(ctx context.Context, firm string) (reports.Names, error) {
	profile, err := p.Firm(ctx, firm)
	names := reports.NamesOf(profile.Settings, profile.Products)
	names.RateBooks, names.RateRejections = profile.RateBooks, profile.RateRejections
	names.Prices = profile.Prices
	return names, err
}

// Firm returns what the firm has recorded about itself. The profile is the
// caller's own copy.
func (p *Projector) Firm(ctx context.Context, firm string) (Profile, error) {
	var profile Profile
	err := p.directory.read(ctx, firm, func(f *events.Firm) {
		profile.Settings = copySettings(f.Settings(0))
		profile.RateBook = copyRateBook(f.RateBook(0))
		for _, b := range f.RateBooks(0) {
			profile.RateBooks = append(profile.RateBooks, copyRateBook(b))
		}
		for _, rejection := range f.RateRejections(0) {
			c := *rejection
			profile.RateRejections = append(profile.RateRejections, &c)
		}
		profile.Prices = f.Prices(0)
		for _, key := range f.Products() {
			profile.Products = append(profile.Products, *f.Product(key, 0))
		}
	})
	slices.SortFunc(profile.Products, func(a, b events.Product) int { return cmp.Compare(a.Product, b.Product) })
	return profile, err
}

func copySettings(s *events.Settings) *events.Settings {
	if s == nil {
		return nil
	}
	c := *s
	c.JobTypes, c.Grades = slices.Clone(s.JobTypes), slices.Clone(s.Grades)
	c.Tasks, c.People = slices.Clone(s.Tasks), slices.Clone(s.People)
	if s.Overhead != nil {
		overhead := *s.Overhead
		c.Overhead = &overhead
	}
	if s.Pricing != nil {
		pricing := *s.Pricing
		pricing.AddOns = slices.Clone(pricing.AddOns)
		c.Pricing = &pricing
	}
	return &c
}

func copyRateBook(b *events.RateBook) *events.RateBook {
	if b == nil {
		return nil
	}
	c := *b
	c.Rates = slices.Clone(b.Rates)
	for i := range c.Rates {
		c.Rates[i].Consumables = slices.Clone(c.Rates[i].Consumables)
	}
	return &c
}
