package eventlog

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"

	"github.com/nats-io/nats-server/v2/server"

	"daysheet/events"
)

// DamagedError says what of an embedded log cannot be read. The log was neither opened nor
// changed: the server would cut a block off at the first record that it cannot read, and
// what would be recorded next would take sequences that were used before.
type DamagedError struct {
	Findings []string // each names a partition and a place; at least one
}

// Error says it to the operator, with the way out.
func (e *DamagedError) Error() string {
	more := ""
	if n := len(e.Findings) - 1; n > 0 {
		more = fmt.Sprintf(" (and %d places more)", n)
	}
	return e.Findings[0] + more + ": nothing was recorded or changed; run \"daysheet repair\", which takes what cannot " +
		"be read from the copy in the store, and start again"
}

// examine reads the files of a log, without the server, and fails with a [*DamagedError] if
// a record does not agree with its checksum or a sequence is missing. A record that was cut
// off at the very end is none: it was being written when the program ended, and was never
// acknowledged. It returns where each record stands.
func examine(dir string) (shelves [Partitions]*shelf, err error) {
	var findings []string
	for partition := range uint8(Partitions) {
		shelves[partition] = newShelf(dir, partition)
	}
	if stat, err := os.Stat(filepath.Join(dir, server.JetStreamStoreDir)); err != nil || !stat.IsDir() {
		return shelves, nil // nothing was recorded yet, or the server says what is in its way
	}
	var content bytes.Buffer // of one file after the other
	for partition := range uint8(Partitions) {
		e := &examination{partition: partition, shelf: shelves[partition], content: &content}
		if err := e.run(streamFolder(dir, partition)); err != nil {
			return shelves, fmt.Errorf("examine partition %d: %w", partition, err)
		}
		findings = append(findings, e.findings...)
	}
	if len(findings) > 0 {
		return shelves, &DamagedError{findings}
	}
	return shelves, nil
}

// examination is that of one partition.
type examination struct {
	partition uint8
	shelf     *shelf
	content   *bytes.Buffer
	last      uint64 // sequence that was read last
	gap       string // the first place where sequences are missing
	findings  []string
}

func (e *examination) find(format string, args ...any) {
	e.findings = append(e.findings, fmt.Sprintf("partition %d is damaged: ", e.partition)+fmt.Sprintf(format, args...))
}

func (e *examination) run(folder string) error {
	if err := checkMeta(folder, e.partition); err != nil {
		e.find("%v", err)
	}
	numbers, err := blockNumbers(filepath.Join(folder, "msgs"))
	if err != nil {
		return err
	}
	for i, number := range numbers {
		name := fmt.Sprintf("%d.blk", number)
		if err := e.read(filepath.Join(folder, "msgs", name)); err != nil {
			return err
		}
		b, err := newBlock(e.content.Bytes(), e.partition, number)
		if err != nil {
			return err
		}
		b.checksums = true
		e.shelf.begin(number)
		if err := b.eachRecord(e.follows); err != nil {
			return err
		}
		if b.places > 1 || b.places == 1 && !(i == len(numbers)-1 && b.cutOff()) {
			e.find("block file %s cannot be read in %d places, the first at byte %d", name, b.places, b.first)
		}
	}
	if e.gap != "" && len(e.findings) == 0 {
		e.find("%s", e.gap) // else it comes of what cannot be read
	}
	return nil
}

// read reads a file into e.content.
func (e *examination) read(path string) error {
	file, err := os.Open(path)
	if err != nil {
		return err
	}
	defer file.Close()
	stat, err := file.Stat()
	if err != nil {
		return err
	}
	e.content.Reset()
	e.content.Grow(int(stat.Size()) + bytes.MinRead) // or it grows, and copies, again and again
	_, err = e.content.ReadFrom(file)
	return err
}

// follows notes where a record is, and where sequences are missing.
func (e *examination) follows(r blockRecord) error {
	if r.stored.Raw != nil {
		if r.stored.Sequence != e.last+1 && e.gap == "" {
			e.gap = fmt.Sprintf("sequence %d is followed by %d", e.last, r.stored.Sequence)
		}
		e.last = r.stored.Sequence
	}
	e.shelf.note(r)
	return nil
}

// cutOff reports whether all that cannot be read is the beginning of a record at the end of
// the file, or room for one, which a file system leaves as zeros. One that is there in full
// length was written to its end, and does not agree with its checksum for another reason.
func (b *block) cutOff() bool {
	rest := b.content[b.first:]
	if b.torn != len(rest) {
		return false
	}
	return len(rest) < recordHeader || b.lengthAt(b.first) > len(rest) || len(bytes.Trim(rest, "\x00")) == 0
}

// Halt refuses everything that is to be recorded from now on, with the reason, which says
// what to do: the log was found damaged while it is open. What is in it can be read as
// before. Only opening it again ends that.
func (l *Log) Halt(reason string) {
	l.halted.CompareAndSwap(nil, &events.Error{Code: events.Unavailable, Rule: reason})
}

// Embedded says whether the log is in a folder of this process, which alone can mend it.
func (l *Log) Embedded() bool { return l.inside != nil }

// Refuses returns why nothing can be recorded until the program is started again; nil where
// that is not so.
func (l *Log) Refuses() error {
	if err := l.halted.Load(); err != nil {
		return err
	}
	return l.inside.failed()
}
