package events

import (
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
)

// with returns e with the member of its data at path set to value; without the
// member where value is absent.
func with(t *testing.T, e Event, path string, value any) Event {
	t.Helper()
	var data any
	if err := json.Unmarshal(e.Data, &data); err != nil {
		t.Fatal(err)
	}
	inner := data
	all := steps(path)
	for i, step := range all {
		last := i == len(all)-1
		switch v := inner.(type) {
		case []any:
			if last {
				v[0] = value
			}
			inner = v[0]
		case map[string]any:
			switch {
			case last && value == absent:
				delete(v, step)
			case last:
				v[step] = value
			}
			inner = v[step]
		}
	}
	e.Data = marshal(t, data)
	return e
}

type nothing struct{}

var absent any = nothing{}

// refused requires that e is refused because of the field, with a rule in it.
func refused(t *testing.T, e Event, field, rule string) {
	t.Helper()
	err := e.Validate()
	var refusal *Error
	if !errors.As(err, &refusal) {
		t.Errorf("%s in %s: got %v, want a refusal of %s", e.Data, e.Type, err, field)
		return
	}
	if refusal.Field != field || refusal.Code != Invalid || refusal.EventID != e.ID || !strings.Contains(refusal.Rule, rule) {
		t.Errorf("%s: got %+v, want field %q and a rule with %q", e.Type, *refusal, field, rule)
	}
}

func TestEveryMemberOfEveryPayloadHasItsRule(t *testing.T) {
	for _, kind := range Types() {
		s := kinds[kind].shape
		paths := leaves(&s, "")
		if len(payloadRules[kind]) != len(paths) {
			t.Errorf("%s: %d rules for %d members", kind, len(payloadRules[kind]), len(paths))
		}
		e := golden(t, kind)
		for _, path := range paths {
			r, ok := payloadRules[kind][path]
			if !ok {
				t.Errorf("%s: no rule is tried for %s", kind, path)
			}
			for _, value := range r.good {
				if tried := with(t, e, path, value); tried.Validate() != nil {
					t.Errorf("%s with %s %#v: %v", kind, path, value, tried.Validate())
				}
			}
			for _, value := range r.bad {
				refused(t, with(t, e, path, value), "data."+path, "")
			}
		}
	}
}

// TestJSONOfPayloads tries what JSON can get wrong on every member: its type,
// null, its absence, a neighbour that nobody knows, and its case.
func TestJSONOfPayloads(t *testing.T) {
	for _, kind := range Types() {
		e := golden(t, kind)
		s := kinds[kind].shape
		for _, path := range leaves(&s, "") {
			value, _ := lookUp(decoded(t, e.Data), path)
			var others []any
			switch value.(type) {
			case string:
				others = []any{7, true}
			case float64:
				others = []any{"7", true, 7.5, json.RawMessage("7.0"), json.RawMessage("7e1"), json.RawMessage("9007199254740992")}
			case bool:
				others = []any{"true", 1}
			}
			for _, other := range append(others, nil, []any{value}, map[string]any{}) {
				refused(t, with(t, e, path, other), "data."+path, "needed here")
			}
			if strings.HasSuffix(path, "]") {
				continue
			}
			stranger := path[:strings.LastIndex(path, ".")+1] + "colour"
			refused(t, with(t, e, stranger, "red"), "data."+stranger, "no such member")
			shouted := path[:strings.LastIndex(path, ".")+1] + strings.ToUpper(path[strings.LastIndex(path, ".")+1:])
			refused(t, with(t, with(t, e, path, absent), shouted, value), "data."+shouted, "no such member")
			if required(&s, path) {
				refused(t, with(t, e, path, absent), "data."+path, "must be given")
			} else if tried := with(t, e, path, absent); tried.Validate() != nil && !slices.Contains(needed[kind], path) {
				t.Errorf("%s without %s: %v", kind, path, tried.Validate())
			}
		}
	}
}

func decoded(t *testing.T, raw []byte) any {
	t.Helper()
	var v any
	if err := json.Unmarshal(raw, &v); err != nil {
		t.Fatal(err)
	}
	return v
}

// required reports whether the member at the path must be given.
func required(f *field, path string) bool {
	must := true
	for _, step := range steps(path) {
		if f.items != nil {
			f = f.items
			continue
		}
		i := f.shape.index[step]
		must = f.shape.required&(1<<i) != 0
		f = &f.shape.fields[i]
	}
	return must
}

func TestRulesAcrossMembers(t *testing.T) {
	list := func(n int, item any) []any {
		items := make([]any, n)
		for i := range items {
			items[i] = item
		}
		return items
	}
	line := map[string]any{"task": "coat", "minutes": 30}
	for _, test := range []struct {
		kind  Type
		path  string
		value any
		field string // empty where it is accepted
	}{
		{EstimateIssued, "lines", []any{}, "lines"},
		{EstimateIssued, "lines", list(500, line), ""},
		{EstimateIssued, "lines", list(501, line), "lines"},
		{EstimateIssued, "lines[0]", map[string]any{"task": "coat", "minutes": 30, "quantity_milli": 1}, "lines[0].unit"},
		{EstimateIssued, "lines[0]", map[string]any{"task": "coat", "minutes": 30, "unit": "acre"}, "lines[0].unit"},
		{EstimateIssued, "lines[0]", map[string]any{"task": "coat", "minutes": 30, "unit": "m2"}, ""},
		{VariationAgreed, "lines", []any{}, ""},
		{VariationAgreed, "lines", list(501, line), "lines"},
		{VariationAgreed, "materials", []any{}, ""},
		{ProtectionLaid, "product", absent, "product"},
		{ProtectionLaid, "product_unit", absent, "product_unit"},
		{ProtectionLaid, "product_quantity_milli", absent, ""},
		{CoatApplied, "product", absent, "product"},
		{CoatApplied, "volume_milli", absent, ""},
		{CoatApplied, "wet_film_um", list(500, 100), ""},
		{CoatApplied, "wet_film_um", list(501, 100), "wet_film_um"},
		{ConditionRecorded, "photos", list(501, strings.Repeat("0", 64)), "photos"},
		{FirmSettingsChanged, "job_types", []any{}, "job_types"},
		{FirmSettingsChanged, "job_types", list(2, map[string]any{"job_type": "exterior", "name": "Exterior"}), "job_types[1].job_type"},
		{FirmSettingsChanged, "grades", []any{}, "grades"},
		{FirmSettingsChanged, "grades", list(2, map[string]any{"grade": "painter", "cost_per_hour_e4": 1}), "grades[1].grade"},
		{FirmSettingsChanged, "people", list(2, map[string]any{"person": "a", "name": "A", "grade": "painter"}), "people[1].person"},
		{RateBookRevised, "rates", []any{}, "rates"},
		{RateBookRevised, "rates", list(2, map[string]any{"task": "coat", "unit": "m2", "minutes_milli": 1, "source": "from-memory"}),
			"rates[1].task"},
	} {
		e := with(t, golden(t, test.kind), test.path, test.value)
		if test.field != "" {
			refused(t, e, "data."+test.field, "")
		} else if err := e.Validate(); err != nil {
			t.Errorf("%s with %s %v: %v", test.kind, test.path, test.value, err)
		}
	}
}

// TestWordsOfRefusals keeps the sentences whole that people on site read.
func TestWordsOfRefusals(t *testing.T) {
	hours := golden(t, HoursBooked)
	const at = "event 01985b2a-7c1e-7d3f-9a44-6f0c2b1e5d0d: "
	for _, test := range []struct{ data, want string }{
		{`{"person":"anna","task":"sand","minutes":-30}`, `data.minutes is -30: a whole number from 1 to 1440`},
		{`{"person":"anna","task":"sand","minutes":"90"}`, `data.minutes is "90": a whole number is needed here`},
		{`{"person":"anna","task":"sand"}`, `data.minutes: it must be given`},
		{`{"person":"anna","task":"sand","minutes":90,"minutes":9}`, `data.minutes: the member stands twice in one object`},
		{`{"person":"anna","task":"sand","minute":90}`, `data.minute: this type of event has no such member`},
		{`{"person":"Anna","task":"sand","minutes":90}`, `data.person is "Anna": ` + TokenRule},
		{`[]`, `data is []: an object is needed here`},
		{`null`, `data is null: an object is needed here`},
		{``, `data: it must be given`},
		{`{"person":"anna"`, `data: not valid JSON: the text ends where a comma or the end of an object is needed`},
		{`{} {}`, `data.person: it must be given`},
	} {
		e := hours
		e.Data = json.RawMessage(test.data)
		if got := fmt.Sprint(e.Validate()); got != at+test.want {
			t.Errorf("%s: got\n%s\nwant\n%s", test.data, got, at+test.want)
		}
	}
}

// TestReadingIsWiderThanTheGate proves that what was recorded before a member
// became required is still read.
func TestReadingIsWiderThanTheGate(t *testing.T) {
	e := golden(t, HoursBooked)
	e.Data = json.RawMessage(`{"person":"anna","task":null}`)
	refused(t, e, "data.task", "needed here")
	payload, err := e.Payload()
	if err != nil || payload.(*Hours).Person != "anna" {
		t.Errorf("read %+v, %v", payload, err)
	}
	e.Data = nil
	if payload, err = e.Payload(); err != nil || *payload.(*Hours) != (Hours{}) {
		t.Errorf("read %+v, %v", payload, err)
	}
}
