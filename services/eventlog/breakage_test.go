package eventlog

import (
	"errors"
	"log/slog"
	"strings"
	"syscall"
	"testing"

	"daysheet/events"
)

// TestADiskThatFailsIsSaidAtOnce gives the log the line that its server writes on a disk
// without room. The faults of scripts/chaos fill a real one.
func TestADiskThatFailsIsSaidAtOnce(t *testing.T) {
	l := open(t, Config{Dir: t.TempDir()})
	record(t, l, testFirm, testJob, opening(testJob))
	server := &bridge{logger: slog.New(slog.DiscardHandler), broken: l.inside.broken}
	server.Errorf("JetStream stream '%s' is slow", "LEDGER_00")
	if err := l.Health(t.Context()); err != nil {
		t.Errorf("a line of another kind is taken for a failing disk: %v", err)
	}
	server.Errorf("JetStream stream '%s' critical write error: %s", "LEDGER_00", "no space left on device")
	server.Errorf("JetStream stream '%s' critical write error: %s", "LEDGER_01", "no space left on device")
	batch := []events.Event{event(bookingID(1), events.ConditionRecorded, testJob,
		events.Condition{Location: "Hall", Finding: "sound"})}
	// What was sent before must not be called recorded either: the server shows what it
	// could not bring to disk.
	for _, sent := range [][]events.Event{batch, {opening(testJob)}} {
		_, err := l.Record(t.Context(), testFirm, testJob, "crew", sent)
		wantCode(t, err, events.Unavailable, "disk is full or failing", "start daysheet again")
	}
	wantCode(t, l.Health(t.Context()), events.Unavailable, "disk is full or failing")
	if n := len(commits(t, l, testFirm, testJob, 0)); n != 1 {
		t.Errorf("%d commits can be read, want the 1 that was acknowledged", n)
	}
}

// TestANewLogOnADiskThatFills: nobody waits for answers that cannot come, and the error is
// the system's.
func TestANewLogOnADiskThatFills(t *testing.T) {
	l := open(t, Config{Dir: t.TempDir()})
	record(t, l, testFirm, testJob, opening(testJob))
	s := commits(t, l, testFirm, testJob, 0)[0]
	for says, want := range map[string]error{
		"write /data/log/1.blk: no space left on device": syscall.ENOSPC,
		"sync /data/log/1.blk: input/output error":       syscall.EIO,
		"something else": nil,
	} {
		w, err := NewWriter(t.Context(), Config{Dir: t.TempDir()})
		if err != nil {
			t.Fatal(err)
		}
		if err := w.Add(t.Context(), s); err != nil {
			t.Fatal(err)
		}
		server := &bridge{logger: slog.New(slog.DiscardHandler), broken: w.log.inside.broken}
		server.Errorf("JetStream stream '%s' critical write error: %s", "LEDGER_00", says)
		err = w.Close(t.Context())
		if err == nil || !strings.HasSuffix(err.Error(), says) || want != nil && !errors.Is(err, want) {
			t.Errorf("the new log is closed with %v, want %s", err, says)
		}
	}
}
