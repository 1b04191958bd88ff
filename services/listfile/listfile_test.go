package listfile

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
)

type entry struct {
	Name string `json:"name"`
}

func must(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

func add(name string) func([]entry) ([]entry, error) {
	return func(items []entry) ([]entry, error) { return append(items, entry{name}), nil }
}

// TestTwoProcessesLoseNothing has two lists on one file, as two processes have.
func TestTwoProcessesLoseNothing(t *testing.T) {
	path := filepath.Join(t.TempDir(), "entries.json")
	lists := []*List[entry]{New[entry](path, "entries"), New[entry](path, "entries")}
	const each = 20
	var working sync.WaitGroup
	for n, l := range lists {
		working.Go(func() {
			for i := range each {
				if err := l.Change(add(fmt.Sprintf("%d-%d", n, i))); err != nil {
					t.Error(err)
				}
			}
		})
	}
	working.Wait()
	for _, l := range append(lists, New[entry](path, "entries")) {
		items, err := l.Items()
		must(t, err)
		if len(items) != 2*each {
			t.Errorf("%d items, want %d", len(items), 2*each)
		}
	}
	info, err := os.Stat(path)
	must(t, err)
	if info.Mode().Perm() != 0o600 {
		t.Errorf("the file has mode %o", info.Mode().Perm())
	}
}

func TestARefusedChangeWritesNothing(t *testing.T) {
	l := New[entry](filepath.Join(t.TempDir(), "entries.json"), "entries")
	refusal := errors.New("no")
	if err := l.Change(func([]entry) ([]entry, error) { return nil, refusal }); !errors.Is(err, refusal) {
		t.Errorf("got %v", err)
	}
	if _, err := os.Stat(l.Path()); !os.IsNotExist(err) {
		t.Errorf("there is a file: %v", err)
	}
}

// TestWhatIsNotUnderstoodIsLeftAlone: a list that was damaged, or written by another
// version, is an error, and is not written over.
func TestWhatIsNotUnderstoodIsLeftAlone(t *testing.T) {
	l := New[entry](filepath.Join(t.TempDir(), "entries.json"), "entries")
	must(t, l.Change(add("first")))
	whole, err := os.ReadFile(l.Path())
	must(t, err)
	for name, content := range map[string]string{
		"empty": "", "cut": string(whole[:len(whole)/2]), "twice": string(whole) + string(whole), "a list": "[]",
		"newer":          strings.Replace(string(whole), `"version": 1`, `"version": 2`, 1),
		"no version":     strings.Replace(string(whole), `"version": 1`, `"colour": 1`, 1),
		"unknown member": strings.Replace(string(whole), `"name"`, `"colour"`, 1),
		"another list":   strings.Replace(string(whole), `"entries"`, `"others"`, 1),
	} {
		must(t, os.WriteFile(l.Path(), []byte(content), 0o600))
		if _, err := l.Items(); err == nil || !strings.Contains(err.Error(), l.Path()) {
			t.Errorf("%s: read with %v", name, err)
		}
		if err := l.Change(add("second")); err == nil {
			t.Errorf("%s: it was changed", name)
		}
		if now, err := os.ReadFile(l.Path()); err != nil || string(now) != content {
			t.Errorf("%s: the file was written over: %v", name, err)
		}
	}
}
