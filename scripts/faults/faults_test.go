package main

import (
	"os/exec"
	"path/filepath"
	"testing"
)

// TestNothingAcknowledgedIsLost runs a short round of what scripts/chaos does at
// length.
func TestNothingAcknowledgedIsLost(t *testing.T) {
	program := filepath.Join(t.TempDir(), "daysheet")
	if out, err := exec.Command("go", "build", "-o", program, "daysheet/services/daysheet").CombinedOutput(); err != nil {
		t.Fatalf("build the program: %v\n%s", err, out)
	}
	h := harness{program: program, kills: 4, writers: 8, seed: 3}
	if err := h.run(t.Context()); err != nil {
		t.Fatal(err)
	}
}
