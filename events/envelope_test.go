package events

import (
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"strings"
	"testing"
	"time"
)

// envelope returns a whole event with the members in changes set, or left out
// where the change is empty.
func envelope(t *testing.T, changes map[string]string) []byte {
	t.Helper()
	members := map[string]json.RawMessage{
		"specversion": json.RawMessage(`"1.0"`), "id": json.RawMessage(`"tap-0001"`),
		"source": json.RawMessage(`"/phones/van-2"`), "type": json.RawMessage(`"daysheet.hours.booked.v1"`),
		"subject": json.RawMessage(`"stairwell-7"`), "time": json.RawMessage(`"2026-03-04T16:20:00+01:00"`),
		"data": json.RawMessage(`{"person":"anna","task":"sand","minutes":90}`),
	}
	for name, value := range changes {
		members[name] = json.RawMessage(value)
		if value == "" {
			delete(members, name)
		}
	}
	return marshal(t, members)
}

// TestEnvelope tries the context attributes of CloudEvents 1.0.2: those it
// requires, their types, and the names and values of extensions.
func TestEnvelope(t *testing.T) {
	long := strings.Repeat("x", 201)
	for _, test := range []struct{ name, value, want string }{ // want is empty where the event is accepted
		{"specversion", `"1.0"`, ""},
		{"specversion", ``, `specversion is "": the only version is "1.0"`},
		{"specversion", `null`, `specversion is "": the only version is "1.0"`},
		{"specversion", `"0.3"`, `specversion is "0.3": the only version is "1.0"`},
		{"specversion", `"1.0.2"`, `specversion is "1.0.2": the only version is "1.0"`},
		{"specversion", `1.0`, `specversion is 1.0: the attribute is a string`},
		{"id", ``, `id is "": use 8 to 64`},
		{"id", `null`, `id is "": use 8 to 64`},
		{"id", `"short-7"`, `id is "short-7": use 8 to 64`},
		{"id", `"` + strings.Repeat("x", 64) + `"`, ""},
		{"id", `"` + strings.Repeat("x", 65) + `"`, "use 8 to 64"},
		{"id", `"tap 0001"`, `id is "tap 0001": use 8 to 64`},
		{"id", `12345678`, `id is 12345678: the attribute is a string`},
		{"source", ``, `source is "": say who recorded it`},
		{"source", `"urn:uuid:01985b2a-7c1e-7d3f-9a44-6f0c2b1e5d01"`, ""},
		{"source", `"van-2"`, ""},
		{"source", `"van 2"`, `source is "van 2": say who recorded it`},
		{"source", `"/phones/%zz"`, `source is "/phones/%zz": say who recorded it`},
		{"source", `"/phones/ä"`, `source is "/phones/ä": say who recorded it`},
		{"source", `"` + long[:200] + `"`, ""},
		{"source", `"` + long + `"`, "say who recorded it"},
		{"type", ``, `type is "": not an event type of this ledger`},
		{"type", `"daysheet.hours.booked.v2"`, `type is "daysheet.hours.booked.v2": not an event type`},
		{"subject", ``, `subject is "": the subject is the job`},
		{"subject", `"Stairwell 7"`, `subject is "Stairwell 7": the subject is the job`},
		{"subject", `"firm"`, `subject is "firm": daysheet.hours.booked.v1 belongs to a job, and "firm" is not one`},
		{"time", ``, `time is "": when it happened`},
		{"time", `"2026-03-04T16:20:00Z"`, ""},
		{"time", `"2026-03-04T16:20:00.123456789-12:00"`, ""},
		{"time", `"2024-02-29T23:59:59+14:00"`, ""},
		{"time", `"2026-02-29T16:20:00Z"`, `time is "2026-02-29T16:20:00Z": when it happened`},
		{"time", `"2026-03-04"`, "when it happened"},
		{"time", `"2026-03-04T16:20:00"`, "when it happened"},
		{"time", `"2026-03-04 16:20:00Z"`, "when it happened"},
		{"time", `"2026-03-04T6:20:00Z"`, "when it happened"},
		{"time", `"2026-03-04T16:20:00,5Z"`, "when it happened"},
		{"time", `"2026-03-04T16:20:00+25:00"`, "when it happened"},
		{"time", `"2026-03-04T16:20:00-24:00"`, "when it happened"},
		{"time", `"2026-03-04T24:00:00Z"`, "when it happened"},
		{"time", `"2026-03-04t16:20:00z"`, "when it happened"},
		{"time", `"2026-03-04T16:20:00.1234567890Z"`, ""}, // longer than any clock, within the limit
		{"time", `"2026-03-04T16:20:00.1234567890123456Z"`, "when it happened"},
		{"time", `"1969-12-31T23:59:59Z"`, "when it happened"},
		{"time", `"2149-01-01T00:00:00Z"`, "when it happened"},
		{"time", `1772637600`, `time is 1772637600: the attribute is a string`},
		{"datacontenttype", `"application/json"`, ""},
		{"datacontenttype", `null`, ""},
		{"datacontenttype", `"text/xml"`, `datacontenttype is "text/xml": the payload is application/json`},
		{"dataschema", `"urn:daysheet:schema:daysheet.hours.booked.v1"`, ""},
		{"dataschema", `"schema/hours.json"`, `dataschema is "schema/hours.json": a URI of at most 200 bytes`},
		{"dataschema", `"urn:` + long + `"`, "a URI of at most 200 bytes"},
		{"dataschema", `"urn:a b"`, "a URI of at most 200 bytes"},
		{"data", ``, `data: it must be given`},
		{"data", `null`, `data is null: an object is needed here`},
		{"data", `"eyJ9"`, `data is "eyJ9": an object is needed here`},
		{"data_base64", `"e30="`, `data_base64: send the payload as JSON in data`},

		{"traceparent", `"00-0af7651916cd43dd8448eb211c80319c-b7ad6b7169203331-01"`, ""},
		{"demo", `true`, ""},
		{"sampledrate", `2147483647`, ""},
		{"sampledrate", `-2147483648`, ""},
		{"sampledrate", `2147483648`, `sampledrate is 2147483648: an attribute is a string, a bool or a whole number of 32 bits`},
		{"sampledrate", `1.5`, `sampledrate is 1.5: an attribute is`},
		{"sampledrate", `1e2`, `sampledrate is 1e2: an attribute is`},
		{"sampledrate", `null`, ""},
		{"vendor", `{"a":1}`, `vendor is {"a":1}: an attribute is`},
		{"vendor", `[1]`, `vendor is [1]: an attribute is`},
		{"vendor", `""`, ""},
		{"vendor", `"` + strings.Repeat("x", 2000) + `"`, ""},
		{"vendor", `"` + strings.Repeat("x", 2001) + `"`, "at most 2000 bytes without control characters"},
		{"vendor", `"a\u0000b"`, "at most 2000 bytes without control characters"},
		{"a2345678901234567890", `1`, ""},
		{"a23456789012345678901", `1`, "a23456789012345678901: an attribute name has 1 to 20 characters"},
		{"", `1`, "an attribute name has 1 to 20 characters"},
		{"traceParent", `"x"`, "traceParent: an attribute name is made of a-z and 0-9"},
		{"trace-parent", `"x"`, "trace-parent: an attribute name is made of a-z and 0-9"},
		{"größe", `1`, "größe: an attribute name is made of a-z and 0-9"},
	} {
		var e Event
		err := e.UnmarshalJSON(envelope(t, map[string]string{test.name: test.value}))
		if err == nil {
			err = e.Validate()
		}
		if test.want == "" && err != nil || test.want != "" && !strings.Contains(fmt.Sprint(err), test.want) {
			t.Errorf("%s %s: got %v, want %q", test.name, test.value, err, test.want)
		}
		if err != nil && CodeOf(err) != Invalid {
			t.Errorf("%s %s: the code is %s", test.name, test.value, CodeOf(err))
		}
	}
}

func TestEventsThatAreNone(t *testing.T) {
	for _, test := range []struct{ in, want string }{
		{`null`, "an event is a JSON object"},
		{`[]`, "an event is a JSON object"},
		{`7`, "an event is a JSON object"},
		{``, "an event is a JSON object"},
		{`{`, "not valid JSON"},
		{`{} {}`, `the only version is "1.0"`},
		{`{"specversion":"1.0"} {}`, "not valid JSON: the end is needed at byte 22"},
		{`{"specversion":"1.0","id":"tap-0001","id":"tap-0002"}`, "event tap-0001: id: the member stands twice in one object"},
		{`{"specversion":"1.0","demo":true,"demo":false}`, "demo: the member stands twice in one object"},
		{`{"specversion":"1.0","data":{},"data":{}}`, "data: the member stands twice in one object"},
		{"{\"specversion\":\"1.0\",\"source\":\"\xff\"}", "not valid JSON: the text is not UTF-8"},
		{`{"specversion":"1.0","source":"\ud800"}`, "a text holds half of a surrogate pair"},
		{`{"specversion":"1.0","id":"tap-0001","data_base64":"e30="}`, "event tap-0001: data_base64: send the payload"},
	} {
		var e Event
		err := e.UnmarshalJSON([]byte(test.in))
		if CodeOf(err) != Invalid || !strings.Contains(err.Error(), test.want) {
			t.Errorf("%s: got %v, want %q", test.in, err, test.want)
		}
	}
}

func TestFirmEventsStandUnderTheFirm(t *testing.T) {
	for _, kind := range Types() {
		e := golden(t, kind)
		e.Subject = FirmJob
		switch {
		case kind.OfFirm() || kind == EventVoided:
			if err := e.Validate(); err != nil {
				t.Error(err)
			}
		default:
			refused(t, e, "subject", "belongs to a job")
		}
		e.Subject = "stairwell-7"
		if kind.OfFirm() {
			refused(t, e, "subject", `belongs to the firm: the subject is "firm"`)
		}
	}
}

// TestExtensionsSurviveTheLedger takes extensions that nobody here knows through
// decode, commit, and decode again.
func TestExtensionsSurviveTheLedger(t *testing.T) {
	sent := map[string]string{
		"traceparent": `"00-\u0030af7651916cd43dd8448eb211c80319c-b7ad6b7169203331-01"`,
		"vendor":      `"A\/B ☂ \"é\" \ud83c\udfa8"`, "demo": `false`, "sampledrate": ` -30 `, "zero": `0`, "empty": `""`,
	}
	kept := map[string]string{
		"traceparent": `"00-0af7651916cd43dd8448eb211c80319c-b7ad6b7169203331-01"`,
		"vendor":      `"A/B ☂ \"é\" 🎨"`, "demo": `false`, "sampledrate": `-30`, "zero": `0`, "empty": `""`,
	}
	var e Event
	if err := e.UnmarshalJSON(envelope(t, sent)); err != nil {
		t.Fatal(err)
	}
	if err := e.Validate(); err != nil {
		t.Fatal(err)
	}
	c := Commit{Firm: "north-light", Job: "stairwell-7", Version: 1, Events: []Event{e}}
	raw, err := c.Encode()
	if err != nil {
		t.Fatal(err)
	}
	read, err := DecodeCommit(raw)
	if err != nil {
		t.Fatal(err)
	}
	got := map[string]string{}
	for name, value := range read.Events[0].Extensions {
		got[name] = string(value)
	}
	if !maps.Equal(got, kept) {
		t.Errorf("kept %v, want %v", got, kept)
	}
}

func TestBatchesAreListsOfEvents(t *testing.T) {
	first, second := envelope(t, nil), envelope(t, map[string]string{"id": `"tap-0002"`})
	var batch []Event
	if err := json.Unmarshal([]byte("["+string(first)+",\n "+string(second)+"]"), &batch); err != nil {
		t.Fatal(err)
	}
	if len(batch) != 2 || batch[0].ID != "tap-0001" || batch[1].ID != "tap-0002" {
		t.Errorf("read %+v", batch)
	}
	written, err := json.Marshal(batch)
	if err != nil {
		t.Fatal(err)
	}
	want, err := Canonical([]byte("[" + string(first) + "," + string(second) + "]"))
	if err != nil {
		t.Fatal(err)
	}
	if string(written) != string(want) {
		t.Errorf("written as\n%s\nwant\n%s", written, want)
	}
	bad := envelope(t, map[string]string{"id": `"tap-0003"`, "specversion": `"2.0"`})
	err = json.Unmarshal([]byte("["+string(first)+","+string(bad)+"]"), &batch)
	var refusal *Error
	if !errors.As(err, &refusal) || refusal.EventID != "tap-0003" || refusal.Field != "specversion" {
		t.Errorf("a batch with a bad event: %v", err)
	}
}

// TestEventsKeepNothingOfTheirInput overwrites the bytes an event was read from.
func TestEventsKeepNothingOfTheirInput(t *testing.T) {
	raw := envelope(t, map[string]string{"vendor": `"kept"`})
	var e Event
	if err := e.UnmarshalJSON(raw); err != nil {
		t.Fatal(err)
	}
	before, err := e.MarshalJSON()
	if err != nil {
		t.Fatal(err)
	}
	clear(raw)
	if after, err := e.MarshalJSON(); err != nil || string(after) != string(before) {
		t.Errorf("the event became %s, %v", after, err)
	}
}

// TestEventsMadeInGo tries what only a program can put into an [Event].
func TestEventsMadeInGo(t *testing.T) {
	for name, change := range map[string]func(*Event){
		"an attribute that is not UTF-8":      func(e *Event) { e.Source = "/phones/\xff" },
		"an extension with a reserved name":   func(e *Event) { e.Extensions = map[string]json.RawMessage{"data": []byte(`1`)} },
		"an extension that is not JSON":       func(e *Event) { e.Extensions = map[string]json.RawMessage{"vendor": []byte(`{`)} },
		"an extension with two values":        func(e *Event) { e.Extensions = map[string]json.RawMessage{"vendor": []byte(`1 2`)} },
		"an extension that is not UTF-8":      func(e *Event) { e.Extensions = map[string]json.RawMessage{"vendor": []byte("\"\xff\"")} },
		"data that is not JSON":               func(e *Event) { e.Data = json.RawMessage(`{"person"`) },
		"data with something behind it":       func(e *Event) { e.Data = append(e.Data, " 1"...) },
		"data with a member twice":            func(e *Event) { e.Data = []byte(`{"person":"a","person":"a"}`) },
		"data with half of a surrogate pair":  func(e *Event) { e.Data = []byte(`{"person":"\ud800"}`) },
		"an extension whose name is not UTF8": func(e *Event) { e.Extensions = map[string]json.RawMessage{"\xff": []byte(`1`)} },
	} {
		var e Event
		if err := e.UnmarshalJSON(envelope(t, nil)); err != nil {
			t.Fatal(err)
		}
		change(&e)
		if err := e.Validate(); CodeOf(err) != Invalid {
			t.Errorf("%s: Validate says %v", name, err)
		}
		if raw, err := e.MarshalJSON(); err == nil {
			t.Errorf("%s: written as %s", name, raw)
		}
	}
}

func TestWhenAnEventHappened(t *testing.T) {
	e := Event{Time: "2026-03-04T00:20:00+01:00"}
	if got := e.OccurredAt().UTC(); !got.Equal(time.Date(2026, 3, 3, 23, 20, 0, 0, time.UTC)) {
		t.Errorf("occurred at %s", got)
	}
	if got := e.Day(); got != "2026-03-04" {
		t.Errorf("the day is %q: it must be the sender's, not that of UTC", got)
	}
	if e = (Event{Time: "soon"}); !e.OccurredAt().IsZero() || e.Day() != "" {
		t.Errorf("an unreadable time is %s on %q", e.OccurredAt(), e.Day())
	}
}
