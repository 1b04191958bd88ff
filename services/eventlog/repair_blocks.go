package eventlog

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"hash"
	"io/fs"
	"os"
	"path/filepath"
	"slices"

	"github.com/minio/highwayhash"
	"github.com/nats-io/nats-server/v2/server"

	"daysheet/events"
)

// A damaged log is read without the server: it cuts a block off at the first
// record that it cannot read, and good commits behind it are gone. The layout of a
// record in a block file is the server's (filestore.go, since 2.0):
//
//	length 4, sequence 8, time 8, length of subject 2, subject,
//	length of headers 4 and headers where the length's top bit says so, data,
//	checksum 8 of all but the lengths
const (
	recordHeader   = 22
	recordChecksum = 8
	recordMost     = messageBytesMax + 64<<10
	withHeaders    = uint32(1) << 31
	notAMessage    = uint64(3) << 62 // erased, or a note that something was
)

// streamFolder returns where the server keeps a partition.
func streamFolder(dir string, partition uint8) string {
	return filepath.Join(dir, server.JetStreamStoreDir, server.DEFAULT_GLOBAL_ACCOUNT, "streams", streamName(partition))
}

// readBlocks calls use with every whole commit of a partition, in the order in
// which they stand in the files, and returns what cannot be read. torn is how many
// bytes of it are the end of the last file. It changes nothing.
func readBlocks(
	dir string, partition uint8, use func(events.Stored) error,
) (damage []string, torn int, err error) {
	folder := streamFolder(dir, partition)
	if err := checkMeta(folder, partition); err != nil {
		damage = append(damage, fmt.Sprintf("partition %d: %v", partition, err))
	}
	numbers, err := blockNumbers(filepath.Join(folder, "msgs"))
	if err != nil {
		return nil, 0, fmt.Errorf("list blocks of partition %d: %w", partition, err)
	}
	for _, number := range numbers {
		name := fmt.Sprintf("%d.blk", number)
		content, err := os.ReadFile(filepath.Join(folder, "msgs", name))
		if err != nil {
			return nil, 0, fmt.Errorf("read a block of partition %d: %w", partition, err)
		}
		b, err := newBlock(content, partition, number)
		if err != nil {
			return nil, 0, fmt.Errorf("read a block of partition %d: %w", partition, err)
		}
		if err := b.each(use); err != nil {
			return nil, 0, err
		}
		torn = b.torn
		if b.places > 0 {
			damage = append(damage, fmt.Sprintf("partition %d: block file %s cannot be read in %d places, the first at byte %d",
				partition, name, b.places, b.first))
		}
	}
	return damage, torn, nil
}

// lastInBlocks returns the greatest sequence of a partition that can be read; 0 if
// there is none.
func lastInBlocks(dir string, partition uint8) (last uint64, err error) {
	folder := filepath.Join(streamFolder(dir, partition), "msgs")
	numbers, err := blockNumbers(folder)
	for i := len(numbers) - 1; i >= 0 && last == 0 && err == nil; i-- {
		var content []byte
		if content, err = os.ReadFile(filepath.Join(folder, fmt.Sprintf("%d.blk", numbers[i]))); err != nil {
			break
		}
		var b *block
		if b, err = newBlock(content, partition, numbers[i]); err != nil {
			break
		}
		err = b.each(func(s events.Stored) error {
			last = s.Sequence
			return nil
		})
	}
	if err != nil {
		return 0, fmt.Errorf("read the end of partition %d: %w", partition, err)
	}
	return last, nil
}

// blockNumbers returns the numbers of the block files in a folder, in order; none
// where the folder does not exist.
func blockNumbers(folder string) ([]uint32, error) {
	entries, err := os.ReadDir(folder)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, err
	}
	var numbers []uint32
	for _, e := range entries {
		var number uint32
		if _, err := fmt.Sscanf(e.Name(), "%d.blk", &number); err == nil && e.Name() == fmt.Sprintf("%d.blk", number) {
			numbers = append(numbers, number)
		}
	}
	slices.Sort(numbers)
	return numbers, nil
}

// checkMeta looks whether the server can read what a stream is. A partition that
// was never made has nothing to read.
func checkMeta(folder string, partition uint8) error {
	if _, err := os.Stat(folder); errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	meta, err := os.ReadFile(filepath.Join(folder, server.JetStreamMetaFile))
	if err != nil {
		return fmt.Errorf("read the stream's settings: %w", err)
	}
	written, err := os.ReadFile(filepath.Join(folder, server.JetStreamMetaFileSum))
	if err != nil {
		return fmt.Errorf("read the checksum of the stream's settings: %w", err)
	}
	sum, err := newChecksum(streamName(partition))
	if err != nil {
		return err
	}
	sum.Write(meta)
	if hex.EncodeToString(sum.Sum(nil)) != string(written) {
		return errors.New("the stream's settings do not agree with their checksum")
	}
	return nil
}

// newChecksum returns the server's checksum under a name.
func newChecksum(name string) (hash.Hash64, error) {
	key := sha256.Sum256([]byte(name))
	return highwayhash.New64(key[:])
}

// block is a block file that is being read.
type block struct {
	content   []byte
	partition uint8
	prefix    []byte // of every subject in it
	sum       hash.Hash64
	checksums bool // alone say whether a record is whole; else it must be a commit, too

	places int // that cannot be read
	first  int // the first of them
	torn   int // bytes that cannot be read since the last record
}

func newBlock(content []byte, partition uint8, number uint32) (*block, error) {
	sum, err := newChecksum(fmt.Sprintf("%s-%d", streamName(partition), number))
	return &block{
		content: content, partition: partition, sum: sum, prefix: fmt.Appendf(nil, "ledger.%02d.", partition),
	}, err
}

// blockRecord is a whole record of a block file.
type blockRecord struct {
	stored           events.Stored // without Raw where the record is no message
	subject, headers []byte
	at, size         int // place in the file, and bytes there; size is 0 where there is no whole record
}

// each calls use with every whole commit. Behind a place that cannot be read it
// goes on at the next record.
func (b *block) each(use func(events.Stored) error) error {
	return b.eachRecord(func(r blockRecord) error {
		if r.stored.Raw == nil {
			return nil
		}
		return use(r.stored)
	})
}

// eachRecord does it for records that are no messages, too.
func (b *block) eachRecord(use func(blockRecord) error) error {
	for at := 0; at < len(b.content); {
		r := b.record(at)
		if r.size == 0 {
			if b.places++; b.places == 1 {
				b.first = at
			}
			next := b.resume(at + 1)
			b.torn += next - at
			at = next
			continue
		}
		at += r.size
		b.torn = 0
		if err := use(r); err != nil {
			return err
		}
	}
	return nil
}

// resume returns where the next record may begin: its subject says so.
func (b *block) resume(at int) int {
	from := at + recordHeader
	if from >= len(b.content) {
		return len(b.content)
	}
	found := bytes.Index(b.content[from:], b.prefix)
	if found < 0 {
		return len(b.content)
	}
	return at + found
}

// record reads the record at a place.
func (b *block) record(at int) (r blockRecord) {
	rest := b.content[at:]
	if len(rest) < recordHeader+recordChecksum {
		return blockRecord{}
	}
	sequence := binary.LittleEndian.Uint64(rest[4:])
	subjectEnd := recordHeader + int(binary.LittleEndian.Uint16(rest[20:]))
	size := b.lengthAt(at)
	if size > recordMost || size > len(rest) || subjectEnd > size-recordChecksum {
		return blockRecord{}
	}
	name, data := rest[recordHeader:subjectEnd], rest[subjectEnd:size-recordChecksum]
	headers := 0
	if binary.LittleEndian.Uint32(rest)&withHeaders != 0 {
		if len(data) < 4 {
			return blockRecord{}
		}
		headers = int(binary.LittleEndian.Uint32(data))
		data = data[4:]
	}
	b.sum.Reset()
	for _, part := range [][]byte{rest[4:20], name, data} {
		b.sum.Write(part)
	}
	if !bytes.Equal(b.sum.Sum(nil), rest[size-recordChecksum:size]) {
		return blockRecord{}
	}
	if sequence&notAMessage != 0 || sequence == 0 {
		return blockRecord{at: at, size: size}
	}
	// The checksum says nothing about where headers end: an empty line does.
	if headers > len(data) || headers > 0 && !bytes.HasSuffix(data[:headers], []byte("\r\n\r\n")) ||
		!b.checksums && !b.isCommit(name, data[headers:]) {
		return blockRecord{}
	}
	stored := events.Stored{Partition: b.partition, Sequence: sequence, Raw: data[headers:]}
	return blockRecord{stored, name, data[:headers], at, size}
}

// lengthAt returns how long the record at a place says that it is; 0 where it is too short
// to say so.
func (b *block) lengthAt(at int) int {
	if len(b.content)-at < recordHeader {
		return 0
	}
	return int(binary.LittleEndian.Uint32(b.content[at:]) &^ withHeaders)
}

// isCommit reports whether data is a commit that belongs under the subject.
func (b *block) isCommit(name, data []byte) bool {
	c, err := events.DecodeCommit(data)
	return err == nil && string(name) == subject(c.Firm, c.Job) && Partition(c.Firm) == b.partition
}
