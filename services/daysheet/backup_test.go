package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"filippo.io/age"
	"github.com/klauspost/compress/zstd"

	"daysheet/reports"
	"daysheet/services/backup"
	"daysheet/services/dataformat"
	"daysheet/services/httpd"
)

// exactly returns every report of the firm, also of jobs and as of an earlier position,
// to the byte and with the positions that it names.
func exactly(t *testing.T, c *client, jobs ...string) map[string]string {
	t.Helper()
	out := map[string]string{}
	for _, d := range reports.Definitions() {
		var queries []string
		if !d.NeedsJob {
			queries = append(queries, "", "&as_of=20")
		}
		for _, job := range jobs {
			if !d.WholeFirm {
				queries = append(queries, "&job="+job)
			}
		}
		for _, query := range queries {
			for _, format := range []string{"json", "csv"} {
				path := "/v1/reports/" + d.Name + "?format=" + format + query
				out[path] = string(mustGet(t, c, path))
			}
		}
	}
	out["/v1/events"] = string(mustGet(t, c, "/v1/events"))
	return out
}

// sameReports opens a restored ledger and compares every report.
func sameReports(t *testing.T, folder string, want map[string]string, jobs ...string) *app {
	t.Helper()
	a := mustOpen(t, folder)
	t.Cleanup(func() { mustClose(t, a) })
	mustCatchUp(t, a)
	got := exactly(t, owner(a), jobs...)
	if len(got) != len(want) || len(want) < 20 {
		t.Fatalf("%d answers, and %d before", len(got), len(want))
	}
	for path, before := range want {
		if got[path] != before {
			t.Errorf("%s differs:\n%.600s\nwas:\n%.600s", path, got[path], before)
		}
	}
	return a
}

// backUp runs the command, with the ledger being served or not.
func backUp(t *testing.T, g *Globals, c BackupCmd) {
	t.Helper()
	if _, err := printed(t, func() error { return c.Run(t.Context(), g) }); err != nil {
		t.Fatal(err)
	}
}

// someTokens makes a token, in a file as serve keeps them.
func someTokens(t *testing.T, g *Globals) {
	t.Helper()
	err := withTokens(g, func(tokens *httpd.Tokens) error {
		_, err := tokens.Add(t.Context(), "tests", httpd.Token{Firm: demoFirm, Name: "phone-anna", Scopes: []httpd.Scope{httpd.ScopeRecord}})
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
}

// TestBackUpAndRestore backs an invented firm up while it is served, whole and then what
// came since, with a customer erased between. It restores both: every report is the same
// to the byte, as are photos, papers' keys and who has access; the customer who was erased
// stays so, though the older archive of keys still has the key. Then the ledger goes on.
func TestBackUpAndRestore(t *testing.T) {
	g, to := &Globals{Data: t.TempDir(), quiet: true}, t.TempDir()
	someTokens(t, g)
	a := mustOpen(t, g.Data)
	c := mustInvent(t, a, 4)
	for _, customer := range []string{"c-1042", "c-1043"} {
		mustSend(t, c, 201, "PUT", "/v1/customers/"+customer, irisBody())
	}
	openJob(t, c, "iris-job", "c-1042", snag("iris-job"))
	digest := mustSendPhoto(t, c, 40)
	mustLink(t, c, "iris-job", "read")
	mustGet(t, c, "/jobs/iris-job/handover.pdf")
	whole, since := filepath.Join(to, "whole"), filepath.Join(to, "since")
	backUp(t, g, BackupCmd{To: whole})
	mustSend(t, c, 200, "POST", "/v1/customers/c-1043/erase", `{"reason":"asked for it"}`)
	openJob(t, c, "later-job", "c-1042")
	mustCatchUp(t, a)
	backUp(t, g, BackupCmd{To: since, Since: whole})
	want := exactly(t, c, "iris-job", "later-job")
	mustClose(t, a)

	fresh := &Globals{Data: filepath.Join(t.TempDir(), "restored"), quiet: true}
	restore := RestoreCmd{Archives: []string{since, whole, whole + ".keys"}}
	text, err := printed(t, func() error { return restore.Run(t.Context(), fresh) })
	if err != nil || !strings.Contains(text, "1 keys of customers, and 1 that stay away") {
		t.Fatalf("%v: %s", err, text)
	}
	everyFileIsDecided(t, g.Data, fresh.Data)
	again := sameReports(t, fresh.Data, want, "iris-job", "later-job")
	read := owner(again)
	if got := string(mustGet(t, read, "/v1/customers/c-1042")); !strings.Contains(got, irisName) {
		t.Errorf("the customer is not restored: %s", got)
	}
	if _, got := send(t, read, "GET", "/v1/customers/c-1043", ""); strings.Contains(got, irisName) {
		t.Errorf("the erased customer came back: %s", got)
	}
	if got := mustGet(t, read, "/v1/photos/"+digest); len(got) < 100 {
		t.Errorf("the photo has %d bytes", len(got))
	}
	for _, name := range []string{tokensFile, linksFile, filepath.Join(signingFolder, demoFirm+".pem")} {
		if !bytes.Equal([]byte(content(t, filepath.Join(g.Data, name))), []byte(content(t, filepath.Join(fresh.Data, name)))) {
			t.Errorf("%s differs", name)
		}
	}
	openJob(t, read, "after-the-restore", "c-1042")
	mustCatchUp(t, again)
	notInTheArchive(t, whole, since)
}

// inTheArchive says of every file of a data folder whether it is in the archives; for
// those that are not, deploy/README.md says why.
func inTheArchive() map[string]bool {
	return map[string]bool{logFolder: true, photosFolder: true, tokensFile: true, peopleFile: true, linksFile: true,
		accessFile: true, signingFolder: true, keysFolder: true, dataformat.FileName: true, // as a part of the opening
		factsFile: false, factsFile + ".wal": false, thumbnailsFolder: false, sessionsFile: false, stateFolder: false,
		dataformat.BeforeUpgrade: false}
}

// everyFileIsDecided compares a data folder with the one that was restored of it, before
// that is served. A new file in it has to be named above, and to come back where it says so.
func everyFileIsDecided(t *testing.T, data, restored string) {
	t.Helper()
	entries, err := os.ReadDir(data)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		archived, decided := inTheArchive()[e.Name()]
		if strings.HasSuffix(e.Name(), ".lock") {
			archived, decided = false, true
		}
		_, err := os.Stat(filepath.Join(restored, e.Name()))
		if !decided || archived != (err == nil) {
			t.Errorf("%s: decided %v, in the archive %v, restored: %v", e.Name(), decided, archived, err)
		}
	}
}

// TestWaitingChangesAreBackedUp: what a command changed of the access while no server ran
// is recorded by the server that serves the restored ledger.
func TestWaitingChangesAreBackedUp(t *testing.T) {
	g, to := &Globals{Data: t.TempDir(), quiet: true}, filepath.Join(t.TempDir(), "archive")
	a := mustOpen(t, g.Data)
	openJob(t, owner(a), "one", "c-1")
	mustClose(t, a)
	someTokens(t, g)
	backUp(t, g, BackupCmd{To: to})
	fresh := &Globals{Data: filepath.Join(t.TempDir(), "restored"), quiet: true}
	if _, err := printed(t, func() error { return (&RestoreCmd{Archives: []string{to}}).Run(t.Context(), fresh) }); err != nil {
		t.Fatal(err)
	}
	again := mustOpen(t, fresh.Data)
	defer mustClose(t, again)
	if list := awaitChanges(t, owner(again), 1); list[0].What != "phone-paired" || list[0].Name != "phone-anna" {
		t.Errorf("recorded: %v", list)
	}
}

// notInTheArchive looks for personal data in the archives of the ledger as they are
// unpacked. What it looks for is nowhere else than in sealed values.
func notInTheArchive(t *testing.T, archives ...string) {
	t.Helper()
	folder := t.TempDir()
	for n, archive := range archives {
		r, err := zstd.NewReader(strings.NewReader(content(t, archive)))
		if err != nil {
			t.Fatal(err)
		}
		raw, err := io.ReadAll(r)
		r.Close()
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(folder, string(rune('a'+n))), raw, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	if found := filesWith(t, folder, personal()...); len(found) > 0 {
		t.Errorf("personal data in the archive: %v", found)
	}
}

// TestRestoreRefuses: a folder that is not empty, one archive without the other, and a
// damaged archive, with the exit code that scripts rely on. A restore that was broken off
// leaves a folder that nobody serves, and the next one begins anew.
func TestRestoreRefuses(t *testing.T) {
	g, to := &Globals{Data: t.TempDir(), quiet: true}, t.TempDir()
	a := mustOpen(t, g.Data)
	openJob(t, owner(a), "one", "c-1")
	mustClose(t, a)
	archive := filepath.Join(to, "archive")
	backUp(t, g, BackupCmd{To: archive})
	if err := (&BackupCmd{To: archive}).Run(t.Context(), g); err == nil {
		t.Error("an archive is written over another")
	}
	run := func(data string, archives ...string) (string, error) {
		return printed(t, func() error {
			return (&RestoreCmd{Archives: archives}).Run(t.Context(), &Globals{Data: data, quiet: true})
		})
	}
	if _, err := run(g.Data, archive); err == nil || !strings.Contains(err.Error(), "it holds facts.duckdb, format.json") {
		t.Errorf("over a ledger: %v", err)
	}
	raw := []byte(content(t, archive))
	raw[len(raw)/2] ^= 1
	bad := filepath.Join(to, "bad")
	if err := os.WriteFile(bad, raw, 0o600); err != nil {
		t.Fatal(err)
	}
	data := filepath.Join(to, "data")
	if text, err := run(data, bad); !errors.Is(err, errFound) || !strings.Contains(text, "found: "+bad+" is damaged") {
		t.Errorf("a damaged archive: %v, %s", err, text)
	}
	if _, err := os.Stat(data); !os.IsNotExist(err) {
		t.Errorf("something was written for a damaged archive: %v", err)
	}
	text, err := printed(t, func() error { return (&VerifyCmd{Files: []string{bad}}).Run(t.Context(), g) })
	if !errors.Is(err, errFound) || !strings.Contains(text, "is damaged") {
		t.Errorf("verify: %v, %s", err, text)
	}
	text, err = printed(t, func() error { return (&VerifyCmd{Files: []string{archive, archive + ".keys"}}).Run(t.Context(), g) })
	if err != nil || !strings.Contains(text, "nothing found") {
		t.Errorf("verify: %v, %s", err, text)
	}

	// As a machine that is switched off leaves it: marked, with some of the log.
	if err := dataformat.Begin(data); err != nil {
		t.Fatal(err)
	}
	if err := os.MkdirAll(filepath.Join(data, logFolder, "half"), 0o700); err != nil {
		t.Fatal(err)
	}
	if _, err := openApp(t.Context(), &Globals{Data: data, quiet: true}, appConfig{}); !errors.As(err, new(*dataformat.HalfError)) {
		t.Errorf("a half restored folder is served: %v", err)
	}
	if _, err := run(data, archive); err != nil {
		t.Errorf("beginning anew: %v", err)
	}
	if err := (&VerifyCmd{}).Run(t.Context(), &Globals{Data: data, quiet: true}); err != nil {
		t.Errorf("verify the restored: %v", err)
	}
}

// TestEncryptedBackup: for an age key, and from the command line to the restored ledger.
func TestEncryptedBackup(t *testing.T) {
	g, to := &Globals{Data: t.TempDir(), quiet: true}, t.TempDir()
	a := mustOpen(t, g.Data)
	openJob(t, owner(a), "one", "c-1")
	mustClose(t, a)
	id, err := age.GenerateX25519Identity()
	if err != nil {
		t.Fatal(err)
	}
	identity := mustWrite(t, "identity", "# invented\n"+id.String()+"\n")
	archive, data := filepath.Join(to, "archive"), filepath.Join(to, "data")
	for _, args := range [][]string{
		{"backup", archive, "--data", g.Data, "--recipient", id.Recipient().String()},
		{"verify", archive, archive + ".keys", "--identity", identity},
		{"restore", archive, archive + ".keys", "--identity", identity, "--data", data},
		{"verify", "--data", data},
	} {
		if _, err := printed(t, func() error {
			if code := run(context.Background(), args); code != 0 {
				t.Errorf("%v ends with %d", args, code)
			}
			return nil
		}); err != nil {
			t.Fatal(err)
		}
	}
	if head := content(t, archive)[:10]; head != "age-encryp" {
		t.Errorf("the archive begins with %q", head)
	}
	for _, args := range [][]string{
		{"backup", archive + "2", "--data", g.Data, "--recipient", "age1invented"},
		{"verify", archive},
		{"restore", archive, "--data", data + "2"},
		{"restore", archive, "--data", data + "2", "--identity", mustWrite(t, "identity", "nothing")},
	} {
		if code := run(context.Background(), args); code != exitFailed {
			t.Errorf("%v ends with %d", args, code)
		}
	}
}

// TestStatusIsJSON: what other programs read of it.
func TestStatusIsJSON(t *testing.T) {
	g, to := &Globals{Data: t.TempDir(), quiet: true}, t.TempDir()
	a := mustOpen(t, g.Data)
	openJob(t, owner(a), "one", "c-1")
	backUp(t, g, BackupCmd{To: to, Keep: 2})
	mustClose(t, a)
	var s backup.Status
	raw := content(t, filepath.Join(g.Data, stateFolder, "status.json"))
	if err := json.Unmarshal([]byte(raw), &s); err != nil || s.Last.IsZero() || !strings.HasSuffix(s.File, "-whole.tar.zst") {
		t.Errorf("%+v, %v in %s", s, err, raw)
	}
}

// content reads a file.
func content(t *testing.T, path string) string {
	t.Helper()
	raw, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return string(raw)
}
