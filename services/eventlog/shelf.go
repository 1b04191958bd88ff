package eventlog

import (
	"fmt"
	"hash/maphash"
	"io"
	"os"
	"path/filepath"
	"slices"
	"sort"
	"sync"

	"github.com/nats-io/nats.go"
)

// shelf finds the commits of a partition in the files of the embedded log. The server
// reads a whole file of 8 MB for one of them, and keeps it for a while; the commits of
// one job stand in many files.
//
// What it gives is there: a record that does not agree with its checksum, or was never
// seen, is left to the server, which then says what is wrong. A nil shelf knows nothing.
type shelf struct {
	partition uint8
	folder    string // of the block files

	mu    sync.Mutex
	files []shelved // in the order of their sequences
	heads map[uint64]uint64
	seed  maphash.Seed
	lost  bool // what stands in the files behind the last record is not understood
}

// shelved is one block file.
type shelved struct {
	number uint32
	first  uint64   // sequence of the first record; 0 while there is none
	places []uint32 // of the records from that sequence on
	end    uint32   // of the last record
}

func newShelf(dir string, partition uint8) *shelf {
	return &shelf{partition: partition, folder: filepath.Join(streamFolder(dir, partition), "msgs"),
		heads: map[uint64]uint64{}, seed: maphash.MakeSeed()}
}

// begin begins the next file.
func (s *shelf) begin(number uint32) { s.files = append(s.files, shelved{number: number}) }

// note notes a record of the last file, with its place there.
func (s *shelf) note(r blockRecord) {
	f := &s.files[len(s.files)-1]
	if r.stored.Raw != nil {
		if f.first == 0 {
			f.first = r.stored.Sequence
		}
		s.lost = s.lost || r.stored.Sequence != f.first+uint64(len(f.places))
		f.places = append(f.places, uint32(r.at))
		s.heads[maphash.Bytes(s.seed, r.subject)] = r.stored.Sequence
	}
	f.end = uint32(r.at + r.size)
}

// last returns the last message under a subject; ok is false where the files do not
// tell.
func (s *shelf) last(subject string) (m message, ok bool) {
	if s == nil {
		return message{}, false
	}
	s.mu.Lock()
	s.advance()
	head := s.heads[maphash.String(s.seed, subject)]
	if s.lost {
		head = 0
	}
	s.mu.Unlock()
	if head == 0 {
		return message{}, false
	}
	m = s.take([]uint64{head})[0]
	return m, m.subject == subject // else two subjects have one hash
}

// take returns the messages at the sequences, the zero message for one that it does
// not find.
func (s *shelf) take(sequences []uint64) []message {
	messages := make([]message, len(sequences))
	if s == nil {
		return messages
	}
	places := make([]place, len(sequences))
	s.mu.Lock()
	if !s.holds(slices.Max(sequences)) {
		s.advance()
	}
	for i, sequence := range sequences {
		places[i] = s.find(sequence)
	}
	s.mu.Unlock()
	var open *opened
	for i, p := range places {
		if p.size == 0 {
			continue
		}
		if open == nil || open.number != p.number {
			open.close()
			open = s.open(p.number)
		}
		messages[i] = open.message(p, sequences[i])
	}
	open.close()
	return messages
}

// place is where a record stands; the zero value is nowhere.
type place struct {
	number   uint32
	at, size uint32
}

// holds says whether the record of a sequence was seen. s.mu is held.
func (s *shelf) holds(sequence uint64) bool { return s.find(sequence).size > 0 }

// find finds it. s.mu is held.
func (s *shelf) find(sequence uint64) place {
	i := sort.Search(len(s.files), func(i int) bool { return s.files[i].first == 0 || s.files[i].first > sequence }) - 1
	if i < 0 {
		return place{}
	}
	f := &s.files[i]
	n := sequence - f.first
	if n >= uint64(len(f.places)) {
		return place{}
	}
	end := f.end
	if n+1 < uint64(len(f.places)) {
		end = f.places[n+1]
	}
	return place{f.number, f.places[n], end - f.places[n]}
}

// advance notes what was written to the files since it was last called. s.mu is held.
func (s *shelf) advance() {
	for !s.lost {
		if len(s.files) == 0 {
			numbers, err := blockNumbers(s.folder)
			if err != nil || len(numbers) == 0 {
				return
			}
			s.begin(numbers[0])
		}
		f := &s.files[len(s.files)-1]
		_, err := os.Stat(s.path(f.number + 1))
		complete := err == nil // for the server goes on in the next
		if whole := s.readOn(f); !complete {
			return
		} else if !whole {
			s.lost = true
			return
		}
		s.begin(f.number + 1)
	}
}

func (s *shelf) path(number uint32) string {
	return filepath.Join(s.folder, fmt.Sprintf("%d.blk", number))
}

// readOn notes the records of the last file behind those that are noted, and says
// whether there is nothing behind them. s.mu is held.
func (s *shelf) readOn(f *shelved) (whole bool) {
	file, err := os.Open(s.path(f.number))
	if err != nil {
		return false
	}
	defer file.Close()
	stat, err := file.Stat()
	if err != nil || stat.Size() <= int64(f.end) {
		return err == nil && stat.Size() == int64(f.end)
	}
	content := make([]byte, stat.Size()-int64(f.end))
	n, err := file.ReadAt(content, int64(f.end))
	if err != nil && err != io.EOF {
		return false
	}
	b, err := newBlock(content[:n], s.partition, f.number)
	if err != nil {
		return false
	}
	b.checksums = true
	from := f.end
	for at := 0; at < n; {
		r := b.record(at)
		if r.size == 0 {
			return false
		}
		at += r.size
		r.at += int(from)
		s.note(r)
	}
	return true
}

// opened is a block file that records are read from; nil is one that cannot be.
type opened struct {
	number uint32
	file   *os.File
	block  *block
}

// open opens a block file.
func (s *shelf) open(number uint32) *opened {
	file, err := os.Open(s.path(number))
	if err != nil {
		return nil
	}
	b, err := newBlock(nil, s.partition, number)
	if err != nil {
		file.Close()
		return nil
	}
	b.checksums = true
	return &opened{number, file, b}
}

func (o *opened) close() {
	if o != nil {
		o.file.Close() // it was only read
	}
}

// message reads the record at a place; it returns the zero message where that is not
// the whole record of the sequence.
func (o *opened) message(p place, sequence uint64) message {
	if o == nil {
		return message{}
	}
	content := make([]byte, p.size)
	if _, err := o.file.ReadAt(content, int64(p.at)); err != nil {
		return message{}
	}
	o.block.content = content
	r := o.block.record(0)
	if r.size != len(content) || r.stored.Sequence != sequence {
		return message{}
	}
	m := message{subject: string(r.subject), sequence: sequence, data: r.stored.Raw}
	if len(r.headers) > 0 {
		var err error
		if m.header, err = nats.DecodeHeadersMsg(r.headers); err != nil {
			return message{}
		}
	}
	return m
}
