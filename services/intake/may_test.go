package intake

import (
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"daysheet/events"
)

// TestWhatThePhoneMayRecord sends every type of event with the token of a phone: what the
// crew records is taken, and what is the office's is refused before anything of the
// request is stored.
func TestWhatThePhoneMayRecord(t *testing.T) {
	b := newBench(t, nil)
	b.take(t, "office", opened("open-0001", "job-a"))
	office := map[events.Type]bool{}
	for _, kind := range []string{"job.opened", "estimate.issued", "estimate.accepted", "variation.agreed", "job.signed-off", "job.closed",
		"job.reopened", "firm.settings-changed", "product.listed", "rate-book.revised", "rate.rejected", "customer.recorded",
		"customer.erased", "access.changed", "material.purchased", "material.moved", "material.counted"} {
		office[events.Type("daysheet."+kind+".v1")] = true
	}
	for _, kind := range events.Types() {
		if office[kind] == kind.OfSite() {
			t.Errorf("%s: of the site %v", kind, kind.OfSite())
		}
		if kind.OfSite() || kind == events.AccessChanged {
			continue
		}
		example := golden(t, kind)
		before := b.last(t)
		a := b.send(t, request{token: "phone", contentType: typeBatch, body: batch(hours("hours-001", "job-a"), example)})
		if a.status != http.StatusForbidden || !strings.Contains(a.raw, string(kind)) || b.last(t) != before {
			t.Errorf("%s: %d %s; log %s after %s", kind, a.status, a.raw, b.last(t), before)
		}
	}
	b.take(t, "phone", hours("hours-001", "job-a"), event("note-0001", "note.added", "job-a", `{"text":"rain from noon"}`))
}

// TestWhatThePhoneMayTakeBack voids, with the token of a phone, what was recorded on site
// and what was agreed in the office.
func TestWhatThePhoneMayTakeBack(t *testing.T) {
	b := newBench(t, nil)
	b.take(t, "office", opened("open-0001", "job-a"), hours("hours-001", "job-a"),
		event("close-001", "job.closed", "job-a", `{"billed_e4":1000000}`), event("buy-00001", "material.purchased", "firm",
			`{"product":"tape","quantity_milli":1000,"unit":"roll","cost_e4":32000}`))
	void := func(id, job, target string) string {
		return event(id, "event.voided", job, `{"event":"`+target+`","reason":"mistaken"}`)
	}
	for name, c := range map[string]struct {
		body   string
		status int
	}{
		"the office's on a job":      {void("void-0001", "job-a", "close-001"), http.StatusForbidden},
		"the firm's":                 {void("void-0002", "firm", "buy-00001"), http.StatusForbidden},
		"what nobody recorded":       {void("void-0003", "job-a", "hours-999"), http.StatusUnprocessableEntity},
		"on a job that is not there": {void("void-0004", "job-z", "hours-001"), http.StatusUnprocessableEntity},
	} {
		before := b.last(t)
		a := b.send(t, request{token: "phone", contentType: typeEvent, body: c.body})
		if a.status != c.status || b.last(t) != before {
			t.Errorf("%s: %d %s; log %s after %s", name, a.status, a.raw, b.last(t), before)
		}
	}
	b.take(t, "office", void("void-0005", "job-a", "close-001"))
	mine := batch(hours("hours-002", "job-a"), void("void-0006", "job-a", "hours-002"), void("void-0007", "job-a", "hours-001"))
	for _, want := range []int{http.StatusCreated, http.StatusOK} { // and sent again
		if a := b.send(t, request{token: "phone", contentType: typeBatch, body: mine}); a.status != want {
			t.Errorf("its own: %d %s", a.status, a.raw)
		}
	}
}

// golden reads the example of a type of event.
func golden(t *testing.T, kind events.Type) string {
	t.Helper()
	raw, err := os.ReadFile(filepath.Join("..", "..", "events", "testdata", "v1", string(kind)+".json"))
	must(t, err)
	return string(raw)
}
