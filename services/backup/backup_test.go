package backup

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"filippo.io/age"

	"daysheet/events"
	"daysheet/services/dataformat"
	"daysheet/services/eventlog"
	"daysheet/services/sealing"
)

// Everything in these tests is invented.

func must(tb testing.TB, err error) {
	tb.Helper()
	if err != nil {
		tb.Fatal(err)
	}
}

// ledger is a small ledger in memory and files.
type ledger struct {
	folder  string
	commits [eventlog.Partitions][]events.Stored
	heads   heads
}

func newLedger(tb testing.TB) *ledger {
	l := &ledger{folder: tb.TempDir(), heads: heads{}}
	for path, content := range map[string]string{"tokens.json": `{"version":1,"tokens":[]}`,
		"people.json":         `{"version":1,"people":[]}`,
		"access-changes.json": `{"version":1,"access_changes":[]}`, "signing/north.pem": "an invented key\n"} {
		must(tb, os.MkdirAll(filepath.Join(l.folder, filepath.Dir(path)), 0o700))
		must(tb, os.WriteFile(filepath.Join(l.folder, path), []byte(content), 0o600))
	}
	return l
}

// add records an event on a job as one commit.
func (l *ledger) add(tb testing.TB, firm, job string, kind events.Type, data string) {
	tb.Helper()
	before := l.heads[firm+"/"+job]
	c := events.Commit{Firm: firm, Job: job, Version: before.Version + 1, Previous: before.Hash, RecordedBy: "test",
		RecordedAt: time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC),
		Events: []events.Event{{ID: fmt.Sprintf("%s-%s-%04d", firm, job, before.Version+1), Source: "/tests", Type: kind,
			Subject: job, Time: "2026-03-02T08:00:00Z", Data: json.RawMessage(data)}}}
	raw, err := c.Encode()
	must(tb, err)
	p := eventlog.Partition(firm)
	s := events.Stored{Partition: p, Sequence: uint64(len(l.commits[p]) + 1), Raw: raw}
	l.commits[p] = append(l.commits[p], s)
	_, err = l.heads.next(s, true)
	must(tb, err)
}

// work records some hours.
func (l *ledger) work(tb testing.TB, jobs, hours int) {
	for n := range jobs {
		job := fmt.Sprintf("job-%d", n)
		if l.heads["north/"+job].Version == 0 {
			l.add(tb, "north", job, events.JobOpened, `{"job_type":"stairwell","title":"Invented"}`)
		}
		for range hours {
			l.add(tb, "north", job, events.HoursBooked, `{"grade":"painter","minutes":60,"person":"ada","task":"sand"}`)
			l.add(tb, "south", "job-0", events.HoursBooked, `{"grade":"painter","minutes":30,"person":"bo","task":"sand"}`)
		}
	}
}

// photo keeps a photo and returns its name.
func (l *ledger) photo(tb testing.TB, firm, content string) string {
	tb.Helper()
	sum := sha256.Sum256([]byte(content))
	digest := hex.EncodeToString(sum[:])
	path := filepath.Join(l.folder, "photos", firm, digest[:2], digest)
	must(tb, os.MkdirAll(filepath.Dir(path), 0o700))
	must(tb, os.WriteFile(path, []byte(content), 0o600))
	return firm + "/" + digest
}

func (l *ledger) keys(tb testing.TB) *sealing.Keys {
	tb.Helper()
	k, err := sealing.OpenKeys(filepath.Join(l.folder, "keys"))
	must(tb, err)
	return k
}

// customer makes the key of a customer.
func (l *ledger) customer(tb testing.TB, customer string) {
	tb.Helper()
	_, err := l.keys(tb).Seal(sealing.Place{Firm: "north", Customer: customer, Job: "firm", Event: "e-1", Part: "customer"}, "x")
	must(tb, err)
}

func placesIn(folder string) Places {
	in := func(name string) string { return filepath.Join(folder, name) }
	return Places{in("tokens.json"), in("people.json"), in("links.json"), in("access-changes.json"), in("signing"), in("keys")}
}

func (l *ledger) source() Source {
	root := filepath.Join(l.folder, "photos")
	return Source{Places: placesIn(l.folder), PhotosFolder: root,
		Photos: func(_ context.Context, visit func(string) error) error {
			if _, err := os.Stat(root); err != nil {
				return nil
			}
			return filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
				if err != nil || d.IsDir() {
					return err
				}
				relative, err := filepath.Rel(root, path)
				if err != nil {
					return err
				}
				return visit(relative)
			})
		},
		Commits: func(_ context.Context, p uint8, after uint64, use func(events.Stored) error) error {
			for _, s := range l.commits[p] {
				if s.Sequence > after {
					if err := use(s); err != nil {
						return err
					}
				}
			}
			return nil
		}}
}

// day is when the n-th archive is made.
func day(n int) time.Time { return time.Date(2026, 5, 1+n, 20, 0, 0, 0, time.UTC) }

// file writes the n-th archive of the ledger and returns where it and the keys are.
func (l *ledger) file(tb testing.TB, folder string, n int, since string, to ...age.Recipient) (path string, w Written) {
	tb.Helper()
	o := Options{Program: "v0.1.0", Now: day(n), Recipients: to}
	if since != "" {
		e, err := ReadEarlier(since, nil)
		must(tb, err)
		o.Since = e
	}
	path = filepath.Join(folder, fmt.Sprintf("archive-%d", n))
	w, _, err := WriteFiles(tb.Context(), path, path+".keys", l.source(), o)
	must(tb, err)
	return path, w
}

// restoring is how archives are restored into a folder.
func restoring(folder string, archives []string) Restoring {
	return Restoring{Archives: archives, Folder: folder, Program: "v0.1.0", Places: placesIn(folder),
		Log: func(ctx context.Context, bytes int64) (*eventlog.Writer, error) {
			return eventlog.NewWriter(ctx, eventlog.Config{Dir: filepath.Join(folder, "log"), MaxBytes: max(64<<20, 2*bytes)})
		},
		Photo:   keepPhoto(folder),
		Upgrade: func(context.Context) error { return nil }}
}

// restored restores archives into a new folder.
func restored(t *testing.T, change func(*Restoring), archives ...string) (folder string, done Restored, err error) {
	t.Helper()
	folder = filepath.Join(t.TempDir(), "data")
	r := restoring(folder, archives)
	if change != nil {
		change(&r)
	}
	done, err = Restore(t.Context(), r)
	return folder, done, err
}

// TestChain backs a ledger up three times, each time what is new, and restores all of it:
// the same commits under the same sequences, photos, access and keys. Each archive but
// the first is refused without those before.
func TestChain(t *testing.T) {
	l, folder := newLedger(t), t.TempDir()
	l.work(t, 3, 4)
	first := l.photo(t, "north", "an invented photo")
	l.customer(t, "c-1")
	whole, w := l.file(t, folder, 0, "")
	if !w.Whole || w.Photos != 1 || w.KeyCount != 1 || w.Commits == 0 {
		t.Errorf("the first: %+v", w)
	}
	all := w.Commits
	l.work(t, 4, 2)
	second := l.photo(t, "north", "another")
	broken := l.photo(t, "south", "a third")
	digest := strings.TrimPrefix(broken, "south/")
	must(t, os.WriteFile(filepath.Join(l.folder, "photos", "south", digest[:2], digest), []byte("damaged"), 0o600))
	l.customer(t, "c-2")
	next, w := l.file(t, folder, 1, whole)
	if w.Whole || w.Photos != 1 || w.KeyCount != 2 || len(w.Lacking) != 1 || w.Lacking[0] != broken {
		t.Errorf("the second: %+v", w)
	}
	all += w.Commits
	third, w := l.file(t, folder, 2, next)
	if w.Commits != 0 || w.Photos != 0 {
		t.Errorf("the third, with nothing new: %+v", w)
	}
	sum, err := Verify([]string{third, whole, third + ".keys", next}, nil)
	if err != nil || sum.Archives != 3 || sum.Commits != all || sum.Photos != 2 || sum.Keys != 2 || !sum.Proved || sum.Jobs != 5 {
		t.Errorf("verified: %+v, %v", sum, err)
	}
	if sum, err = Verify([]string{next}, nil); err != nil || sum.Proved {
		t.Errorf("one alone: %+v, %v", sum, err)
	}

	data, done, err := restored(t, nil, third+".keys", third, whole, next)
	must(t, err)
	if done.Commits != all || done.Photos != 2 || done.Keys.Keys != 2 || !done.Made.Equal(day(2)) {
		t.Errorf("restored: %+v", done)
	}
	l.sameIn(t, data, first, second)

	for name, bad := range map[string]struct {
		archives []string
		says     string
	}{
		"no whole one":      {[]string{next, third}, "which is not among those named"},
		"one is missing":    {[]string{whole, third}, "made on 2026-05-02"},
		"two whole ones":    {[]string{whole, l.whole(t, 5)}, "it is whole, and does not go on from"},
		"keys alone":        {[]string{third + ".keys"}, "only of keys"},
		"of another ledger": {[]string{whole, another(t)}, "it goes on from the archive"},
		"one twice":         {[]string{whole, next, next}, "it goes on from the archive"},
		"two ways on":       {[]string{whole, next, l.since(t, 3, whole)}, "it goes on from the archive"},
		"nothing named":     {nil, "no archive of a ledger is named"},
	} {
		if _, err := Verify(bad.archives, nil); len(bad.archives) > 1 && (err == nil || !strings.Contains(err.Error(), bad.says)) {
			t.Errorf("verify, %s: %v, want %q", name, err, bad.says)
		}
		if _, _, err := restored(t, nil, bad.archives...); err == nil || !strings.Contains(err.Error(), bad.says) {
			t.Errorf("%s: %v, want %q", name, err, bad.says)
		}
	}
}

// whole writes a whole archive into a folder of its own.
func (l *ledger) whole(t *testing.T, n int) string {
	path, _ := l.file(t, t.TempDir(), n, "")
	return path
}

// since writes an archive into a folder of its own that goes on from an earlier one.
func (l *ledger) since(t *testing.T, n int, earlier string) string {
	path, _ := l.file(t, t.TempDir(), n, earlier)
	return path
}

// another returns an archive of another ledger that goes on from an earlier one of it.
func another(t *testing.T) string {
	l, folder := newLedger(t), t.TempDir()
	l.work(t, 1, 1)
	first, _ := l.file(t, folder, 0, "")
	second, _ := l.file(t, folder, 1, first)
	return second
}

// sameIn compares the ledger with one that was restored.
func (l *ledger) sameIn(t *testing.T, data string, photos ...string) {
	t.Helper()
	files, err := eventlog.OpenFiles(filepath.Join(data, "log"))
	must(t, err)
	for p, want := range l.commits {
		n := 0
		must(t, files.Commits(t.Context(), uint8(p), 0, func(s events.Stored) error {
			if n < len(want) && (s.Sequence != want[n].Sequence || !bytes.Equal(s.Raw, want[n].Raw)) {
				t.Errorf("partition %d: sequence %d differs", p, s.Sequence)
			}
			n++
			return nil
		}))
		if n != len(want) {
			t.Errorf("partition %d: %d commits, want %d", p, n, len(want))
		}
	}
	for _, name := range []string{"tokens.json", "people.json", "access-changes.json", "signing/north.pem", "keys/north/c-1", "keys/north/c-2"} {
		want, err := os.ReadFile(filepath.Join(l.folder, name))
		must(t, err)
		if got, err := os.ReadFile(filepath.Join(data, name)); err != nil || !bytes.Equal(got, want) {
			t.Errorf("%s is %q (%v), want %q", name, got, err, want)
		}
	}
	for _, name := range photos {
		if _, err := os.Stat(filepath.Join(data, "photos", name)); err != nil {
			t.Errorf("photo %s: %v", name, err)
		}
	}
}

// TestClockSetBack: archives go on from each other in the order of their making, though
// the clock was set back between them.
func TestClockSetBack(t *testing.T) {
	l, folder := newLedger(t), t.TempDir()
	l.work(t, 1, 1)
	first, _ := l.file(t, folder, 5, "")
	l.work(t, 2, 1)
	second, _ := l.file(t, folder, 3, first)
	l.work(t, 3, 1)
	third, _ := l.file(t, folder, 4, second)
	sum, err := Verify([]string{second, third, first}, nil)
	if err != nil || sum.Archives != 3 || !sum.Made.Equal(day(4)) || !sum.Proved {
		t.Errorf("%+v, %v", sum, err)
	}
}

// TestChangesMeanwhile: what is recorded of a change of access while the log is read is in
// the archive together with the change.
func TestChangesMeanwhile(t *testing.T) {
	l := newLedger(t)
	l.work(t, 2, 2)
	s := l.source()
	commits, read := s.Commits, 0
	s.Commits = func(ctx context.Context, p uint8, after uint64, use func(events.Stored) error) error {
		if read++; read == eventlog.Partitions { // all others were read
			l.add(t, "north", "firm", events.AccessChanged, `{"what":"token-made","name":"phone"}`)
			l.add(t, "south", "firm", events.AccessChanged, `{"what":"token-made","name":"phone"}`)
			must(t, os.WriteFile(filepath.Join(l.folder, "tokens.json"), []byte(`{"version":1,"tokens":["phone"]}`), 0o600))
		}
		return commits(ctx, p, after, use)
	}
	l.customer(t, "c-1")
	l.customer(t, "c-2")
	path := filepath.Join(t.TempDir(), "archive")
	_, _, err := WriteFiles(t.Context(), path, path+".keys", s, Options{Now: day(0)})
	must(t, err)
	folder, _, err := restored(t, nil, path, path+".keys")
	must(t, err)
	l.sameIn(t, folder)
}

// TestNewerArchive: what a newer program wrote is refused with the version that reads it.
func TestNewerArchive(t *testing.T) {
	for name, newer := range map[string]Opening{
		"archive": {Backup: version + 1, Data: 1},
		"ledger":  {Backup: version, Data: dataformat.Current + 1},
	} {
		newer.Kind, newer.Program = Ledger, "v9.1.0"
		var out bytes.Buffer
		p, err := newPacker(&out, newer, nil)
		must(t, err)
		_, err = p.close(&Manifest{Opening: newer})
		must(t, err)
		path := filepath.Join(t.TempDir(), "archive")
		must(t, os.WriteFile(path, out.Bytes(), 0o600))
		_, err = Verify([]string{path}, nil)
		_, _, again := restored(t, nil, path)
		for _, err := range []error{err, again} {
			if err == nil || !strings.Contains(err.Error(), "use daysheet v9.1.0 or newer") {
				t.Errorf("%s: %v", name, err)
			}
		}
	}
}

// TestTheLogMustBeTheSame: an archive does not go on from one of another log, or of one
// that has lost its end since.
func TestTheLogMustBeTheSame(t *testing.T) {
	l, folder := newLedger(t), t.TempDir()
	l.work(t, 2, 3)
	first, _ := l.file(t, folder, 0, "")
	earlier, err := ReadEarlier(first, nil)
	must(t, err)
	other := newLedger(t)
	other.work(t, 1, 30)
	shorter := newLedger(t)
	shorter.work(t, 1, 1)
	for name, l := range map[string]*ledger{"another": other, "shorter": shorter, "empty": newLedger(t)} {
		_, err := archiveLedger(t.Context(), &bytes.Buffer{}, l.source(), Options{Now: day(1), Since: earlier})
		if events.CodeOf(err) != events.Conflict {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// TestBrokenOff ends restores where a machine may be switched off: the folder says so, and
// the same restore, which begins anew, makes the whole ledger.
func TestBrokenOff(t *testing.T) {
	l := newLedger(t)
	l.work(t, 3, 3)
	l.customer(t, "c-1")
	l.customer(t, "c-2")
	photo := l.photo(t, "north", "an invented photo")
	archive := l.whole(t, 0)
	off := errors.New("the machine was switched off")
	for name, breakOff := range map[string]func(*Restoring){
		"before the log": func(r *Restoring) {
			r.Log = func(context.Context, int64) (*eventlog.Writer, error) { return nil, off }
		},
		"at a photo": func(r *Restoring) {
			r.Photo = func(context.Context, string, string, io.Reader) error { return off }
		},
		"at the very end": func(r *Restoring) { r.Upgrade = func(context.Context) error { return off } },
	} {
		folder, _, err := restored(t, breakOff, archive, archive+".keys")
		if !errors.Is(err, off) {
			t.Fatalf("%s: %v", name, err)
		}
		if _, err := dataformat.Read(folder); !errors.As(err, new(*dataformat.HalfError)) {
			t.Errorf("%s: the folder is read with %v", name, err)
		}
		_, err = Restore(t.Context(), restoring(folder, []string{archive, archive + ".keys"}))
		must(t, err)
		l.sameIn(t, folder, photo)
		if have, err := dataformat.Read(folder); err != nil || have != dataformat.Current {
			t.Errorf("%s: format %d, %v", name, have, err)
		}
	}
}

// TestErasing: a key does not come back if its customer is erased by the list in the keys,
// in a later archive, by an event in the log, or by a list that is given besides.
func TestErasing(t *testing.T) {
	l, folder := newLedger(t), t.TempDir()
	l.work(t, 1, 1)
	for n := range 6 {
		l.customer(t, fmt.Sprintf("c-%d", n))
	}
	must(t, l.keys(t).Erase("north", "c-0", "2026-04-01"))
	first, w := l.file(t, folder, 0, "")
	if w.KeyCount != 5 {
		t.Errorf("%d keys, want 5: one is erased", w.KeyCount)
	}
	must(t, l.keys(t).Erase("north", "c-1", "2026-05-02"))
	l.add(t, "north", "firm", events.CustomerErased, `{"customer":"c-2","day":"2026-05-02","reason":"asked for it"}`)
	second, _ := l.file(t, folder, 1, first)
	data, done, err := restored(t, func(r *Restoring) {
		r.Erased = []sealing.Erasure{{Firm: "north", Customer: "c-3", Day: "2026-05-03"}}
	}, first, second, first+".keys")
	must(t, err)
	if done.Keys.Keys != 2 || len(done.Keys.Withheld) != 3 {
		t.Errorf("restored: %+v", done.Keys)
	}
	keys, err := sealing.OpenKeys(filepath.Join(data, "keys"))
	must(t, err)
	for n := range 6 {
		has, err := keys.Has("north", fmt.Sprintf("c-%d", n))
		if err != nil || has != (n > 3) {
			t.Errorf("c-%d: %v, %v", n, has, err)
		}
	}
	if entries, err := os.ReadDir(data); err != nil || strings.Contains(fmt.Sprint(entries), "restoring") {
		t.Errorf("left behind: %v, %v", entries, err)
	}
	raw, err := os.ReadFile(first)
	must(t, err)
	key, err := os.ReadFile(filepath.Join(l.folder, "keys", "north", "c-4"))
	must(t, err)
	if holds(t, raw, key) {
		t.Error("the archive of the ledger holds a key")
	}
}

// holds reports whether a part of an archive holds some bytes.
func holds(t *testing.T, archive, text []byte) (found bool) {
	t.Helper()
	u, err := newUnpacker(bytes.NewReader(archive), nil)
	must(t, err)
	defer u.close()
	for {
		e, err := u.next()
		must(t, err)
		raw, err := e.read()
		must(t, err)
		found = found || bytes.Contains(raw, text)
		if e.name == nameManifest {
			return found
		}
	}
}

// TestDamage flips bits and cuts the end off at seeded places all over archives, plain
// and encrypted, of the ledger and of keys: every one is noticed, and nothing panics.
func TestDamage(t *testing.T) {
	l := newLedger(t)
	l.work(t, 6, 10)
	l.photo(t, "north", "an invented photo"+strings.Repeat("!", 300))
	l.customer(t, "c-1")
	id, err := age.GenerateX25519Identity()
	must(t, err)
	plain := l.whole(t, 0)
	sealed, _ := l.file(t, t.TempDir(), 0, "", id.Recipient())
	dice := rand.New(rand.NewPCG(8, 11))
	for name, path := range map[string]string{"plain": plain, "keys": plain + ".keys", "sealed": sealed} {
		raw, err := os.ReadFile(path)
		must(t, err)
		read := func(raw []byte) error {
			_, err := check(bytes.NewReader(raw), []age.Identity{id}, nil, use{})
			return err
		}
		must(t, read(raw))
		for range 400 {
			at, bit := dice.IntN(len(raw)), byte(1)<<dice.IntN(8)
			flipped := bytes.Clone(raw)
			flipped[at] ^= bit
			if read(flipped) == nil {
				t.Fatalf("%s: nobody notices bit %d of byte %d of %d", name, bit, at, len(raw))
			}
			if read(raw[:at]) == nil {
				t.Fatalf("%s: nobody notices that it ends at byte %d of %d", name, at, len(raw))
			}
		}
		for _, more := range []string{"\x00", "more", string(raw)} {
			if read(append(bytes.Clone(raw), more...)) == nil {
				t.Errorf("%s: nobody notices %d bytes behind it", name, len(more))
			}
		}
	}
	if _, err := Verify([]string{sealed}, nil); !errors.Is(err, ErrEncrypted) {
		t.Errorf("without an identity: %v", err)
	}
	stranger, err := age.GenerateX25519Identity()
	must(t, err)
	if _, err := Verify([]string{sealed}, []age.Identity{stranger}); err == nil || !strings.Contains(err.Error(), "for others") {
		t.Errorf("with another identity: %v", err)
	}
}

func mustRead(tb testing.TB, path string) []byte {
	tb.Helper()
	raw, err := os.ReadFile(path)
	must(tb, err)
	return raw
}
