package events

import (
	"bytes"
	"encoding/json"
	"errors"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
)

// FuzzEvent reads whatever comes. Nothing panics, every refusal is an [Error],
// and an event that is valid is written and read as the same event.
func FuzzEvent(f *testing.F) {
	for _, kind := range Types() {
		raw, err := json.Marshal(golden(f, kind))
		if err != nil {
			f.Fatal(err)
		}
		f.Add(raw)
	}
	f.Add([]byte(`{"specversion":"1.0","a":"\ud83c\udfa8","data":[{"a":1e2}]}`))
	f.Fuzz(func(t *testing.T, raw []byte) {
		var e Event
		err := e.UnmarshalJSON(raw)
		if err == nil {
			err = e.Validate()
		}
		if err != nil {
			var refusal *Error
			if !errors.As(err, &refusal) || refusal.Code != Invalid || refusal.Rule == "" {
				t.Fatalf("refused with %#v", err)
			}
			return
		}
		written, err := e.MarshalJSON()
		if err != nil {
			t.Fatalf("a valid event cannot be written: %v", err)
		}
		unset := bytes.Contains(raw, []byte("null")) || bytes.Contains(raw, []byte(`""`)) // such attributes are left out
		if canonical, err := Canonical(raw); err != nil || !unset && !bytes.Equal(canonical, written) {
			t.Fatalf("written as\n%s\nwant\n%s, %v", written, canonical, err)
		}
		sameAgain(t, written)
		var again Event
		if err := again.UnmarshalJSON(written); err != nil || again.Validate() != nil {
			t.Fatalf("%s is refused: %v, %v", written, err, again.Validate())
		}
		before, errBefore := e.Payload()
		after, errAfter := again.Payload()
		if errBefore != nil || errAfter != nil || !reflect.DeepEqual(before, after) {
			t.Fatalf("the payload became %+v (%v), it was %+v (%v)", after, errAfter, before, errBefore)
		}
	})
}

// FuzzCanonical compares with encoding/json: what is accepted is valid JSON with
// the same value, and what is valid is refused for one of the reasons that
// [Canonical] gives.
func FuzzCanonical(f *testing.F) {
	for _, seed := range []string{
		`{"numbers":[333333333.33333329,1E30,4.50,2e-3,0.000000000000000000000000001],"string":"\u20ac$\u000F\u000aA'\u0042\"\/"}`,
		`{"\u20ac":1,"\r":2,"\ufb33":3,"1":4,"\ud83d\ude00":5,"\u0080":6}`,
		`[null,true,false,-0,1e-400,9007199254740992,"\ud800"]`, `-0`, ` { "a" : { "a" : [ ] } , "a" : 1 } `, `"a`, `[1,]`,
	} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, raw []byte) {
		canonical, err := Canonical(raw)
		if err != nil {
			reasons := []string{"UTF-8", "surrogate pair", "stands twice", "nested deeper", "for a double", "beyond 2^53-1"}
			known := false
			for _, reason := range reasons {
				known = known || strings.Contains(err.Error(), reason)
			}
			if json.Valid(raw) && !known {
				t.Fatalf("%q is valid JSON and is refused: %v", raw, err)
			}
			return
		}
		if !json.Valid(raw) {
			t.Fatalf("%q is not JSON and becomes %s", raw, canonical)
		}
		if again, err := Canonical(canonical); err != nil || !bytes.Equal(again, canonical) {
			t.Fatalf("%s becomes %s, %v", canonical, again, err)
		}
		if !equalJSON(t, raw, canonical) {
			t.Fatalf("%q became another value: %s", raw, canonical)
		}
	})
}

// FuzzDecodeCommit reads whatever stands in a log. No fold panics on it, and a
// commit of events that can be true is encoded and read as the same commit.
func FuzzDecodeCommit(f *testing.F) {
	raw, err := os.ReadFile(filepath.Join("testdata", "commit-v1.json"))
	if err != nil {
		f.Fatal(err)
	}
	f.Add(raw)
	f.Add([]byte(`{"events":[{"specversion":"1.0","type":"daysheet.job.opened.v1","subject":"b","data":{}},` +
		`{"specversion":"1.0","type":"daysheet.event.voided.v1","subject":"b","data":{"event":""}}],"firm":"a","job":"b",` +
		`"previous":"","recorded_at":"2026-03-04T15:20:01Z","recorded_by":"","version":1}`))
	f.Add([]byte(`{"events":[{"specversion":"1.0"}],"firm":"a","job":"b","previous":"","recorded_at":"2026-03-04T15:20:01Z",` +
		`"recorded_by":"","version":1}`))
	f.Fuzz(func(t *testing.T, raw []byte) {
		c, err := DecodeCommit(raw)
		if err != nil {
			return
		}
		j := NewJob(c.Firm, c.Job)
		j.Version, j.Head = c.Version-1, c.Previous
		if err := j.Apply(c, 1, raw); err == nil && (j.Version != c.Version || j.Head != Hash(raw)) {
			t.Fatalf("%q was applied, and the job stands at %d", raw, j.Version)
		}
		if err := new(Firm).Apply(c, 1); err != nil && CodeOf(err) != Internal {
			t.Fatalf("%q: the firm says %v", raw, err)
		}
		for i := range c.Events {
			if c.Events[i].Validate() != nil {
				return // it cannot have been recorded
			}
		}
		encoded, err := c.Encode()
		if err != nil {
			t.Fatalf("%q cannot be encoded: %v", raw, err)
		}
		read, err := DecodeCommit(encoded)
		if err != nil {
			t.Fatalf("%s is refused: %v", encoded, err)
		}
		again, err := read.Encode()
		if err != nil || !bytes.Equal(again, encoded) {
			t.Fatalf("encoded as\n%s\nand again as\n%s, %v", encoded, again, err)
		}
	})
}
