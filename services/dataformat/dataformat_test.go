package dataformat

import (
	"context"
	"errors"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

func must(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// climber upgrades a folder by three steps, and notes what is done.
type climber struct {
	Upgrading
	done    []string
	failing string // what fails, once
}

func newClimber(t *testing.T, folder string) *climber {
	c := &climber{}
	note := func(what string) error {
		c.done = append(c.done, what)
		if c.failing == what {
			c.failing = ""
			return errors.New("the machine was switched off")
		}
		return nil
	}
	c.Upgrading = Upgrading{Folder: folder, Program: "v0.3.0", Logger: slog.New(slog.DiscardHandler),
		Lock: func() (io.Closer, error) { return io.NopCloser(nil), nil },
		Copy: func(_ context.Context, into string) error {
			must(t, os.WriteFile(filepath.Join(into, "copy"), []byte("whole"), 0o600))
			return note("copy")
		}}
	for to := 2; to <= 4; to++ {
		name := "step " + string(rune('0'+to))
		c.Steps = append(c.Steps, Step{to, "a test", func(_ context.Context, in string) error {
			if in != folder {
				t.Errorf("%s of %s", name, in)
			}
			return note(name)
		}})
	}
	return c
}

// TestSteps: a fresh folder needs none; one that does not say is of format 1, is copied
// once and goes through all steps; one that broke off goes on where it was.
func TestSteps(t *testing.T) {
	for name, test := range map[string]struct {
		have    int // 0: the folder is fresh; 1: it does not say
		failing string
		first   []string // until it breaks off
		then    []string
	}{
		"fresh":          {have: 0},
		"old":            {have: 1, then: []string{"copy", "step 2", "step 3", "step 4"}},
		"between":        {have: 3, then: []string{"copy", "step 4"}},
		"up to date":     {have: 4},
		"copy fails":     {1, "copy", []string{"copy"}, []string{"copy", "step 2", "step 3", "step 4"}},
		"a step fails":   {1, "step 2", []string{"copy", "step 2"}, []string{"step 2", "step 3", "step 4"}},
		"a later, fails": {2, "step 4", []string{"copy", "step 3", "step 4"}, []string{"copy", "step 4"}},
	} {
		t.Run(name, func(t *testing.T) {
			folder := t.TempDir()
			if test.have > 0 {
				must(t, os.WriteFile(filepath.Join(folder, "tokens.json"), nil, 0o600))
			}
			if test.have > 1 {
				must(t, Write(folder, test.have, "v0.2.0"))
			}
			c := newClimber(t, folder)
			c.failing = test.failing
			if err := c.Open(t.Context()); (err != nil) != (test.failing != "") {
				t.Fatalf("the first time: %v", err)
			}
			if test.failing != "" {
				if !slices.Equal(c.done, test.first) {
					t.Fatalf("until it broke off: %v, want %v", c.done, test.first)
				}
				c.done = nil
				must(t, c.Open(t.Context()))
			}
			if !slices.Equal(c.done, test.then) {
				t.Errorf("done: %v, want %v", c.done, test.then)
			}
			if have, err := read(folder, 4); err != nil || have != 4 {
				t.Errorf("format %d in the end, %v", have, err)
			}
			c.done = nil
			if must(t, c.Open(t.Context())); len(c.done) > 0 {
				t.Errorf("done again: %v", c.done)
			}
		})
	}
}

// TestNewer: what a newer program wrote is refused, and the version is named.
func TestNewer(t *testing.T) {
	folder := t.TempDir()
	must(t, Write(folder, Current+1, "v9.1.0"))
	var newer *NewerError
	if _, err := Read(folder); !errors.As(err, &newer) || !strings.Contains(err.Error(), "use daysheet v9.1.0 or newer") {
		t.Errorf("read: %v", err)
	}
	if err := (Upgrading{Folder: folder, Steps: Steps()}).Open(t.Context()); !errors.As(err, &newer) {
		t.Errorf("open: %v", err)
	}
	for _, bad := range []string{"", "{}", `{"format": -1}`, `{"format": "one"}`} {
		must(t, os.WriteFile(filepath.Join(folder, FileName), []byte(bad), 0o600))
		if have, err := Read(folder); err == nil {
			t.Errorf("%q is taken for format %d", bad, have)
		}
	}
}

// TestStepsLeadToCurrent: without gaps.
func TestStepsLeadToCurrent(t *testing.T) {
	at := 1
	for _, s := range Steps() {
		if at++; s.To != at {
			t.Errorf("a step leads to %d, want %d", s.To, at)
		}
	}
	if at != Current {
		t.Errorf("the steps lead to format %d, and the current is %d", at, Current)
	}
}

// TestHalfRestored: nobody but the next restore opens such a folder, and a restore
// leaves alone what is not its own.
func TestHalfRestored(t *testing.T) {
	folder := filepath.Join(t.TempDir(), "data")
	must(t, Begin(folder))
	must(t, os.MkdirAll(filepath.Join(folder, "log", "deep"), 0o700))
	var half *HalfError
	if _, err := Read(folder); !errors.As(err, &half) {
		t.Errorf("read: %v", err)
	}
	if err := (Upgrading{Folder: folder}).Open(t.Context()); !errors.As(err, &half) {
		t.Errorf("open: %v", err)
	}
	must(t, Begin(folder))
	if entries, err := os.ReadDir(folder); err != nil || len(entries) != 1 {
		t.Errorf("left over: %v, %v", entries, err)
	}
	must(t, Write(folder, 1, "v0.1.0"))
	must(t, End(folder))
	if have, err := Read(folder); err != nil || have != 1 {
		t.Errorf("in the end: %d, %v", have, err)
	}
	if err := Begin(folder); err == nil || !strings.Contains(err.Error(), "it holds format.json") {
		t.Errorf("over a ledger: %v", err)
	}
}
