package main

import (
	"bytes"
	"context"
	"errors"
	"net/http"
	"os"
	"strings"
	"testing"

	"daysheet/services/eventlog"
)

// TestDamageWhileServing flips a bit of the log under a server that has it open. What came
// in before that was found is kept, nothing comes in afterwards, every page says what to do,
// and it does not start again before a repair.
func TestDamageWhileServing(t *testing.T) {
	folder := t.TempDir()
	g := &Globals{Data: folder, quiet: true}
	a := mustOpen(t, folder)
	mustInvent(t, a, 30)
	mustCatchUp(t, a)
	mustClose(t, a)
	a = mustOpen(t, folder) // nothing of the log is in memory, since the facts need nothing of it
	c := owner(a)
	path := block(t, folder)
	content, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	settings := bytes.Index(content, []byte("firm.settings-changed"))
	if settings < 0 {
		t.Fatal("the firm's settings are not in the last block")
	}
	content[settings] ^= 1
	if err := os.WriteFile(path, content, 0o600); err != nil {
		t.Fatal(err)
	}
	openJob(t, c, "before-it-was-found", "")
	last, err := a.log.Last(t.Context(), eventlog.Partition(demoFirm))
	if err != nil {
		t.Fatal(err)
	}
	if err := a.projector.Wait(t.Context(), demoFirm, last); err == nil {
		t.Fatal("the facts go on behind a commit that cannot be read")
	}
	until(t, "the log refuses", func() bool { return a.log.Refuses() != nil })

	refused := `{"specversion":"1.0","id":"after-it-was-found","source":"/tests","type":"daysheet.hours.booked.v1",` +
		`"subject":"before-it-was-found","time":"2026-06-01T09:00:00Z","data":{"person":"una","task":"coat","minutes":9}}`
	answer := mustSend(t, c, http.StatusServiceUnavailable, http.MethodPost, "/v1/events", refused,
		"Content-Type", "application/cloudevents+json")
	_, page := send(t, c, http.MethodGet, "/office", "", "Accept", "text/html") // the firm's own commits are damaged
	for what, text := range map[string]string{
		"the refusal": answer, "/readyz": mustSend(t, c, http.StatusServiceUnavailable, http.MethodGet, "/readyz", ""),
		"a page": page,
	} {
		if !strings.Contains(text, "damaged") || !strings.Contains(text, "daysheet repair") {
			t.Errorf("%s does not say what to do:\n%s", what, text)
		}
	}
	mustClose(t, a)
	mustNotStart(t, g, StoreFlags{})
	if err := (&VerifyCmd{}).Run(t.Context(), g); !errors.Is(err, errFound) {
		t.Errorf("verify says %v", err)
	}
	if err := (&RepairCmd{}).Run(t.Context(), g); err != nil {
		t.Fatal(err)
	}
	if a, err = openApp(context.Background(), g, appConfig{}); err != nil {
		t.Fatal(err)
	}
	defer mustClose(t, a)
	mustCatchUp(t, a)
	export := string(mustGet(t, owner(a), "/v1/events"))
	if n := strings.Count(export, `"opened-before-it-was-found"`); n != 1 || strings.Contains(export, "after-it-was-found") {
		t.Errorf("what was acknowledged is there %d times, what was refused is there: %v", n,
			strings.Contains(export, "after-it-was-found"))
	}
}
