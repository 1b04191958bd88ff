package main

import (
	"errors"
	"os"
	"path/filepath"
	"testing"

	"daysheet/events"
)

// TestVerifyAFile proves a paper and an evidence file from the command line: with the
// ledger, with the key alone, and changed.
func TestVerifyAFile(t *testing.T) {
	folder, elsewhere := t.TempDir(), t.TempDir()
	a := mustOpen(t, folder)
	c := mustInvent(t, a, 5)
	files := map[string]string{}
	for name, path := range map[string]string{"paper.pdf": "/jobs/d-0002/handover.pdf",
		"evidence.tar": "/v1/jobs/d-0002/evidence"} {
		files[name] = filepath.Join(elsewhere, name)
		if err := os.WriteFile(files[name], mustGet(t, c, path), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	key := filepath.Join(elsewhere, "firm.pem")
	if err := os.WriteFile(key, mustGet(t, c, "/keys/"+demoFirm), 0o600); err != nil {
		t.Fatal(err)
	}
	mustClose(t, a)
	verify := func(data, key, file string) error {
		return (&VerifyCmd{Files: []string{file}, Key: key}).Run(t.Context(), &Globals{Data: data, quiet: true})
	}
	for name, file := range files {
		if err := verify(folder, "", file); err != nil {
			t.Errorf("%s against its ledger: %v", name, err)
		}
		if err := verify(elsewhere, key, file); err != nil {
			t.Errorf("%s with the key alone: %v", name, err)
		}
		if err := verify(elsewhere, "", file); events.CodeOf(err) != events.Invalid {
			t.Errorf("%s without a key: %v", name, err)
		}
		raw, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		raw[len(raw)/3] ^= 1
		if err := os.WriteFile(file, raw, 0o600); err != nil {
			t.Fatal(err)
		}
		if err := verify(folder, "", file); !errors.Is(err, errFound) {
			t.Errorf("%s changed: %v", name, err)
		}
	}
	if err := verify(folder, "", key); err == nil || errors.Is(err, errFound) {
		t.Errorf("a file of another kind: %v", err)
	}
}
