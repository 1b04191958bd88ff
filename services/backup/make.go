package backup

import (
	"context"
	"fmt"
	"io"
	"maps"
	"time"

	"filippo.io/age"

	"daysheet/events"
	"daysheet/services/dataformat"
	"daysheet/services/eventlog"
)

// Source is a ledger that is backed up. It may be in use.
type Source struct {
	// Commits calls use with the commits of a partition after the sequence, in order and
	// without gaps, up to the last that was acknowledged when it was called.
	Commits func(ctx context.Context, partition uint8, after uint64, use func(events.Stored) error) error

	// Photos calls visit with the path in PhotosFolder of each photo, in their order: firm,
	// two digits, digest. It is nil where the ledger has no photos here.
	Photos       func(ctx context.Context, visit func(path string) error) error
	PhotosFolder string

	Places // where the rest is
}

// Places are the files and folders of a ledger beside its log and photos. What is not
// there is in no archive.
type Places struct {
	Tokens, People, Links string // files
	Changes               string // file of changes of access by command that wait to be recorded
	Signing, Keys         string // folders
}

// access returns the files of access by their name in the archive.
func (p Places) access() []place {
	return []place{{tokensName, p.Tokens}, {peopleName, p.People}, {linksName, p.Links}, {changesName, p.Changes}}
}

type place struct{ name, path string }

// Options are how archives are written.
type Options struct {
	Program    string          // version of this program
	Recipients []age.Recipient // for whom archives are encrypted; nobody: they are not
	Now        time.Time

	// Since is what the archive goes on from; nil makes a whole one.
	Since *Earlier
}

// Earlier is what an archive must know of the one that it goes on from. It is made by
// [ReadEarlier] and archiveLedger.
type Earlier struct {
	name     string
	manifest *Manifest
	heads    heads
	photos   photoSet
}

// Made says when the archive was made.
func (e *Earlier) Made() time.Time { return e.manifest.Made }

// making is an archive of a ledger on its way.
type making struct {
	*packer
	source   Source
	manifest Manifest
	heads    heads
	photos   photoSet
	access   map[string]string // contents of the files of access, by their name in the archive
}

// archiveLedger writes an archive of a ledger, and returns what the next one must know of it. It
// reads the log first and the rest after, so that everything that a commit needs is
// there. It fails where the log is damaged, and where the ledger is not the one that
// the archive is to go on from; a photo that cannot be read is named in the manifest.
func archiveLedger(ctx context.Context, to io.Writer, s Source, o Options) (*Earlier, error) {
	m := &making{source: s, heads: heads{}, photos: photoSet{}}
	m.manifest = Manifest{Opening: Opening{Backup: version, Kind: Ledger, Data: dataformat.Current, Program: o.Program,
		Made: o.Now.UTC().Truncate(time.Millisecond)}, Lacking: []string{}}
	if o.Since != nil {
		m.manifest.Parent = &Parent{o.Since.name, o.Since.manifest.Made}
		m.manifest.From = o.Since.manifest.Ends
		m.manifest.Ends = m.manifest.From
		for name, h := range o.Since.heads {
			m.heads[name] = h
		}
		for name := range o.Since.photos {
			m.photos[name] = true
		}
	}
	var err error
	if m.packer, err = newPacker(to, m.manifest.Opening, o.Recipients); err != nil {
		return nil, err
	}
	if err := m.addLogs(ctx); err != nil {
		return nil, fmt.Errorf("back up the log: %w", err)
	}
	for _, step := range []func(context.Context) error{m.addPhotos, m.addAccess, m.addLists} {
		if err := step(ctx); err != nil {
			return nil, fmt.Errorf("back up: %w", err)
		}
	}
	name, err := m.close(&m.manifest)
	if err != nil {
		return nil, err
	}
	return &Earlier{name, &m.manifest, m.heads, m.photos}, nil
}

// accessTries bounds how often the end of the log is read again because who has access
// changed meanwhile.
const accessTries = 5

// addLogs adds the commits of all partitions, and reads who has access. A change of access
// stands in the log or waits in a file before it is made: where a file changes while the
// log is read, what came to the log meanwhile is read as well, so that no change is in the
// archive without its record.
func (m *making) addLogs(ctx context.Context) (err error) {
	if m.access, err = m.source.readAccess(); err != nil {
		return err
	}
	for range accessTries {
		for partition := range uint8(eventlog.Partitions) {
			if err := m.addLog(ctx, partition); err != nil {
				return err
			}
		}
		before := m.access
		if m.access, err = m.source.readAccess(); err != nil || maps.Equal(before, m.access) {
			return err
		}
	}
	return nil
}

// addLog adds the commits of a partition after those that the archive has.
func (m *making) addLog(ctx context.Context, partition uint8) error {
	from := m.manifest.Ends[partition]
	end, found := from, from.Sequence == 0
	seg := segment{making: m, partition: partition}
	after := from.Sequence - min(from.Sequence, 1) // with the last that is known, to compare it
	err := m.source.Commits(ctx, partition, after, func(s events.Stored) error {
		if s.Sequence == from.Sequence {
			found = events.Hash(s.Raw) == from.Hash
			return nil
		}
		if !found {
			return notThis(partition, from)
		}
		c, err := m.heads.next(s, true)
		if err != nil {
			return err
		}
		end = End{s.Sequence, events.Hash(s.Raw)}
		m.manifest.Commits++
		return seg.add(s, c)
	})
	switch {
	case err != nil:
		return fmt.Errorf("partition %d: %w", partition, err)
	case !found:
		return notThis(partition, from)
	}
	m.manifest.Ends[partition] = end
	return seg.flush()
}

func notThis(partition uint8, from End) error {
	return &events.Error{Code: events.Conflict, Field: "since",
		Rule: fmt.Sprintf("partition %d of this log has not the commit at sequence %d with which the earlier archive ends: "+
			"it is of another ledger, or an older state was restored since; make a whole backup", partition, from.Sequence)}
}
