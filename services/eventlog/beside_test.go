package eventlog

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"strings"
	"sync/atomic"
	"testing"

	"daysheet/events"
)

// beside reads a partition out of the files after a sequence.
func beside(t *testing.T, dir string, partition uint8, after uint64) ([]events.Stored, error) {
	t.Helper()
	f, err := OpenFiles(dir)
	if err != nil {
		return nil, err
	}
	var all []events.Stored
	err = f.Commits(t.Context(), partition, after, func(s events.Stored) error {
		s.Raw = bytes.Clone(s.Raw)
		all = append(all, s)
		return nil
	})
	if err == nil {
		err = f.Same()
	}
	return all, err
}

// TestBeside reads while others record: whatever was acknowledged before is there, in
// order, and nothing that is half written.
func TestBeside(t *testing.T) {
	dir := t.TempDir()
	l := openDir(t, dir)
	partition := Partition(testFirm)
	record(t, l, testFirm, testJob, opening(testJob))
	ctx, stop := context.WithCancel(t.Context())
	defer stop()
	var acknowledged atomic.Uint64
	ended := make(chan error, 1)
	go func() {
		for n := 0; ctx.Err() == nil; n++ {
			receipts, err := l.Record(context.WithoutCancel(ctx), testFirm, testJob, "test",
				[]events.Event{hours(fmt.Sprintf("beside-%06d", n), testJob, 30)})
			if err != nil {
				ended <- err
				return
			}
			acknowledged.Store(receipts[0].Sequence)
		}
		ended <- nil
	}()
	for acknowledged.Load() < 200 {
		known := acknowledged.Load()
		all, err := beside(t, dir, partition, 0)
		if err != nil {
			t.Fatal(err)
		}
		if uint64(len(all)) < known {
			t.Fatalf("%d commits read, and %d were acknowledged before", len(all), known)
		}
	}
	stop()
	if err := <-ended; err != nil {
		t.Fatal(err)
	}
	want := commits(t, l, testFirm, testJob, 0)
	for _, after := range []int{0, 1, len(want) / 2, len(want)} {
		got, err := beside(t, dir, partition, uint64(after))
		if err != nil || len(got) != len(want)-after {
			t.Fatalf("after %d: %d of %d commits, %v", after, len(got), len(want), err)
		}
		for i, s := range got {
			if s.Sequence != want[after+i].Sequence || !bytes.Equal(s.Raw, want[after+i].Raw) || s.Partition != partition {
				t.Fatalf("sequence %d is read as %d", want[after+i].Sequence, s.Sequence)
			}
		}
	}
}

// TestBesideSkipsBlocksAndSeesDamage: reading after a sequence passes over what it does
// not need, also where that is damaged, and names the place where it needs it. The log
// that is written of what was read has the same bytes under the same sequences, and
// recording goes on in it.
func TestBesideSkipsBlocksAndSeesDamage(t *testing.T) {
	dir, all := filledFolder(t)
	partition, last := Partition(testFirm), uint64(len(all))
	read, err := beside(t, dir, partition, 0)
	if err != nil || len(read) != len(all) {
		t.Fatalf("%d of %d commits, %v", len(read), len(all), err)
	}
	path := blocks(t, dir)[0]
	content, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	change(t, path, flip(t, len(content)/3))
	if _, err := beside(t, dir, partition, 0); err == nil || !strings.Contains(err.Error(), "repair") {
		t.Errorf("a damaged block gives %v", err)
	}
	if got, err := beside(t, dir, partition, last-1); err != nil || len(got) != 1 {
		t.Errorf("after the damaged block: %d commits, %v", len(got), err)
	}

	to := t.TempDir()
	w, err := NewWriter(t.Context(), Config{Dir: to, MaxBytes: 64 << 20})
	if err != nil {
		t.Fatal(err)
	}
	for i, s := range read {
		if err := w.Add(t.Context(), s); err != nil {
			t.Fatal(err)
		}
		if i == 0 {
			if err := w.Add(t.Context(), s); err == nil {
				t.Error("a commit is taken twice")
			}
		}
	}
	if err := w.Close(t.Context()); err != nil {
		t.Fatal(err)
	}
	wantRepaired(t, to, all)
	if _, err := NewWriter(t.Context(), Config{Dir: to}); err == nil {
		t.Error("a log is written over another")
	}
}
