package photos

import (
	"bytes"
	"context"
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"

	"daysheet/events"
)

const north, south = "north", "south"

// put keeps a photo and returns its name.
func put(t testing.TB, f *Folder, firm string, raw []byte) string {
	t.Helper()
	if _, _, err := f.Put(t.Context(), firm, nameOf(raw), bytes.NewReader(raw)); err != nil {
		t.Fatal(err)
	}
	return nameOf(raw)
}

// files lists what is in a folder, half written files too.
func files(t testing.TB, root string) []string {
	t.Helper()
	var found []string
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err == nil && !d.IsDir() {
			found = append(found, strings.TrimPrefix(path, root+"/"))
		}
		if errors.Is(err, fs.ErrNotExist) {
			return nil
		}
		return err
	})
	must(t, err)
	return found
}

func TestKeptAndRead(t *testing.T) {
	root := t.TempDir()
	f := NewFolder(root, Limits{})
	raw := jpegOf(t, drawn(400, 300, 1))
	name := nameOf(raw)
	info, added, err := f.Put(t.Context(), north, name, bytes.NewReader(raw))
	must(t, err)
	want := Info{Digest: name, Type: "image/jpeg", Bytes: int64(len(raw)), Width: 400, Height: 300}
	if !added || info != want {
		t.Errorf("kept as %+v, added %v", info, added)
	}
	if got := files(t, root); len(got) != 1 || got[0] != "north/"+name[:2]+"/"+name {
		t.Errorf("the folder holds %v", got)
	}
	again, added, err := f.Put(t.Context(), north, name, bytes.NewReader(raw))
	if added || again != want || err != nil || len(files(t, root)) != 1 {
		t.Errorf("sent again: %+v, added %v, %v", again, added, err)
	}
	file, info, err := NewFolder(root, Limits{}).Open(t.Context(), north, name)
	must(t, err)
	got, err := io.ReadAll(file)
	if err := errors.Join(err, file.Close()); err != nil || !bytes.Equal(got, raw) || info != want {
		t.Errorf("read %d bytes of %+v: %v", len(got), info, err)
	}
	for _, c := range []struct{ firm, digest string }{{south, name}, {north, nameOf([]byte("another"))}} {
		if _, err := f.Stat(t.Context(), c.firm, c.digest); events.CodeOf(err) != events.NotFound {
			t.Errorf("%s %s: %v", c.firm, c.digest, err)
		}
	}
	for _, c := range []struct{ firm, digest string }{{"../north", name}, {".incoming", name}, {north, "../" + name[3:]},
		{north, strings.ToUpper(name)}, {north, name[:63]}, {"", name}} {
		if _, err := f.Stat(t.Context(), c.firm, c.digest); events.CodeOf(err) != events.Invalid {
			t.Errorf("%q %q: %v", c.firm, c.digest, err)
		}
	}
}

// TestNothingIsKeptOfARefusal: other bytes than the name says, too many, no photo, a
// sender who breaks off, no room.
func TestNothingIsKeptOfARefusal(t *testing.T) {
	root := t.TempDir()
	f := NewFolder(root, Limits{Bytes: 20 << 10, FirmBytes: 30 << 10})
	raw := jpegOf(t, drawn(400, 300, 1))
	large := jpegOf(t, drawn(2000, 1500, 1))
	page := []byte("<!doctype html>")
	broken := errors.New("the sender broke off")
	for _, c := range []struct {
		name, digest string
		body         io.Reader
		says         string
	}{
		{"other bytes", nameOf(page), bytes.NewReader(raw), nameOf(raw)},
		{"too many", nameOf(large), bytes.NewReader(large), "at most 20 KiB"},
		{"no photo", nameOf(page), bytes.NewReader(page), "none of them"},
		{"broken off", nameOf(raw), io.MultiReader(bytes.NewReader(raw[:100]), failing{broken}), broken.Error()},
	} {
		if _, _, err := f.Put(t.Context(), north, c.digest, c.body); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v", c.name, err)
		}
		if got := files(t, root); len(got) != 0 {
			t.Errorf("%s: the folder holds %v", c.name, got)
		}
	}
	ended, cancel := context.WithCancel(t.Context())
	cancel()
	if _, _, err := f.Put(ended, north, nameOf(raw), bytes.NewReader(raw)); !errors.Is(err, context.Canceled) || len(files(t, root)) != 0 {
		t.Errorf("nobody waits any more: %v, %v", err, files(t, root))
	}
}

type failing struct{ err error }

func (f failing) Read([]byte) (int, error) { return 0, f.err }

// TestRoomOfAFirm fills a firm's room; other firms have theirs, and what is there
// already can be sent again.
func TestRoomOfAFirm(t *testing.T) {
	root := t.TempDir()
	first, second := pngOf(t, drawn(100, 80, 1)), pngOf(t, drawn(100, 80, 2))
	limits := Limits{FirmBytes: int64(len(first)+len(second)) - 1}
	f := NewFolder(root, limits)
	put(t, f, north, first)
	for _, f := range []*Folder{f, NewFolder(root, limits)} { // also after a start
		if _, _, err := f.Put(t.Context(), north, nameOf(second), bytes.NewReader(second)); !errors.Is(err, ErrNoRoom) {
			t.Errorf("beyond the room: %v", err)
		}
	}
	put(t, f, north, first)
	put(t, f, south, second)
	if got := files(t, root); len(got) != 2 {
		t.Errorf("the folder holds %v", got)
	}
}

// TestTheSameAtOnce sends one photo many times at once, to two processes that share
// the folder: it is kept once, and no process says that it is new twice.
func TestTheSameAtOnce(t *testing.T) {
	root := t.TempDir()
	raw := jpegOf(t, drawn(200, 100, 1))
	folders := []*Folder{NewFolder(root, Limits{}), NewFolder(root, Limits{})}
	var added [2]atomic.Int32
	var all sync.WaitGroup
	for n := range 16 {
		all.Go(func() {
			_, isNew, err := folders[n%2].Put(t.Context(), north, nameOf(raw), bytes.NewReader(raw))
			if err != nil {
				t.Error(err)
			}
			if isNew {
				added[n%2].Add(1)
			}
		})
	}
	all.Wait()
	a, b := added[0].Load(), added[1].Load()
	if got := files(t, root); len(got) != 1 || a > 1 || b > 1 || a+b == 0 {
		t.Errorf("new %d and %d times, the folder holds %v", a, b, got)
	}
	if got, err := digestOf(filepath.Join(root, north, nameOf(raw)[:2], nameOf(raw))); err != nil || got != nameOf(raw) {
		t.Errorf("kept as %s: %v", got, err)
	}
}

// TestDamageIsMendedBySendingAgain flips a bit of a kept photo.
func TestDamageIsMendedBySendingAgain(t *testing.T) {
	root := t.TempDir()
	f := NewFolder(root, Limits{})
	raw := jpegOf(t, drawn(200, 100, 1))
	name := put(t, f, north, raw)
	path := filepath.Join(root, north, name[:2], name)
	flipped := append([]byte{}, raw...)
	flipped[len(flipped)/2] ^= 1
	must(t, os.WriteFile(path, flipped, 0o600))
	nothing := func(func(*events.Commit) error) error { return nil }
	report, err := f.Check(t.Context(), nothing)
	if err != nil || report.Photos != 1 || len(report.Findings) != 1 || !strings.Contains(report.Findings[0], name) {
		t.Errorf("check found %+v: %v", report, err)
	}
	if _, added, err := f.Put(t.Context(), north, name, bytes.NewReader(raw)); !added || err != nil {
		t.Errorf("sent again: added %v, %v", added, err)
	}
	if report, err := f.Check(t.Context(), nothing); err != nil || len(report.Findings) != 0 {
		t.Errorf("check found %+v: %v", report, err)
	}
	must(t, os.WriteFile(path, []byte("no picture"), 0o600))
	if _, err := f.Stat(t.Context(), north, name); !errors.Is(err, ErrDamaged) || events.CodeOf(err) != events.Internal {
		t.Errorf("a photo that is none any more: %v", err)
	}
	must(t, os.WriteFile(filepath.Join(root, "notes.txt"), nil, 0o600))
	if report, err := f.Check(t.Context(), nothing); err != nil || len(report.Findings) != 2 {
		t.Errorf("check found %+v: %v", report, err)
	}
}

// TestDiskSaysNo checks the sentences for a disk that takes nothing.
func TestDiskSaysNo(t *testing.T) {
	raw := jpegOf(t, drawn(40, 30, 1))
	root := filepath.Join(t.TempDir(), "photos")
	must(t, os.WriteFile(root, nil, 0o600))
	_, _, err := NewFolder(root, Limits{}).Put(t.Context(), north, nameOf(raw), bytes.NewReader(raw))
	if events.CodeOf(err) != events.Unavailable || !errors.Is(err, syscall.ENOTDIR) || !strings.Contains(err.Error(), "a file stands") {
		t.Errorf("a file in the way: %v", err)
	}
	for _, c := range []struct {
		cause error
		says  string
	}{{syscall.ENOSPC, "disk is full"}, {syscall.EDQUOT, "disk is full"}, {syscall.EROFS, "may not write"}} {
		err := writeError(&fs.PathError{Op: "write", Path: "photo", Err: c.cause})
		if events.CodeOf(err) != events.Unavailable || !errors.Is(err, c.cause) || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%v: %v", c.cause, err)
		}
	}
}
