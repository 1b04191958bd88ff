package backup

import (
	"encoding/json"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"

	"filippo.io/age"

	"daysheet/events"
	"daysheet/services/eventlog"
	"daysheet/services/sealing"
)

// use says what is done with the parts of an archive while they are proved. Each may be
// nil. What is given may be kept.
type use struct {
	commit func(events.Stored) error
	photo  func(firm, digest string, body io.Reader) error
	file   func(name string, content []byte) error // of access and signing keys
	key    func(firm, customer string, content []byte) error
}

// checked is an archive that was read to its end and proved.
type checked struct {
	file     string
	name     string
	manifest *Manifest
	heads    heads
	photos   photoSet
	erased   []sealing.Erasure // by the list, and by the events in it
}

// checking is the proof of one archive.
type checking struct {
	*unpacker
	use
	before *checked // the archive that it goes on from; nil where that is not known
	known  bool     // where the chains before are known: it is whole, or before is
	result *checked

	stage  int // of the part before
	ends   [eventlog.Partitions]End
	heads  heads
	photos photoSet
	commits, keys,
	newPhotos int
}

// check reads an archive to its end and proves it: every part by its digest, the log by
// its sequences and chains, and that it goes on from the one before, where that is
// given.
func check(from io.Reader, identities []age.Identity, before *checked, do use) (*checked, error) {
	u, err := newUnpacker(from, identities)
	if err != nil {
		return nil, err
	}
	defer u.close()
	return prove(u, before, do)
}

// prove reads an archive from its second part on.
func prove(u *unpacker, before *checked, do use) (*checked, error) {
	c := &checking{unpacker: u, use: do, before: before, known: u.open.Parent == nil || before != nil,
		result: &checked{}, ends: u.open.From, heads: heads{}, photos: photoSet{}}
	if before != nil {
		if err := c.follows(before); err != nil {
			return nil, err
		}
		c.heads, c.photos = maps.Clone(before.heads), maps.Clone(before.photos)
	} else if u.open.Parent == nil && u.open.From != [eventlog.Partitions]End{} {
		return nil, damaged("it names no parent, and does not begin at the beginning")
	}
	for c.result.manifest == nil {
		e, err := u.next()
		if err == nil {
			err = c.part(e)
		}
		if err != nil {
			return nil, err
		}
	}
	return c.result, c.whole()
}

// follows fails unless the archive goes on from the one before.
func (c *checking) follows(before *checked) error {
	switch {
	case c.open.Parent == nil:
		return fmt.Errorf("it is whole, and does not go on from %s", before.describe())
	case c.open.Parent.Name != before.name:
		return fmt.Errorf("it goes on from the archive %.12s that was made on %s, and not from %s",
			c.open.Parent.Name, c.open.Parent.Made.Format(stampText), before.describe())
	case c.open.From != before.manifest.Ends:
		return damaged("it does not go on where its parent ends")
	}
	return nil
}

const stampText = "2006-01-02 15:04:05 UTC"

func (c *checked) describe() string {
	return fmt.Sprintf("%s (%.12s, made on %s)", c.file, c.name, c.manifest.Made.Format(stampText))
}

// stages is the order in which parts come.
func stages() []string {
	return []string{nameOpening, logPrefix, photosPrefix, accessPrefix, signPrefix, keysPrefix, nameErased, nameHeads,
		namePhotos, nameManifest}
}

// part proves one part.
func (c *checking) part(e *entry) (err error) {
	stage := slices.IndexFunc(stages(), func(begin string) bool { return strings.HasPrefix(e.name, begin) })
	if stage < c.stage || c.open.Kind == Keys && stage < slices.Index(stages(), keysPrefix) ||
		c.open.Kind != Keys && strings.HasPrefix(e.name, keysPrefix) {
		return damaged("%s does not belong here", e.name)
	}
	c.stage = stage
	rest := e.name[strings.Index(e.name, "/")+1:]
	switch stages()[stage] {
	case logPrefix:
		return c.addSegment(e)
	case photosPrefix:
		return c.addPhoto(e, rest)
	case accessPrefix, signPrefix:
		return c.addFile(e)
	case keysPrefix:
		return c.addKey(e, rest)
	case nameErased:
		list, err := readErased(e)
		c.result.erased = append(c.result.erased, list...)
		return err
	case nameHeads:
		c.result.heads, err = readHeads(e)
	case namePhotos:
		c.result.photos, err = readPhotoSet(e)
	case nameManifest:
		c.result.name, c.result.manifest, err = c.manifest(e)
	}
	return err
}

// addSegment proves commits.
func (c *checking) addSegment(e *entry) error {
	partition, begins, _ := readSegment(e.name)
	if c.ends[partition].Sequence+1 != begins {
		return damaged("%s does not follow sequence %d", e.name, c.ends[partition].Sequence)
	}
	return e.lines(commitMost, func(line []byte) error {
		s, subject, err := readLine(partition, line)
		if err != nil {
			return damaged("%s: %w", e.name, err)
		}
		if s.Sequence != c.ends[partition].Sequence+1 {
			return damaged("%s: sequence %d is followed by %d", e.name, c.ends[partition].Sequence, s.Sequence)
		}
		commit, err := c.heads.next(s, c.known)
		if err != nil {
			return damaged("%s: %w", e.name, err)
		}
		want, err := eventlog.Subject(commit.Firm, commit.Job)
		if err != nil || subject != want || eventlog.Partition(commit.Firm) != partition {
			return damaged("%s: the commit at sequence %d does not belong under %s", e.name, s.Sequence, subject)
		}
		c.ends[partition] = End{s.Sequence, events.Hash(s.Raw)}
		c.commits++
		if err := c.learn(commit); err != nil {
			return err
		}
		if c.commit != nil {
			return c.commit(s)
		}
		return nil
	})
}

// learn notes who is erased in a commit.
func (c *checking) learn(commit *events.Commit) error {
	for _, e := range commit.Events {
		if e.Type != events.CustomerErased {
			continue
		}
		payload, err := e.Payload()
		if err != nil {
			return damaged("event %s: %w", e.ID, err)
		}
		erasure, ok := payload.(*events.CustomerErasure)
		if !ok {
			return damaged("event %s is no erasure", e.ID)
		}
		day := erasure.Day
		if day == "" {
			day = e.Day()
		}
		c.result.erased = append(c.result.erased, sealing.Erasure{Firm: commit.Firm, Customer: erasure.Customer, Day: day})
	}
	return nil
}

// addPhoto proves a photo by its name.
func (c *checking) addPhoto(e *entry, name string) error {
	if c.photos[name] {
		return damaged("photo %s is in an earlier archive already", name)
	}
	c.photos[name] = true
	c.newPhotos++
	firm, digest, _ := strings.Cut(name, "/")
	if c.photo != nil {
		if err := c.photo(firm, digest, e.body); err != nil {
			return err
		}
	}
	if err := c.finish(); err != nil {
		return err
	}
	if got := c.parts[len(c.parts)-1].SHA256; got != digest {
		return damaged("photo %s has the digest %s", name, got)
	}
	return nil
}

func (c *checking) addFile(e *entry) error {
	content, err := e.read()
	if err != nil {
		return err
	}
	if strings.HasPrefix(e.name, accessPrefix) && !json.Valid(content) {
		return damaged("%s is no JSON", e.name)
	}
	if c.file == nil {
		return nil
	}
	return c.file(e.name, content)
}

func (c *checking) addKey(e *entry, name string) error {
	content, err := e.read()
	if err != nil {
		return err
	}
	firm, customer, _ := strings.Cut(name, "/")
	if err := sealing.CheckKey(customer, content); err != nil {
		return damaged("%s: %w", e.name, err)
	}
	c.keys++
	if c.key == nil {
		return nil
	}
	return c.key(firm, customer, content)
}

// whole compares what the archive says of itself with what was read.
func (c *checking) whole() error {
	m, r := c.result.manifest, c.result
	if c.open.Kind == index {
		if r.heads == nil || r.photos == nil || len(r.heads) != m.Jobs {
			return damaged("it does not hold what the next archive must know")
		}
		return nil
	}
	switch {
	case m.Ends != c.ends:
		return damaged("the log does not end where the manifest says")
	case m.Commits != uint64(c.commits) || m.Photos != c.newPhotos || m.Keys != c.keys || m.Jobs != len(r.heads):
		return damaged("it does not hold as much as the manifest says")
	case c.open.Kind == Keys:
		return nil
	case r.heads == nil || r.photos == nil:
		return damaged("the ends of the chains or the names of the photos are missing")
	case c.known && !maps.Equal(r.heads, c.heads):
		return damaged("the chains do not end where %s says", nameHeads)
	case c.known && !maps.Equal(r.photos, c.photos):
		return damaged("%s does not name the photos of the ledger", namePhotos)
	}
	for name, h := range c.heads {
		if r.heads[name] != h {
			return damaged("the chain of job %s does not end where %s says", name, nameHeads)
		}
	}
	for name := range c.photos {
		if !r.photos[name] {
			return damaged("%s does not name photo %s", namePhotos, name)
		}
	}
	return nil
}
