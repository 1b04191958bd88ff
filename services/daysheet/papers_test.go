package main

import (
	"bytes"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestPapersOfTheLedger goes the whole way: jobs in the log, a customer sealed in it,
// the papers on the engine, and the customer erased.
func TestPapersOfTheLedger(t *testing.T) {
	folder := t.TempDir()
	a := mustOpen(t, folder)
	defer mustClose(t, a)
	c := mustInvent(t, a, 5)
	const job = "d-0003"
	page := string(mustGet(t, c, "/jobs/"+job+"/handover"))
	if !strings.Contains(page, "Name and address of the customer") || !strings.Contains(page, "Coating system by surface") {
		t.Error("the page does not say that the customer is missing, or is not whole")
	}
	if front := string(mustGet(t, c, "/jobs/"+job)); !strings.Contains(front, "/jobs/"+job+"/handover") {
		t.Error("the page of the job does not link to its papers")
	}
	before := mustGet(t, c, "/jobs/"+job+"/handover.pdf")
	mustSend(t, c, http.StatusCreated, http.MethodPut, "/v1/customers/c-1003", irisBody())
	page = string(mustGet(t, c, "/jobs/"+job+"/handover"))
	for _, want := range []string{irisName, irisAddress, irisPhone} {
		if !strings.Contains(page, want) {
			t.Errorf("the page misses %q", want)
		}
	}
	if bytes.Equal(before, mustGet(t, c, "/jobs/"+job+"/handover.pdf")) {
		t.Error("the PDF is the same with the customer as without")
	}
	// d-0006 runs: the demo has two running jobs behind its five finished ones.
	mustSend(t, c, http.StatusCreated, http.MethodPost, "/v1/jobs/d-0006/sign-off", signing("signed-off-9", ""))
	signed := string(mustGet(t, c, "/jobs/d-0006/handover"))
	if !strings.Contains(signed, signer) || !strings.Contains(signed, `class="drawn" src="data:image/png`) {
		t.Error("the report does not show who signed, and how")
	}
	mustSend(t, c, http.StatusOK, http.MethodPost, "/v1/customers/c-1003/erase", `{"reason":"asked for it"}`)
	page = string(mustGet(t, c, "/jobs/"+job+"/handover"))
	if strings.Contains(page, irisName) || !strings.Contains(page, "erased on") {
		t.Error("the page does not say that the customer was erased")
	}
	key, err := os.Stat(filepath.Join(folder, signingFolder, demoFirm+".pem"))
	if err != nil {
		t.Fatal(err)
	}
	if mode := key.Mode().Perm(); mode != 0o600 {
		t.Errorf("the signing key has the mode %o", mode)
	}
}
