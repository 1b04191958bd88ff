package main

import (
	"context"
	"net"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/alecthomas/kong"

	"daysheet/events"
	"daysheet/services/httpd"
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

// TestExitCodes: what scripts rely on. A folder that holds no ledger, which is
// what a mistyped name comes to, is not a sound one.
func TestExitCodes(t *testing.T) {
	folder := t.TempDir()
	if code := run(context.Background(), []string{"version", "--data", folder}); code != 0 {
		t.Errorf("version ends with %d", code)
	}
	for _, command := range []string{"verify", "rebuild", "export"} {
		if code := run(context.Background(), []string{command, "--data", folder}); code != exitFailed {
			t.Errorf("%s where there is no ledger ends with %d", command, code)
		}
	}
	if left, err := os.ReadDir(folder); err != nil || len(left) > 0 {
		t.Errorf("commands that read made %v (%v)", left, err)
	}
	mustClose(t, mustOpen(t, folder))
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

// TestVerifyEndsWithTheExitCodeForFindings puts the facts of another ledger in
// the place of a ledger's own.
func TestVerifyEndsWithTheExitCodeForFindings(t *testing.T) {
	var folders []string
	for _, title := range []string{"Stairwell, three floors", "Stairwell, four floors"} {
		folder := t.TempDir()
		folders = append(folders, folder)
		opened := []string{"record", "job.opened", "--data", folder, "--firm", "invented", "--job", "stair-12",
			"--set", "job_type=stairwell", "--set", "title=" + title}
		if code := run(t.Context(), opened); code != 0 {
			t.Fatalf("record ends with %d", code)
		}
		a := mustOpen(t, folder)
		if err := a.catchUp(t.Context(), "invented"); err != nil {
			t.Fatal(err)
		}
		mustClose(t, a)
		if code := run(t.Context(), []string{"verify", "--data", folder}); code != 0 {
			t.Errorf("verify of a sound ledger ends with %d", code)
		}
	}
	if err := os.Rename(filepath.Join(folders[1], factsFile), filepath.Join(folders[0], factsFile)); err != nil {
		t.Fatal(err)
	}
	if code := run(t.Context(), []string{"verify", "--data", folders[0]}); code != exitFound {
		t.Errorf("verify of facts that are not the log's ends with %d", code)
	}
}

// TestTokensOfTheOnlyFirm: a data folder with one firm needs no --firm, and a
// folder with none or several says so.
func TestTokensOfTheOnlyFirm(t *testing.T) {
	folder := t.TempDir()
	add := func(args ...string) int {
		return run(t.Context(), append([]string{"token", "add", "--data", folder}, args...))
	}
	for _, step := range []struct {
		args []string
		want int
	}{
		{[]string{"first"}, exitFailed}, // no firm yet
		{[]string{"first", "--firm", "north"}, 0},
		{[]string{"second"}, 0},
		{[]string{"third", "--firm", "No Key!"}, exitFailed},
		{[]string{"first", "--firm", "south"}, 0},
		{[]string{"third"}, exitFailed}, // which of two?
	} {
		if code := add(step.args...); code != step.want {
			t.Errorf("token add %v ends with %d, want %d", step.args, code, step.want)
		}
	}
	tokens, err := httpd.OpenTokens(filepath.Join(folder, tokensFile))
	if err != nil {
		t.Fatal(err)
	}
	var made []string
	for _, token := range tokens.List() {
		made = append(made, token.Firm+"/"+token.Name)
	}
	slices.Sort(made)
	if want := []string{"north/first", "north/second", "south/first"}; !slices.Equal(made, want) {
		t.Errorf("tokens %v, want %v", made, want)
	}
	if err := tokens.Close(); err != nil {
		t.Fatal(err)
	}
}

// TestVisitable: a listener on all addresses has no address of its own to visit.
func TestVisitable(t *testing.T) {
	for address, want := range map[string]string{
		"0.0.0.0:80": "localhost:80", "[::]:80": "localhost:80", "127.0.0.1:80": "127.0.0.1:80", "[::1]:80": "[::1]:80",
	} {
		tcp, err := net.ResolveTCPAddr("tcp", address)
		if err != nil {
			t.Fatal(err)
		}
		if got := visitable(tcp); got != want {
			t.Errorf("%s is visited at %s, want %s", address, got, want)
		}
	}
}
