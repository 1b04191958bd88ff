package backup

import (
	"context"
	"io"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"filippo.io/age"
)

// keepPhoto keeps photos of a restored ledger by their name.
func keepPhoto(folder string) func(context.Context, string, string, io.Reader) error {
	return func(_ context.Context, firm, digest string, body io.Reader) error {
		content, err := io.ReadAll(body)
		if err == nil {
			err = os.MkdirAll(filepath.Join(folder, "photos", firm), 0o700)
		}
		if err == nil {
			err = os.WriteFile(filepath.Join(folder, "photos", firm, digest), content, 0o600)
		}
		return err
	}
}

// TestScheme runs four weeks of backups, encrypted, without anything to open them at
// hand: a whole one a week, the rest go on from each other, old ones go, and what is left
// restores the ledger. Where an archive was moved away, a whole one is made.
func TestScheme(t *testing.T) {
	l, folder, apart := newLedger(t), t.TempDir(), t.TempDir()
	l.customer(t, "c-1")
	l.customer(t, "c-2")
	id, err := age.GenerateX25519Identity()
	must(t, err)
	s := Scheme{Folder: folder, Keys: apart, State: filepath.Join(l.folder, "backups"), Keep: 2, Source: l.source(),
		Options: Options{Program: "v0.1.0", Recipients: []age.Recipient{id.Recipient()}}}
	var whole []int
	for n := range 27 {
		l.work(t, 1, 1)
		s.Now = day(n)
		w, err := s.Run(t.Context())
		must(t, err)
		if w.Whole {
			whole = append(whole, n)
		}
	}
	if !slices.Equal(whole, []int{0, 7, 14, 21}) {
		t.Errorf("whole on days %v", whole)
	}
	ledgers, keys := names(t, folder), names(t, apart)
	if len(ledgers) != 13 || len(keys) != 13 || filepath.Base(ledgers[0]) != "daysheet-20260515T200000Z-whole.tar.zst.age" {
		t.Errorf("kept: %v and %v", ledgers, keys)
	}
	data, done, err := restored(t, func(r *Restoring) { r.Identities = []age.Identity{id} },
		append(ledgers[7:], keys[len(keys)-1])...)
	must(t, err)
	if done.Keys.Keys != 2 {
		t.Errorf("restored: %+v", done)
	}
	l.sameIn(t, data)
	now, err := ReadStatus(s.State)
	if err != nil || !now.Last.Equal(day(26)) || !now.Failed.IsZero() || now.File != filepath.Base(ledgers[12]) {
		t.Errorf("status %+v, %v", now, err)
	}

	s.Now = day(9000) // a clock that is years ahead for a while
	if w, err := s.Run(t.Context()); err != nil || !w.Whole {
		t.Errorf("years ahead: %+v, %v", w, err)
	}
	s.Keep, s.Now = 1, day(27).Add(-time.Hour)
	w, err := s.Run(t.Context())
	if _, gone := os.Stat(w.File); err != nil || !w.Whole || gone != nil {
		t.Errorf("when the clock is right again: %+v, %v, %v", w, err, gone)
	}
	s.Keep = 2
	ledgers = names(t, folder)
	must(t, os.Rename(ledgers[0], filepath.Join(t.TempDir(), "away")))
	s.Now = day(27)
	if w, err := s.Run(t.Context()); err != nil || !w.Whole {
		t.Errorf("after one was moved away: %+v, %v", w, err)
	}
	s.Folder, s.Now = filepath.Join(folder, "gone"), day(28)
	if _, err := s.Run(t.Context()); err == nil {
		t.Error("a folder that is not there is taken")
	}
	now, err = ReadStatus(s.State)
	if err != nil || !now.Last.Equal(day(27)) || !now.Failed.Equal(day(28)) || now.Reason == "" {
		t.Errorf("status after a failure %+v, %v", now, err)
	}
}

// names lists the files of a folder.
func names(t *testing.T, folder string) (paths []string) {
	t.Helper()
	entries, err := os.ReadDir(folder)
	must(t, err)
	for _, e := range entries {
		paths = append(paths, filepath.Join(folder, e.Name()))
	}
	return paths
}

// TestNamesInAFolder: only what this program wrote is ever removed.
func TestNamesInAFolder(t *testing.T) {
	folder := t.TempDir()
	for _, name := range []string{"daysheet-20260515T200000Z-whole.tar.zst", "daysheet-20260516T200000Z-since.tar.zst.age",
		"daysheet-20260516T200000Z-keys.tar.zst", "daysheet-20261332T200000Z-whole.tar.zst", "my-daysheet-20260515T200000Z-whole.tar.zst",
		"daysheet-20260515T200000Z-whole.tar.zst.part", "notes.txt"} {
		must(t, os.WriteFile(filepath.Join(folder, name), nil, 0o600))
	}
	all, err := archivesIn(folder)
	must(t, err)
	if len(all) != 3 || all[0].kind != kindWhole || !all[0].made.Equal(time.Date(2026, 5, 15, 20, 0, 0, 0, time.UTC)) {
		t.Errorf("found %+v", all)
	}
}
