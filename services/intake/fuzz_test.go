package intake

import (
	"bytes"
	"encoding/json"
	"errors"
	"testing"

	"daysheet/events"
	"daysheet/services/httpd"
)

// FuzzDecode checks that whatever is sent is either refused with a status below
// 500, or comes out as events that the log will be able to write and read again.
func FuzzDecode(f *testing.F) {
	good := hours("hours-001", "job-a")
	for _, seed := range []struct{ contentType, body string }{
		{typeEvent, good}, {typeJSON, batch(good, opened("open-0001", "job-b"))}, {typeBatch, "[]"}, {typeBatch, batch("{}", "7")},
		{typeJSON, " null"}, {typeJSON, `{"id":"a","id":"b"}`}, {"text/plain", good}, {"application/json; =", ""},
		{typeEvent, event("coat-0001", "coat.applied", "job-a", `{"task":"coat","coat":1,"quantity_milli":1,"unit":"m2","wet_film_um":[80]}`)},
		{typeJSON, "[[[[[[[["}, {typeJSON, `{"specversion":"1.0","data":1e999}`}, {typeJSON, "{\"id\":\"\\ud800\"}"},
	} {
		f.Add(seed.contentType, []byte(seed.body))
	}
	f.Fuzz(func(t *testing.T, contentType string, body []byte) {
		sent := bytes.Clone(body)
		list, err := decode(contentType, body)
		if !bytes.Equal(sent, body) {
			t.Error("decoding changed the body")
		}
		if err != nil {
			if p := httpd.Problem(err); p.Status < 400 || p.Status >= 500 || p.Detail == "" || list != nil {
				t.Errorf("refused with status %d (%s) and %d events", p.Status, p.Detail, len(list))
			}
			return
		}
		if len(list) == 0 || len(list) > events.BatchMax {
			t.Fatalf("%d events", len(list))
		}
		for _, e := range list {
			raw, err := json.Marshal(e)
			if err != nil {
				t.Fatalf("event %s cannot be written: %v", e.ID, err)
			}
			var again events.Event
			if err := errors.Join(json.Unmarshal(raw, &again), again.Validate()); err != nil {
				t.Fatalf("event %s cannot be read again: %v", e.ID, err)
			}
			before, err := events.DigestOf(&e)
			after, err2 := events.DigestOf(&again)
			if err := errors.Join(err, err2); err != nil || before != after {
				t.Fatalf("event %s is another one after it was written: %v", e.ID, err)
			}
		}
	})
}

// BenchmarkDecode measures reading and checking one batch of 100 bookings.
func BenchmarkDecode(b *testing.B) {
	list := make([]string, 100)
	for i := range list {
		list[i] = hours("hours-001", "job-a")
	}
	body := []byte(batch(list...))
	b.SetBytes(int64(len(body)))
	for b.Loop() {
		if _, err := decode(typeBatch, body); err != nil {
			b.Fatal(err)
		}
	}
}
