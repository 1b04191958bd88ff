package eventlog

import (
	"bytes"
	"encoding/binary"
	"os"
	"path/filepath"
	"testing"

	"daysheet/events"
)

// FuzzBlock: whatever stands around a whole record of a block file, the record is
// found, and what is found besides is a commit too. A checksum that agrees, which only
// the server would write, is put under what the fuzzer makes up.
func FuzzBlock(f *testing.F) {
	dir := filepath.Join(f.TempDir(), "log")
	l := open(f, Config{Dir: dir})
	book(f, l, testFirm, testJob, 2)
	if err := l.Close(); err != nil {
		f.Fatal(err)
	}
	partition := Partition(testFirm)
	content, err := os.ReadFile(filepath.Join(streamFolder(dir, partition), "msgs", "1.blk"))
	if err != nil {
		f.Fatal(err)
	}
	var good []events.Stored
	read := func(t testing.TB, content []byte, use func(events.Stored)) *block {
		b, err := newBlock(content, partition, 1)
		if err == nil {
			err = b.each(func(s events.Stored) error { use(s); return nil })
		}
		if err != nil {
			t.Fatal(err)
		}
		return b
	}
	read(f, content, func(s events.Stored) { good = append(good, s) })
	if len(good) != 3 {
		f.Fatalf("%d commits in a block of 3", len(good))
	}
	whole := recordOf(f, partition, good[0].Sequence, 0, []byte(subject(testFirm, testJob)), good[0].Raw)
	f.Add([]byte{}, uint64(1), uint32(0), []byte(subject(testFirm, testJob)), good[0].Raw)
	f.Add(content[:40], uint64(1), uint32(7), []byte(subject(testFirm, testJob)), good[1].Raw)
	f.Add(content[:len(content)-9], notAMessage|4, withHeaders, []byte("ledger.00."), []byte("\xff\xff\xff\xff"))
	f.Add(whole[:30], uint64(0), withHeaders|4, []byte{}, append([]byte("\x04\x00\x00\x00\r\n\r\n"), good[2].Raw...))
	f.Fuzz(func(t *testing.T, before []byte, sequence uint64, flags uint32, name, data []byte) {
		if len(name) > 1<<16-1 {
			return
		}
		made := recordOf(t, partition, sequence, flags, name, data)
		found := 0
		all := bytes.Join([][]byte{before, made, whole, made, before}, nil)
		b := read(t, all, func(s events.Stored) {
			if _, err := events.DecodeCommit(s.Raw); err != nil || s.Sequence == 0 {
				t.Errorf("sequence %d is no commit: %v", s.Sequence, err)
			}
			if bytes.Equal(s.Raw, good[0].Raw) && s.Sequence == good[0].Sequence {
				found++
			}
		})
		if found == 0 {
			t.Error("the whole record is not found")
		}
		if b.torn < 0 || b.torn > len(all) || b.first > len(all) {
			t.Errorf("%d bytes are torn, the first place is %d, of %d bytes", b.torn, b.first, len(all))
		}
	})
}

// recordOf makes a record as the server writes it, see [block.record]. The bits of
// flags that are not [withHeaders] are added to its length.
func recordOf(tb testing.TB, partition uint8, sequence uint64, flags uint32, name, data []byte) []byte {
	tb.Helper()
	b, err := newBlock(nil, partition, 1)
	if err != nil {
		tb.Fatal(err)
	}
	size := recordHeader + len(name) + len(data) + recordChecksum
	raw := binary.LittleEndian.AppendUint32(nil, uint32(size)^flags)
	raw = binary.LittleEndian.AppendUint64(raw, sequence)
	raw = append(raw, make([]byte, 8)...) // the time says nothing
	raw = binary.LittleEndian.AppendUint16(raw, uint16(len(name)))
	raw = append(append(raw, name...), data...)
	summed := data
	if flags&withHeaders != 0 && len(data) >= 4 {
		summed = data[4:]
	}
	for _, part := range [][]byte{raw[4:20], name, summed} {
		b.sum.Write(part)
	}
	return b.sum.Sum(raw)
}
