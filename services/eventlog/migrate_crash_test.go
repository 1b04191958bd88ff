package eventlog

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
)

// Variables that turn the test binary into the process that is killed.
const (
	migrateFolder = "EVENTLOG_MIGRATE_FOLDER"
	migrateTarget = "EVENTLOG_MIGRATE_TARGET"
)

// TestMigrateKilled kills a process that moves a log at many moments, of checking,
// copying and comparing. What it left behind is always the beginning of the log, and
// the next one goes on from there.
func TestMigrateKilled(t *testing.T) {
	if dir := os.Getenv(migrateFolder); dir != "" {
		migrateUntilKilled(t, dir, os.Getenv(migrateTarget))
		return
	}
	t.Parallel()
	dir, all := movable(t)
	to := Config{URL: startExternal(t).url(), MaxBytes: 64 << 20}
	l := open(t, to)
	n := len(all)
	had := 0
	for _, step := range []struct {
		name   string
		enough int
	}{
		{"check", 1}, {"check", n / 2}, {"copy", 1}, {"copy", 100}, {"copy", 201}, {"check", n}, {"copy", 55},
		{"compare", 20},
	} {
		killIn(t, dir, to.URL, step.name, step.enough)
		there := everything(t, l)
		if len(there) < had {
			t.Fatalf("%d commits are there, and were %d", len(there), had)
		}
		had = len(there)
		for _, s := range there {
			kept, err := all.Commits(t.Context(), s.Partition, s.Sequence-1, 1)
			if err != nil || len(kept) != 1 || !sameCommit(kept[0], s) {
				t.Fatalf("sequence %d of partition %d is not what was moved (%v)", s.Sequence, s.Partition, err)
			}
		}
		if _, err := os.Stat(filepath.Join(dir, movedName)); !errors.Is(err, os.ErrNotExist) {
			t.Fatalf("the log was given up by a process that was killed in %s: %v", step.name, err)
		}
	}
	t.Logf("%d of %d commits are there after the last kill", had, n)
	report, err := Migrate(t.Context(), Config{Dir: dir}, to, all, nil)
	if err != nil || report.Commits != uint64(n) || report.Copied != uint64(n-had) {
		t.Fatalf("the report is %+v, %v", report, err)
	}
	wantMoved(t, dir, to, all)
}

// killIn runs the process and kills it once it has said a step that often. Where so
// much is left that it cannot come there, the test is wrong.
func killIn(t *testing.T, dir, target, step string, enough int) {
	t.Helper()
	child := exec.Command(os.Args[0], "-test.run=^TestMigrateKilled$", "-test.v=false")
	child.Env = append(os.Environ(), migrateFolder+"="+dir, migrateTarget+"="+target)
	child.Stderr = os.Stderr
	out, err := child.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	in, err := child.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := child.Start(); err != nil {
		t.Fatal(err)
	}
	said, last := 0, ""
	for scanner := bufio.NewScanner(out); scanner.Scan(); {
		last = scanner.Text()
		if strings.HasPrefix(last, step+" ") {
			said++
		}
		if said == enough {
			err = child.Process.Kill()
		} else if _, err = io.WriteString(in, "\n"); errors.Is(err, syscall.EPIPE) {
			err = nil // it ended, and what it said last is left to be read
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	if err := child.Wait(); err == nil || said < enough {
		t.Fatalf("the process ended by itself after %d times %s: %v: %s", said, step, err, last)
	}
}

// migrateUntilKilled says every commit of every step on standard output, and waits to
// be told to go on.
func migrateUntilKilled(t *testing.T, dir, target string) {
	to := Config{URL: target, MaxBytes: 64 << 20}
	told := bufio.NewReader(os.Stdin)
	_, err := Migrate(t.Context(), Config{Dir: dir}, to, nil, func(step string, done, total uint64) {
		fmt.Println(step, done, total)
		if _, err := told.ReadByte(); err != nil {
			t.Error(err)
		}
	})
	t.Fatalf("the process was to be killed before it ends: %v", err)
}
