package main

import (
	"bytes"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"daysheet/events"
)

// TestClientSendsAgain: a command that records outlasts a server that cannot answer
// for a while, and says in the end why it gave up. The server asks for no pause.
func TestClientSendsAgain(t *testing.T) {
	for name, c := range map[string]struct {
		away     int // answers of the server before it can take events
		sent     int
		wantFail bool
	}{
		"at once":        {0, 1, false},
		"the third time": {2, 3, false},
		"never":          {100, recordTries, true},
	} {
		t.Run(name, func(t *testing.T) {
			var bodies [][]byte
			server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
				body, err := io.ReadAll(r.Body)
				if err != nil {
					t.Error(err)
				}
				bodies = append(bodies, body)
				if len(bodies) <= c.away {
					w.Header().Set("Retry-After", "0")
					w.WriteHeader(http.StatusServiceUnavailable)
					_, err = io.WriteString(w, `{"title": "The ledger cannot answer now", "status": 503}`)
				} else {
					_, err = io.WriteString(w, `{"receipts": [{"id": "booking-1", "sequence": 7}]}`)
				}
				if err != nil {
					t.Error(err)
				}
			}))
			defer server.Close()
			to := &client{http: server.Client(), base: server.URL}
			booking := mustMake(t, "hours.booked", "booking-1", map[string]string{"person": "anna", "task": "sand", "minutes": "30"})
			receipts, err := to.record(t.Context(), []events.Event{booking})
			if c.wantFail {
				if err == nil || !strings.Contains(err.Error(), "The ledger cannot answer now") {
					t.Errorf("the error is %v", err)
				}
			} else if err != nil || len(receipts) != 1 || receipts[0].Sequence != 7 {
				t.Errorf("receipts %+v (%v)", receipts, err)
			}
			if len(bodies) != c.sent {
				t.Errorf("sent %d times, want %d", len(bodies), c.sent)
			}
			for _, body := range bodies {
				if !bytes.Equal(body, bodies[0]) {
					t.Errorf("sent %s, and %s before", body, bodies[0])
				}
			}
		})
	}
}
