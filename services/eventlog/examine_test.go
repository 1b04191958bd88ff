package eventlog

import (
	"errors"
	"os"
	"testing"

	"daysheet/events"
)

// TestWhatIsCutOffWasNeverAcknowledged tells a record that was being written when the power
// went from one that was whole and is not any more.
func TestWhatIsCutOffWasNeverAcknowledged(t *testing.T) {
	sound, all := filledFolder(t)
	n := uint64(len(all))
	end := func(c []byte) []byte { return c[len(c)-40:] }
	for name, c := range map[string]struct {
		change  func([]byte) []byte
		damaged bool
	}{
		"the beginning of a record":         {func(c []byte) []byte { return append(c, c[:300]...) }, false},
		"less than its head":                {func(c []byte) []byte { return append(c, c[:9]...) }, false},
		"room without content":              {func(c []byte) []byte { return append(c, make([]byte, 4096)...) }, false},
		"a bit in the last whole record":    {func(c []byte) []byte { end(c)[20] ^= 1; return c }, true},
		"a bit in the last checksum":        {func(c []byte) []byte { end(c)[39] ^= 1; return c }, true},
		"a bit before the beginning of one": {func(c []byte) []byte { end(c)[20] ^= 1; return append(c, c[:300]...) }, true},
	} {
		t.Run(name, func(t *testing.T) {
			dir := copyOf(t, sound)
			paths := blocks(t, dir)
			change(t, paths[len(paths)-1], c.change)
			err := start(t, dir, n)
			if damaged := new(DamagedError); errors.As(err, &damaged) != c.damaged || !c.damaged && err != nil {
				t.Errorf("opening says %v; damaged is %v", err, c.damaged)
			}
		})
	}
}

// TestAMissingRecordIsSeen: a block that ends between two records has only whole ones.
func TestAMissingRecordIsSeen(t *testing.T) {
	dir, all := filledFolder(t)
	change(t, blocks(t, dir)[0], func(c []byte) []byte { return c[:middle(t, c)] })
	err := start(t, dir, uint64(len(all)))
	wantText(t, err, "is followed by", "daysheet repair")
}

// TestHalted: nothing is recorded any more, everything can be read, and opening it again
// ends that.
func TestHalted(t *testing.T) {
	dir := t.TempDir()
	l := openDir(t, dir)
	record(t, l, testFirm, testJob, opening(testJob))
	if err := errors.Join(l.Refuses(), l.Health(t.Context())); err != nil {
		t.Fatal(err)
	}
	l.Halt("the log is damaged")
	l.Halt("something that came of it")
	_, err := l.Record(t.Context(), testFirm, testJob, "phone", []events.Event{hours(bookingID(1), testJob, 60)})
	for _, err := range []error{err, l.Refuses(), l.Health(t.Context())} {
		wantCode(t, err, events.Unavailable, "the log is damaged")
	}
	if n := len(commits(t, l, testFirm, testJob, 0)); n != 1 {
		t.Errorf("%d commits can be read, want 1", n)
	}
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	l = openDir(t, dir)
	record(t, l, testFirm, testJob, hours(bookingID(1), testJob, 60))
}

// BenchmarkExamine says what looking at every byte costs at each start.
func BenchmarkExamine(b *testing.B) {
	dir := b.TempDir()
	l, err := Open(b.Context(), Config{Dir: dir, syncLater: true})
	if err != nil {
		b.Fatal(err)
	}
	const jobs = 200
	for i := range jobs {
		job := bookingID(i)
		submitted := []events.Event{opening(job)}
		for part := range 99 {
			submitted = append(submitted, hours(bookingID(part), job, 60))
		}
		if _, err := l.Record(b.Context(), testFirm, job, "phone", submitted); err != nil {
			b.Fatal(err)
		}
	}
	if err := l.Close(); err != nil {
		b.Fatal(err)
	}
	path := streamFolder(dir, Partition(testFirm)) + "/msgs/1.blk"
	stat, err := os.Stat(path)
	if err != nil {
		b.Fatal(err)
	}
	b.SetBytes(stat.Size())
	for b.Loop() {
		if _, err := examine(dir); err != nil {
			b.Fatal(err)
		}
	}
}
