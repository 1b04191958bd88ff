package main

import (
	"errors"
	"os"
	"path/filepath"
	"testing"
)

// TestVerifyNamesDamagedFacts flips bits in every block of the file of facts, which
// verify must not pass over because they can be made again.
func TestVerifyNamesDamagedFacts(t *testing.T) {
	folder := t.TempDir()
	g := &Globals{Data: folder, quiet: true}
	a := mustOpen(t, folder)
	mustInvent(t, a, 2)
	mustClose(t, a)
	if err := (&VerifyCmd{}).Run(t.Context(), g); err != nil {
		t.Fatalf("verify a whole ledger: %v", err)
	}
	path := filepath.Join(folder, factsFile)
	content, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	for at := 100; at < len(content); at += 4096 {
		content[at] ^= 4
	}
	if err := os.WriteFile(path, content, 0o600); err != nil {
		t.Fatal(err)
	}
	if err := (&VerifyCmd{}).Run(t.Context(), g); !errors.Is(err, errFound) {
		t.Errorf("verify of damaged facts ends with %v", err)
	}
	if err := (&RebuildCmd{}).Run(t.Context(), g); err != nil {
		t.Fatal(err)
	}
	if err := (&VerifyCmd{}).Run(t.Context(), g); err != nil {
		t.Errorf("verify after a rebuild: %v", err)
	}
}
