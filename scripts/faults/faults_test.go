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
	h := harness{program: program, kills: 2, times: 1, writers: 32, seed: 3, out: t.Output()}
	if err := h.run(t.Context(), []string{"kill", "cut", "starved", "bits-serving"}); err != nil {
		t.Fatal(err)
	}
	if err := h.run(t.Context(), []string{"flood"}); err == nil {
		t.Error("a fault that is not known is passed over")
	}
}
