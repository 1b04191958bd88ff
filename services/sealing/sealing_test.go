package sealing

import (
	"bytes"
	"encoding/base64"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"daysheet/events"
	"daysheet/services/listfile"
)

func must(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

type person struct{ Name string }

func open(t *testing.T, folder string) *Keys {
	t.Helper()
	k, err := OpenKeys(folder)
	must(t, err)
	return k
}

func place() Place {
	return Place{Firm: "north", Customer: "c-1", Job: events.FirmJob, Event: "event-0001", Part: PartCustomer}
}

func seal(t *testing.T, k *Keys, p Place, name string) events.Sealed {
	t.Helper()
	s, err := k.Seal(p, person{name})
	must(t, err)
	return s
}

func TestSealAndOpen(t *testing.T) {
	folder := filepath.Join(t.TempDir(), "keys")
	k := open(t, folder)
	sealed := seal(t, k, place(), "Invented Iris")
	e := events.Event{ID: "event-0001", Source: "/t", Type: events.CustomerRecorded, Subject: events.FirmJob,
		Time: "2026-03-04T16:20:00Z", Data: fmt.Appendf(nil, `{"customer":"c-1","sealed":{"algorithm":%q,"key":%q,"box":%q}}`,
			sealed.Algorithm, sealed.Key, sealed.Box)}
	must(t, e.Validate())
	var got person
	must(t, open(t, folder).Open(place(), sealed, &got))
	if got.Name != "Invented Iris" {
		t.Errorf("opened %+v", got)
	}
	again := seal(t, k, place(), "Invented Iris")
	if again.Box == sealed.Box {
		t.Error("the same value was sealed twice to the same bytes: the nonce is not new")
	}
	if len(again.Box) != len(seal(t, k, place(), "Al").Box) {
		t.Error("the length tells a short name from a long one")
	}
	info, err := os.Stat(filepath.Join(folder, "north", "c-1"))
	must(t, err)
	if info.Mode().Perm() != 0o600 {
		t.Errorf("the key has mode %o", info.Mode().Perm())
	}
	if _, err := k.Seal(place(), strings.Repeat("x", 33<<10)); events.CodeOf(err) != events.Invalid {
		t.Errorf("what is too large for an event: %v", err)
	}
}

// TestWhatWasMovedDoesNotOpen changes one part of the place at a time, and one bit of
// the box.
func TestWhatWasMovedDoesNotOpen(t *testing.T) {
	k := open(t, t.TempDir())
	sealed := seal(t, k, place(), "Invented Iris")
	raw, err := os.ReadFile(filepath.Join(k.folder, "north", "c-1"))
	must(t, err)
	for _, other := range []string{"north/c-2", "south/c-1"} { // even with the same key
		must(t, os.MkdirAll(filepath.Join(k.folder, filepath.Dir(other)), 0o700))
		must(t, os.WriteFile(filepath.Join(k.folder, other), raw, 0o600))
	}
	for what, change := range map[string]func(*Place){
		"firm": func(p *Place) { p.Firm = "south" }, "customer": func(p *Place) { p.Customer = "c-2" },
		"job": func(p *Place) { p.Job = "stair-1" }, "event": func(p *Place) { p.Event = "event-0002" },
		"part": func(p *Place) { p.Part = PartSignature },
	} {
		p := place()
		change(&p)
		if err := k.Open(p, sealed, &person{}); !errors.As(err, new(*MovedError)) {
			t.Errorf("moved to another %s: %v", what, err)
		}
	}
	box, err := base64.StdEncoding.DecodeString(sealed.Box)
	must(t, err)
	for i := range box {
		changed := bytes.Clone(box)
		changed[i] ^= 1
		s := events.Sealed{Algorithm: sealed.Algorithm, Key: sealed.Key, Box: base64.StdEncoding.EncodeToString(changed)}
		if err := k.Open(place(), s, &person{}); !errors.As(err, new(*MovedError)) {
			t.Fatalf("byte %d changed: %v", i, err)
		}
	}
}

func TestALostKeyIsASentence(t *testing.T) {
	k := open(t, t.TempDir())
	sealed := seal(t, k, place(), "Invented Iris")
	path := filepath.Join(k.folder, "north", "c-1")
	whole, err := os.ReadFile(path)
	must(t, err)
	for name, spoil := range map[string]func() error{
		"gone":    func() error { return os.Remove(path) },
		"cut":     func() error { return os.WriteFile(path, whole[:20], 0o600) },
		"empty":   func() error { return os.WriteFile(path, nil, 0o600) },
		"zeros":   func() error { return os.WriteFile(path, make([]byte, len(whole)), 0o600) },
		"another": func() error { return os.WriteFile(path, encodeKey(make([]byte, 32)), 0o600) },
	} {
		must(t, spoil())
		err := k.Open(place(), sealed, &person{})
		if sentence, ok := Unreadable(err); !ok || !strings.Contains(sentence, "the key of customer c-1 ") ||
			!strings.Contains(sentence, "restored from a backup") {
			t.Errorf("%s: %v", name, err)
		}
		must(t, os.WriteFile(path, whole, 0o600))
	}
	must(t, k.Open(place(), sealed, &person{}))
	must(t, os.WriteFile(path, whole[:20], 0o600))
	if _, err := k.Seal(place(), person{"x"}); !errors.As(err, new(*LostError)) {
		t.Errorf("sealing with a damaged key: %v", err)
	}
}

// TestErase: the key is gone from the disk, no other is made, and a second process
// knows.
func TestErase(t *testing.T) {
	folder := t.TempDir()
	k, other := open(t, folder), open(t, folder)
	sealed := seal(t, k, place(), "Invented Iris")
	raw, err := os.ReadFile(filepath.Join(folder, "north", "c-1"))
	must(t, err)
	keep, err := os.OpenFile(filepath.Join(folder, "north", "c-1"), os.O_RDONLY, 0) // sees what the file held at last
	must(t, err)
	defer keep.Close()
	for _, day := range []events.Day{"2026-09-14", "2026-10-01"} {
		must(t, k.Erase("north", "c-1", day))
	}
	for _, keys := range []*Keys{k, other, open(t, folder)} {
		err := keys.Open(place(), sealed, &person{})
		if sentence, ok := Unreadable(err); !ok || sentence != "erased on 2026-09-14" {
			t.Errorf("opened with %v", err)
		}
		if _, err := keys.Seal(place(), person{"x"}); !errors.As(err, new(*ErasedError)) {
			t.Errorf("sealed with %v", err)
		}
		if has, err := keys.Has("north", "c-1"); has || err != nil {
			t.Errorf("has a key: %v, %v", has, err)
		}
	}
	last := make([]byte, len(raw))
	_, err = keep.ReadAt(last, 0)
	must(t, err)
	if !bytes.Equal(last, make([]byte, len(raw))) {
		t.Errorf("the file was removed with its content: %q", last)
	}
	// Another customer, and another firm's customer with the same key, are not touched.
	for _, p := range []Place{{"north", "c-2", "firm", "event-0001", "x"}, {"south", "c-1", "firm", "event-0001", "x"}} {
		must(t, open(t, folder).Open(p, seal(t, k, p, "Invented Otto"), &person{}))
	}
	for _, bad := range [][2]string{{"../north", "c-2"}, {"north", "../../etc"}, {"north", ""}, {"North", "c-2"}} {
		if err := k.Erase(bad[0], bad[1], "2026-09-14"); events.CodeOf(err) != events.Invalid {
			t.Errorf("%q: %v", bad, err)
		}
	}
}

// TestABrokenOffErasureIsFinished puts a customer on the list and leaves the key, as a
// crash between the two does.
func TestABrokenOffErasureIsFinished(t *testing.T) {
	folder := t.TempDir()
	k := open(t, folder)
	seal(t, k, place(), "Invented Iris")
	must(t, k.erased.Change(func(l []Erasure) ([]Erasure, error) { return append(l, Erasure{"north", "c-1", "2026-09-14"}), nil }))
	open(t, folder)
	if _, err := os.Stat(filepath.Join(folder, "north", "c-1")); !os.IsNotExist(err) {
		t.Errorf("the key is still there: %v", err)
	}
}

// TestSealWhileErasing: whoever comes first, no key is left in the end.
func TestSealWhileErasing(t *testing.T) {
	folder := t.TempDir()
	for n := range 30 {
		p := place()
		p.Customer = fmt.Sprintf("c-%d", n)
		var working sync.WaitGroup
		for _, k := range []*Keys{open(t, folder), open(t, folder)} {
			working.Go(func() {
				if _, err := k.Seal(p, person{"Invented Iris"}); err != nil && !errors.As(err, new(*ErasedError)) {
					t.Errorf("seal: %v", err)
				}
			})
		}
		working.Go(func() {
			if err := open(t, folder).Erase(p.Firm, p.Customer, "2026-09-14"); err != nil {
				t.Errorf("erase: %v", err)
			}
		})
		working.Wait()
		if _, err := os.Stat(filepath.Join(folder, p.Firm, p.Customer)); !os.IsNotExist(err) {
			t.Fatalf("the key of %s is left: %v", p.Customer, err)
		}
	}
	left, err := filepath.Glob(filepath.Join(folder, "north", ".*"))
	must(t, err)
	if len(left) > 0 {
		t.Errorf("left behind: %v", left)
	}
}

// copyOf copies a folder as a backup does.
func copyOf(t *testing.T, folder string) string {
	t.Helper()
	to := t.TempDir()
	must(t, os.CopyFS(to, os.DirFS(folder)))
	return to
}

// TestARestoreBringsNobodyBack restores a backup from before an erasure into the
// folder, into an empty one with the list from elsewhere, and into an empty one
// without it, which is what cannot be helped.
func TestARestoreBringsNobodyBack(t *testing.T) {
	folder := t.TempDir()
	k := open(t, folder)
	sealed := map[string]events.Sealed{}
	for _, customer := range []string{"c-1", "c-2", "c-3"} {
		p := place()
		p.Customer = customer
		sealed[customer] = seal(t, k, p, "Invented "+customer)
	}
	must(t, k.Erase("north", "c-3", "2026-01-05"))
	backup := copyOf(t, folder)
	must(t, k.Erase("north", "c-1", "2026-09-14"))
	must(t, os.Remove(filepath.Join(folder, "north", "c-2"))) // lost
	list, err := listfile.New[Erasure](filepath.Join(copyOf(t, folder), erasedFile), "erased").Items()
	must(t, err)

	empty := t.TempDir()
	for name, test := range map[string]struct {
		into string
		also []Erasure
	}{"in place": {folder, nil}, "on an empty machine": {empty, list}} {
		into := open(t, test.into)
		done, err := into.Restore(backup, test.also)
		must(t, err)
		if done.Keys != 1 || done.Kept != 0 || len(done.Withheld) != 1 || done.Withheld[0] != (Erasure{"north", "c-1", "2026-09-14"}) {
			t.Errorf("%s: %+v", name, done)
		}
		for customer, want := range map[string]string{"c-1": "erased on 2026-09-14", "c-2": "", "c-3": "erased on 2026-01-05"} {
			p := place()
			p.Customer = customer
			if sentence, _ := Unreadable(into.Open(p, sealed[customer], &person{})); sentence != want {
				t.Errorf("%s: %s opens with %q, want %q", name, customer, sentence, want)
			}
		}
		if done, err = into.Restore(backup, nil); err != nil || done.Keys != 0 || done.Kept != 1 {
			t.Errorf("%s, again: %+v, %v", name, done, err)
		}
	}
	must(t, os.WriteFile(filepath.Join(folder, "north", "c-2"), []byte("damaged"), 0o600))
	if done, err := k.Restore(backup, nil); err != nil || done.Keys != 1 {
		t.Errorf("over a damaged key: %+v, %v", done, err)
	}
	firms, err := k.Firms()
	must(t, err)
	if len(firms) != 1 || firms[0] != "north" {
		t.Errorf("firms %v", firms)
	}
}
