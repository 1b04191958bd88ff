package duckdb

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"os/signal"
	"path/filepath"
	"sync"
	"syscall"
	"testing"

	"daysheet/events"
	"daysheet/reports"
)

// TestNoRoomToSettle: where the disk has no room for what the write-ahead log holds, it
// stays where it is and everything can be read. DuckDB, when it meets the end of the disk in
// the middle of that, answers nothing until the file is opened again, see [TestOpenedAgain].
func TestNoRoomToSettle(t *testing.T) {
	path := filepath.Join(t.TempDir(), "facts.duckdb")
	s := open(t, path)
	defer shut(t, s)
	size := func() int64 {
		info, err := os.Stat(path + ".wal")
		if errors.Is(err, fs.ErrNotExist) { // all is in the file
			return 0
		}
		if err != nil {
			t.Fatal(err)
		}
		return info.Size()
	}
	at := uint64(0)
	for ; at == 0 || size() < checkpointLive; at += 4000 {
		write(t, s, run(at, at+4000))
	}
	s.room = func(string) (int64, error) { return 2*size() + checkpointRoom - 1, nil }
	write(t, s, run(at, at+1))
	if size() < checkpointLive {
		t.Error("the log was moved without room for it")
	}
	if lines, err := s.Lines(t.Context(), reports.Query{Firm: firm}); err != nil || len(lines) != int(at+1)*factsOfCommit {
		t.Errorf("%d facts, %v", len(lines), err)
	}
	lost := errors.New("the disk is gone")
	s.room = func(string) (int64, error) { return 0, lost }
	if err := s.Write(t.Context(), run(at+1, at+2)); !errors.Is(err, lost) {
		t.Errorf("without an answer of the disk: %v", err)
	}
	s.room = roomOf
	write(t, s, run(at+2, at+3))
	if size() >= checkpointLive {
		t.Errorf("with room the log is left with %d MiB", size()>>20)
	}
	holds(t, s, at+3)
}

// TestOpenedAgain lets DuckDB meet the end of the disk while it moves its log into the file,
// by a limit that the system sets to the size of files. The call that meets it says so; the
// next ones read and write as before.
func TestOpenedAgain(t *testing.T) {
	path := filepath.Join(t.TempDir(), "facts.duckdb")
	s := open(t, path)
	defer shut(t, s)
	write(t, s, run(0, 4000))
	info, err := os.Stat(path)
	if err != nil {
		t.Fatal(err)
	}
	limited(t, uint64(info.Size()), func() {
		if err := s.failed(s.settle(t.Context(), 0)); !errors.Is(err, ErrStopped) {
			t.Fatalf("the file grew beyond its limit: %v", err)
		}
		var readers sync.WaitGroup
		for range 2 * readersMax {
			readers.Go(func() {
				if at, err := s.Position(t.Context(), 1); err != nil || at != 4000 {
					t.Errorf("to read, nothing needs room: %d, %v", at, err)
				}
			})
		}
		readers.Wait()
	})
	holds(t, s, 4000)
	write(t, s, run(4000, 4001))
	if err := s.failed(s.settle(t.Context(), 0)); err != nil {
		t.Errorf("with room: %v", err)
	}
	holds(t, s, 4001)
}

// TestNoRoomToWrite: a write for which the disk has no room leaves nothing, says so, and can
// be made again when there is room, without the store being opened anew.
func TestNoRoomToWrite(t *testing.T) {
	path := filepath.Join(t.TempDir(), "facts.duckdb")
	s := open(t, path)
	defer shut(t, s)
	write(t, s, run(0, 400))
	info, err := os.Stat(path + ".wal")
	if err != nil {
		t.Fatal(err)
	}
	limited(t, uint64(info.Size())+1000, func() {
		for range 2 {
			if err := s.Write(t.Context(), run(400, 800)); !errors.Is(err, ErrUnwritten) || events.CodeOf(err) != events.Unavailable {
				t.Errorf("the log of the file grew beyond its limit: %v", err)
			}
		}
		holds(t, s, 400)
	})
	write(t, s, run(400, 800))
	holds(t, s, 800)
}

// limited runs work while this process may make no file larger than so many bytes.
func limited(t *testing.T, bytes uint64, work func()) {
	t.Helper()
	signal.Ignore(syscall.SIGXFSZ) // so that a write that goes beyond fails, as on a full disk
	defer signal.Reset(syscall.SIGXFSZ)
	var usual syscall.Rlimit
	if err := syscall.Getrlimit(syscall.RLIMIT_FSIZE, &usual); err != nil {
		t.Fatal(err)
	}
	less := usual
	less.Cur = bytes
	if err := syscall.Setrlimit(syscall.RLIMIT_FSIZE, &less); err != nil {
		t.Fatal(err)
	}
	defer func() {
		if err := syscall.Setrlimit(syscall.RLIMIT_FSIZE, &usual); err != nil {
			t.Fatal(err)
		}
	}()
	work()
}

// TestStopped gives what DuckDB said on a disk of 24 MB that was filled.
func TestStopped(t *testing.T) {
	for _, said := range []engineError{
		`FATAL Error: Failed to create checkpoint because of error: Could not write file "f": No space left on device`,
		"FATAL Error: Failed: database has been invalidated because of a previous fatal error. The database must be " +
			"restarted prior to being used again.",
	} {
		err := damage(fmt.Errorf("read position: %w", said))
		var told *events.Error
		if !errors.Is(err, ErrStopped) || !errors.Is(err, said) || !errors.As(err, &told) || told.Code != events.Unavailable {
			t.Errorf("%s: %v", said, err)
		}
	}
	if err := damage(engineError("Out of Memory Error: none")); errors.Is(err, ErrStopped) {
		t.Error(err)
	}
}
