package main

import (
	"context"
	"errors"
	"io"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"daysheet/events"
	"daysheet/services/eventlog"
	"daysheet/services/facts/clickhouse/clickhousetest"
	"daysheet/services/httpd"
)

// printed runs what prints to standard output and returns that.
func printed(t *testing.T, run func() error) (string, error) {
	t.Helper()
	before := os.Stdout
	defer func() { os.Stdout = before }()
	r, w, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	text := make(chan string, 1)
	go func() {
		raw, _ := io.ReadAll(r)
		text <- string(raw)
	}()
	os.Stdout = w
	err = run()
	w.Close()
	return <-text, err
}

// TestReportsAreTheSameAfterTheMove moves a ledger with an invented firm to a NATS
// server: served from there, with DuckDB made anew, with the DuckDB file of before and
// with ClickHouse, every report is the same to the byte, and so is the export.
func TestReportsAreTheSameAfterTheMove(t *testing.T) {
	folder := t.TempDir()
	g := &Globals{Data: folder, quiet: true}
	a := mustOpen(t, folder)
	if _, err := a.tokens.Add(t.Context(), "tests", httpd.Token{Firm: demoFirm, Name: "phone", Scopes: httpd.Scopes()}); err != nil {
		t.Fatal(err)
	}
	c := mustInvent(t, a, 12)
	export := mustGet(t, c, "/v1/events")
	jobs := slices.Sorted(maps.Keys(recompute(t, export).jobs))
	before := everyReport(t, c, jobs)
	const asItStands = "/v1/reports/estimate-vs-actual?format=json" // with the position in the log
	standing := string(mustGet(t, c, asItStands))
	n := mustServeLog(t)
	if err := (&MigrateCmd{NATSFlags: n}).Run(t.Context(), g); !errors.Is(err, eventlog.ErrInUse) {
		t.Errorf("moving a ledger that is served gives %v", err)
	}
	mustClose(t, a)

	for _, want := range []string{" copied now, 0 there before", ": 0 copied now"} { // and once more, for nothing
		text, err := printed(t, func() error { return (&MigrateCmd{NATSFlags: n}).Run(t.Context(), g) })
		if err != nil {
			t.Fatal(err)
		}
		for _, says := range []string{want, filepath.Join(folder, tokensFile) + ": who has access; copy it",
			filepath.Join(folder, factsFile) + ": made again", filepath.Join(folder, keysFolder) + ": without it nobody", "is marked as moved"} {
			if !strings.Contains(text, says) {
				t.Errorf("the output does not say %q:\n%s", says, text)
			}
		}
	}
	mustBeMoved(t, folder)

	onServer := StoreFlags{ClickHouse: clickhousetest.Start(t).Address, ClickHouseDatabase: "default", ClickHouseUser: "default"}
	for name, at := range map[string]struct {
		folder string
		store  StoreFlags
	}{
		"a new DuckDB file": {t.TempDir(), StoreFlags{}}, "the DuckDB file of before": {folder, StoreFlags{}},
		"ClickHouse": {t.TempDir(), onServer},
	} {
		a := mustRun(t, at.folder, n, at.store, allRoles()...)
		mustCatchUp(t, a)
		c := owner(a)
		if after := mustGet(t, c, "/v1/events"); string(after) != string(export) {
			t.Errorf("%s: the export has %d bytes after the move, %d before", name, len(after), len(export))
		}
		if got := string(mustGet(t, c, asItStands)); got != standing || !strings.Contains(got, `"as_of":`) {
			t.Errorf("%s: the report is of another position:\n%s\nwas:\n%s", name, got, standing)
		}
		for path, got := range everyReport(t, c, jobs) {
			if got != before[path] {
				t.Fatalf("%s: %s differs after the move:\n%s\nwas:\n%s", name, path, got, before[path])
			}
		}
	}
	if err := (&VerifyCmd{NATSFlags: n, StoreFlags: onServer}).Run(t.Context(), g); err != nil {
		t.Errorf("verify: %v", err)
	}
}

// mustBeMoved requires that no command opens the log in the folder.
func mustBeMoved(t *testing.T, folder string) {
	t.Helper()
	g := &Globals{Data: folder, quiet: true}
	for name, run := range map[string]func(context.Context, *Globals) error{
		"serve":  (&ServeCmd{HTTPFlags: HTTPFlags{Listen: "127.0.0.1:0"}}).Run,
		"verify": (&VerifyCmd{}).Run, "repair": (&RepairCmd{}).Run, "rebuild": (&RebuildCmd{}).Run,
		"export": (&ExportCmd{}).Run,
	} {
		var moved *eventlog.MovedError
		if err := run(t.Context(), g); !errors.As(err, &moved) {
			t.Errorf("%s in a folder whose log was moved gives %v", name, err)
		}
	}
}

// TestTheWayBack: the folder is served again, with the reports that it had.
func TestTheWayBack(t *testing.T) {
	folder := t.TempDir()
	a := mustOpen(t, folder)
	mustInvent(t, a, 2)
	mustClose(t, a)
	n := mustServeLog(t)
	g := &Globals{Data: folder, quiet: true}
	for _, back := range []bool{false, true} {
		if err := (&MigrateCmd{NATSFlags: n, Back: back}).Run(t.Context(), g); err != nil {
			t.Fatal(err)
		}
	}
	a = mustOpen(t, folder)
	mustInvent(t, a, 2) // everything was recorded: this adds nothing
	mustClose(t, a)
	if err := (&MigrateCmd{NATSFlags: n}).Run(t.Context(), g); err != nil {
		t.Fatal(err)
	}
	a = mustRun(t, folder, n, StoreFlags{}, allRoles()...)
	_, err := owner(a).record(t.Context(), []events.Event{mustMake(t, "job.opened", "opened-0001",
		map[string]string{"job_type": "stairwell", "title": "Invented"})})
	if err != nil {
		t.Fatal(err)
	}
	err = (&MigrateCmd{NATSFlags: n, Back: true}).Run(t.Context(), g)
	if events.CodeOf(err) != events.Conflict || !strings.Contains(err.Error(), "has recorded 1 commits since the move") {
		t.Errorf("going back after something was recorded gives %v", err)
	}
}

// TestMigrateNeedsTwoSides: a server to move to, and a ledger to move.
func TestMigrateNeedsTwoSides(t *testing.T) {
	folder := t.TempDir()
	for says, args := range map[string][]string{
		"name the server or cluster": {"migrate"},
		"there is no ledger":         {"migrate", "--nats", "nats://127.0.0.1:1"},
	} {
		cli, err := parse(t, append(args, "--data", folder)...)
		if err == nil {
			err = cli.Migrate.Run(t.Context(), &cli.Globals)
		}
		if events.CodeOf(err) != events.Invalid || !strings.Contains(err.Error(), says) {
			t.Errorf("%v gives %v", args, err)
		}
	}
}
