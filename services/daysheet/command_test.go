package main

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/alecthomas/kong"

	"daysheet/events"
)

// parse reads arguments as the program does, without running the command.
func parse(t *testing.T, args ...string) (*CLI, error) {
	t.Helper()
	var cli CLI
	parser, err := newParser(&cli, args)
	if err != nil {
		return nil, err
	}
	parser.Exit = func(int) { t.Error("the parser ended the program") }
	_, err = parser.Parse(args)
	return &cli, err
}

func mustWrite(t *testing.T, name, content string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, []byte(content), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// TestFlagsGoBeforeEnvironmentBeforeFile: each source only fills what the one
// before it left open.
func TestFlagsGoBeforeEnvironmentBeforeFile(t *testing.T) {
	file := mustWrite(t, "daysheet.json", `{"listen": "127.0.0.1:1", "rate-per-second": 7, "log-json": true}`)
	cli, err := parse(t, "serve", "--config", file)
	if err != nil {
		t.Fatal(err)
	}
	if cli.Serve.Listen != "127.0.0.1:1" || cli.Serve.RatePerSec != 7 || !cli.LogJSON {
		t.Errorf("the file is not read: %+v", cli.Serve)
	}
	t.Setenv("DAYSHEET_LISTEN", "127.0.0.1:2")
	if cli, err = parse(t, "serve", "--config", file); err != nil || cli.Serve.Listen != "127.0.0.1:2" {
		t.Errorf("listen is %q (%v): the environment goes before the file", cli.Serve.Listen, err)
	}
	if cli, err = parse(t, "serve", "--config", file, "--listen", "127.0.0.1:3"); err != nil || cli.Serve.Listen != "127.0.0.1:3" {
		t.Errorf("listen is %q (%v): a flag goes before the environment", cli.Serve.Listen, err)
	}
	if cli.Serve.RatePerSec != 7 {
		t.Error("the file's other members still hold")
	}
}

func TestUnknownSettingsAreRefused(t *testing.T) {
	file := mustWrite(t, "daysheet.json", `{"lissen": "127.0.0.1:1", "listen": "127.0.0.1:1"}`)
	_, err := parse(t, "serve", "--config", file)
	if err == nil || !strings.Contains(err.Error(), "lissen") {
		t.Errorf("a misspelt setting gives %v", err)
	}
	for name, content := range map[string]string{"broken": `{"listen"`, "a list": `[]`} {
		if _, err := parse(t, "serve", "--config", mustWrite(t, "daysheet.json", content)); err == nil {
			t.Errorf("%s is taken for a configuration", name)
		}
	}
	if _, err := parse(t, "serve", "--config", filepath.Join(t.TempDir(), "none.json")); err == nil {
		t.Error("a file that is not there is taken for a configuration")
	}
}

// TestHelpTeaches: each command says more than its name.
func TestHelpTeaches(t *testing.T) {
	var cli CLI
	parser, err := newParser(&cli, nil)
	if err != nil {
		t.Fatal(err)
	}
	err = kong.Visit(parser.Model, func(node kong.Visitable, next kong.Next) error {
		switch n := node.(type) {
		case *kong.Node:
			if n.Type == kong.CommandNode && len(n.Help) < 15 {
				t.Errorf("command %s has no help", n.FullPath())
			}
		case *kong.Flag:
			if n.Name != "help" && len(n.Help) < 10 {
				t.Errorf("flag --%s has no help", n.Name)
			}
		}
		return next(nil)
	})
	if err != nil {
		t.Fatal(err)
	}
}

// TestRecordOneEvent: an event made from flags is recorded, and again as a
// duplicate; a member that does not exist is refused.
func TestRecordOneEvent(t *testing.T) {
	folder := t.TempDir()
	record := func(kind string, set map[string]string) error {
		c := RecordCmd{Type: kind, Job: "stair-12", Set: set, Time: "2026-03-02T08:00:00+01:00", ID: "invented-" + kind}
		c.Firm = "invented"
		return c.Run(context.Background(), &Globals{Data: folder})
	}
	open := map[string]string{"job_type": "stairwell", "title": "Stairwell, three floors"}
	for range 2 {
		if err := record("job.opened", open); err != nil {
			t.Fatal(err)
		}
	}
	if err := record("hours.booked", map[string]string{"person": "anna", "task": "sand", "minutes": "90"}); err != nil {
		t.Fatal(err)
	}
	for name, set := range map[string]map[string]string{
		"a member that does not exist": {"person": "anna", "task": "sand", "minuets": "90"},
		"a word for a number":          {"person": "anna", "task": "sand", "minutes": "ninety"},
		"a negative number":            {"person": "anna", "task": "sand", "minutes": "-5"},
	} {
		if err := record("hours.booked", set); events.CodeOf(err) != events.Invalid {
			t.Errorf("%s gives %v", name, err)
		}
	}
	a := mustOpen(t, folder)
	defer mustClose(t, a)
	if last, err := a.log.Last(t.Context(), 0); err != nil || last > 2 {
		t.Errorf("position %d (%v): the duplicate was stored", last, err)
	}
}

// TestVerifySaysWhatItFound: a ledger whose facts were changed ends with the
// exit code for findings.
func TestExitCodes(t *testing.T) {
	folder := t.TempDir()
	if code := run(context.Background(), []string{"version", "--data", folder}); code != 0 {
		t.Errorf("version ends with %d", code)
	}
	if code := run(context.Background(), []string{"verify", "--data", folder}); code != 0 {
		t.Errorf("verify of an empty ledger ends with %d", code)
	}
	if code := run(context.Background(), []string{"record", "no.such-kind", "--data", folder, "--firm", "invented"}); code != exitFailed {
		t.Errorf("a kind of event that does not exist ends with %d", code)
	}
	if code := run(context.Background(), []string{"export", "--data", folder}); code != exitFailed {
		t.Errorf("an export of no firm ends with %d", code)
	}
}
