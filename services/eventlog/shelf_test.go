package eventlog

import (
	"bytes"
	"fmt"
	"testing"

	"daysheet/events"
)

// gives requires the shelf to give every commit as it was recorded.
func gives(t *testing.T, s *shelf, all []events.Stored) {
	t.Helper()
	sequences := make([]uint64, len(all))
	for i, stored := range all {
		sequences[len(all)-1-i] = stored.Sequence // newest first, as a chain is walked
	}
	for i, m := range s.take(sequences) {
		want := all[len(all)-1-i]
		c, err := events.DecodeCommit(want.Raw)
		if err != nil {
			t.Fatal(err)
		}
		if m.sequence != want.Sequence || !bytes.Equal(m.data, want.Raw) || m.subject != subject(c.Firm, c.Job) ||
			m.header.Get(headerVersion) != fmt.Sprint(c.Version) {
			t.Fatalf("sequence %d of %d: the shelf gives %d under %q, %d bytes of %d", want.Sequence, len(all),
				m.sequence, m.subject, len(m.data), len(want.Raw))
		}
	}
}

// TestShelf compares what is found in the files with what the server gives, in a log of
// several files, while it grows into the next, and after it was opened anew.
func TestShelf(t *testing.T) {
	dir, all := filledFolder(t)
	partition := Partition(testFirm)
	if len(blocks(t, dir)) < 2 {
		t.Fatalf("one file is too few to test with")
	}
	gives(t, newShelf(dir, partition), all) // never examined
	for range 2 {
		l := open(t, Config{Dir: dir, MaxBytes: 20 << 20})
		s := l.inside.shelf(partition)
		gives(t, s, all)
		for files, i := len(blocks(t, dir)), 0; len(blocks(t, dir)) == files; i++ {
			job := fmt.Sprintf("more-%d-%d", len(all), i)
			submitted := []events.Event{opening(job)}
			for part := range 99 {
				submitted = append(submitted, hours(bookingID(part), job, 60))
			}
			record(t, l, testFirm, job, submitted...)
			m, ok := s.last(subject(testFirm, job))
			server, known, err := l.fromLeader(t.Context(), partition, map[string]any{"last_by_subj": subject(testFirm, job)})
			if err != nil || !ok || !known || m.sequence != server.sequence || !bytes.Equal(m.data, server.data) {
				t.Fatalf("last of %s: %v, sequence %d; of the server: %v, %d, %v",
					job, ok, m.sequence, known, server.sequence, err)
			}
		}
		all = whole(t, l)
		gives(t, s, all)
		if m, ok := s.last(subject(testFirm, "never-opened")); ok {
			t.Errorf("a job that never was ends at %d", m.sequence)
		}
		if got := s.take([]uint64{uint64(len(all)) + 1})[0]; got.sequence != 0 {
			t.Errorf("sequence %d was never recorded", got.sequence)
		}
		if err := l.Close(); err != nil {
			t.Fatal(err)
		}
	}
}

// TestShelfGivesNothingDamaged flips one bit of a record at a time while the log is open.
func TestShelfGivesNothingDamaged(t *testing.T) {
	dir, all := filledFolder(t)
	partition := Partition(testFirm)
	l := open(t, Config{Dir: dir, MaxBytes: 20 << 20})
	s := l.inside.shelf(partition)
	s.mu.Lock()
	hit := s.find(10)
	s.mu.Unlock()
	for _, at := range []uint32{hit.at, hit.at + 5, hit.at + recordHeader + 3, hit.at + hit.size/2, hit.at + hit.size - 1} {
		flip := func(c []byte) []byte { c[at] ^= 4; return c }
		path := s.path(hit.number)
		change(t, path, flip)
		if m := s.take([]uint64{9, 10, 11}); m[0].sequence != 9 || m[1].sequence != 0 || m[2].sequence != 11 {
			t.Errorf("byte %d: %d, %d and %d are given, want 9, nothing and 11", at-hit.at,
				m[0].sequence, m[1].sequence, m[2].sequence)
		}
		change(t, path, flip)
	}
	gives(t, s, all)
}
