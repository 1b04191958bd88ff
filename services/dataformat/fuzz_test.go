package dataformat

import (
	"errors"
	"os"
	"path/filepath"
	"testing"
)

// FuzzFormat reads whatever stands in the file that says how a data folder is laid out: it
// is a format that is known, a newer one, or refused; reading changes nothing.
func FuzzFormat(f *testing.F) {
	for _, seed := range []string{`{"format":1,"program":"v0.1.0"}`, `{"format":2,"program":"v0.2.0"}`, `{"format":0}`, `{"format":1.5}`,
		`{"format":-1}`, `{"format":99999999999999999999}`, `{}`, ``, `[`, `{"format":1}{"format":2}`, `{"format":1,"format":9}`} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, raw []byte) {
		folder := t.TempDir()
		path := filepath.Join(folder, FileName)
		if err := os.WriteFile(path, raw, 0o600); err != nil {
			t.Fatal(err)
		}
		number, err := Read(folder)
		if err == nil && (number < 1 || number > Current) {
			t.Fatalf("%q is taken for format %d", raw, number)
		}
		var newer *NewerError
		if errors.As(err, &newer) && newer.Number <= Current {
			t.Fatalf("%q is said to be newer: %v", raw, err)
		}
		if kept, err := os.ReadFile(path); err != nil || string(kept) != string(raw) {
			t.Fatalf("the file is now %q, %v", kept, err)
		}
	})
}
