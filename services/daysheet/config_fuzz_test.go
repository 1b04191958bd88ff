package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// FuzzConfig: whatever stands in a configuration file is a setting or is refused in
// one line that names the file or the flag. What is read is read the same again.
func FuzzConfig(f *testing.F) {
	for _, seed := range []string{`{"listen": "127.0.0.1:1", "rate-per-second": 7, "log-json": true}`, `{"rate-per-second": 1000000}`,
		`{"run": ["intake", "projector"]}`, `{"data": null}`, `{"data": {"a": 1}}`, `null`, `[]`, `{"help": true}`, `{"debug": "no"}`,
		`{"rate-per-second": 1e999}`, `{"run": ["a,b", ["c"]]}`, `{"data": "\u0000", "data": "x"}`, `{"lissen": 1}`} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, raw []byte) {
		file := filepath.Join(t.TempDir(), "daysheet.json")
		if err := os.WriteFile(file, raw, 0o600); err != nil {
			t.Fatal(err)
		}
		read, err := parse(t, "serve", "--config", file)
		if err != nil {
			if text := err.Error(); !strings.Contains(text, "configuration") && !strings.Contains(text, "--") {
				t.Errorf("refused without saying what: %s", text)
			}
			return
		}
		if again, err := parse(t, "serve", "--config", file); err != nil || again.Globals != read.Globals ||
			again.Serve.Listen != read.Serve.Listen {
			t.Errorf("read in two ways: %v", err)
		}
	})
}

// TestNumbersInTheFile: a large number has the digits that stand in the file, and what
// is neither text, number nor list of them is no setting.
func TestNumbersInTheFile(t *testing.T) {
	cli, err := parse(t, "serve", "--config", mustWrite(t, "daysheet.json", `{"rate-per-second": 1000000, "run": ["intake"]}`))
	if err != nil || cli.Serve.RatePerSec != 1_000_000 {
		t.Errorf("%d requests a second: %v", cli.Serve.RatePerSec, err)
	}
	for _, content := range []string{`null`, `{"data": null}`, `{"data": {"folder": "x"}}`, `{"run": [["intake"]]}`} {
		if _, err := parse(t, "serve", "--config", mustWrite(t, "daysheet.json", content)); err == nil ||
			!strings.Contains(err.Error(), "configuration") {
			t.Errorf("%s: %v", content, err)
		}
	}
}
