package main

import (
	"bytes"
	"context"
	"flag"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"daysheet/events"
	"daysheet/services/backup"
)

var update = flag.Bool("update", false, "write the golden reports anew, and the archive of a format that has none")

// untilSaid ends ctx when the program's log says something.
type untilSaid struct {
	text string
	stop context.CancelFunc
}

func (u untilSaid) Enabled(context.Context, slog.Level) bool { return true }
func (u untilSaid) WithAttrs([]slog.Attr) slog.Handler       { return u }
func (u untilSaid) WithGroup(string) slog.Handler            { return u }
func (u untilSaid) Handle(_ context.Context, r slog.Record) error {
	if strings.HasPrefix(r.Message, u.text) {
		u.stop()
	}
	return nil
}

// TestScheduledBackup: a server that never made one makes one at once, and says so
// wherever somebody looks; one that fails is told there too, and the server stays ready.
func TestScheduledBackup(t *testing.T) {
	g, to, keys := &Globals{Data: t.TempDir(), quiet: true}, t.TempDir(), t.TempDir()
	a := mustOpen(t, g.Data)
	defer mustClose(t, a)
	c := mustInvent(t, a, 1)
	until := func(text string, flags ScheduleFlags) {
		ctx, stop := context.WithCancel(t.Context())
		defer stop()
		s := &schedule{ScheduleFlags: flags, g: g, logger: slog.New(untilSaid{text, stop})}
		if err := s.check(); err != nil {
			t.Fatal(err)
		}
		s.run(ctx)
	}
	told := func(page, ready, failed string) {
		t.Helper()
		if got := string(mustGet(t, c, "/office/settings")); !strings.Contains(got, page) {
			t.Errorf("the settings do not say %q: %s", page, got)
		}
		if got := string(mustGet(t, c, "/readyz")); !strings.Contains(got, ready) || !strings.Contains(got, `"status":"ready"`) {
			t.Errorf("/readyz does not say %q: %s", ready, got)
		}
		if got := string(mustGet(t, c, "/metrics")); !strings.Contains(got, "\nledger_backup_failed "+failed+"\n") {
			t.Errorf("the metrics do not say that %s failed", failed)
		}
	}
	told("No backup was made yet", "none was made yet", "0")
	until("backed up", ScheduleFlags{BackupTo: to, BackupEvery: time.Hour, BackupKeysTo: keys})
	told("The last backup was made on", "last made at 2", "0")
	sum, err := backup.Verify(append(filesOf(t, to), filesOf(t, keys)...), nil)
	if err != nil || sum.Archives != 1 || sum.KeyFiles != 1 || !sum.Proved {
		t.Errorf("in the folders: %+v, %v", sum, err)
	}
	gone := filepath.Join(to, "gone")
	until("backup failed", ScheduleFlags{BackupTo: gone, BackupEvery: time.Nanosecond})
	told("A backup failed on", "; one failed at 2", "1")

	for name, flags := range map[string]ScheduleFlags{
		"backup-to":    {BackupKeysTo: keys},
		"backup-every": {BackupTo: to, BackupEvery: -time.Hour},
		"backup-keep":  {BackupTo: to, BackupEvery: time.Hour, BackupKeep: -1},
	} {
		err := (&schedule{ScheduleFlags: flags}).check()
		if events.CodeOf(err) != events.Invalid || !strings.HasPrefix(err.Error(), name) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// filesOf lists the files of a folder.
func filesOf(t *testing.T, folder string) []string {
	t.Helper()
	all, err := filepath.Glob(filepath.Join(folder, "*"))
	if err != nil || len(all) == 0 {
		t.Fatalf("nothing in %s: %v", folder, err)
	}
	return all
}

// goldenReports are the questions that ledgers of every format must answer for ever as
// they did. The days are given, so that none depends on when it is asked.
func goldenReports() []string {
	return []string{
		"/v1/reports/estimate-vs-actual?from=2020-01-01&to=2026-12-31&format=csv",
		"/v1/reports/job-summary?from=2020-01-01&to=2026-12-31&format=csv",
		"/v1/reports/consumables?from=2020-01-01&to=2026-12-31&format=csv",
	}
}

// TestGolden restores an archive of each format that ever was, and compares its reports
// with those of then. An archive is never made again. When the format of the data folder
// changes, run "go test ./services/daysheet -run TestGolden -update" before the change, so
// that the present format's archive is in testdata, and after it add the new number here;
// the same command writes the reports anew where a report was changed on purpose.
func TestGolden(t *testing.T) {
	for _, format := range []string{"format-1"} {
		archive := filepath.Join("testdata", format+".tar.zst")
		if _, err := os.Stat(archive); os.IsNotExist(err) && *update {
			makeGolden(t, archive)
		}
		data := &Globals{Data: filepath.Join(t.TempDir(), "data"), quiet: true}
		restore := RestoreCmd{Archives: []string{archive, archive + ".keys"}}
		if _, err := printed(t, func() error { return restore.Run(t.Context(), data) }); err != nil {
			t.Fatal(err)
		}
		a := mustOpen(t, data.Data)
		defer mustClose(t, a)
		mustCatchUp(t, a)
		var got bytes.Buffer
		for _, path := range goldenReports() {
			got.WriteString(path + "\n")
			got.Write(mustGet(t, owner(a), path))
		}
		if name := string(mustGet(t, owner(a), "/v1/customers/c-1042")); !strings.Contains(name, irisName) {
			t.Errorf("%s: the customer reads %s", format, name)
		}
		file := filepath.Join("testdata", format+".reports.txt")
		if *update {
			if err := os.WriteFile(file, got.Bytes(), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		if want := content(t, file); got.String() != want {
			t.Errorf("%s: the reports differ from those in %s:\n%s", format, file, got.String())
		}
	}
}

// makeGolden writes an archive of a small invented firm.
func makeGolden(t *testing.T, archive string) {
	t.Helper()
	g := &Globals{Data: t.TempDir(), quiet: true}
	a := mustOpen(t, g.Data)
	c := mustInvent(t, a, 3)
	mustSend(t, c, 201, "PUT", "/v1/customers/c-1042", irisBody())
	openJob(t, c, "iris-job", "c-1042", snag("iris-job"))
	mustSendPhoto(t, c, 40)
	mustClose(t, a)
	backUp(t, g, BackupCmd{To: archive})
}

// TestAWrongClockHoldsNoBackupUp starts a server after the clock was wrong.
func TestAWrongClockHoldsNoBackupUp(t *testing.T) {
	now := time.Date(2026, 6, 30, 12, 0, 0, 0, time.UTC)
	s := &schedule{ScheduleFlags: ScheduleFlags{BackupEvery: 24 * time.Hour}}
	for last, want := range map[time.Time]time.Duration{
		{}:                       0,
		now.Add(-2 * time.Hour):  22 * time.Hour,
		now.Add(-30 * time.Hour): -6 * time.Hour,
		now.AddDate(1, 0, 0):     24 * time.Hour,
	} {
		if got := s.dueIn(last, now); got != want {
			t.Errorf("after one at %v the next is due in %v, want %v", last, got, want)
		}
	}
}
