package office

import (
	"encoding/json"
	"net/url"
	"os"
	"reflect"
	"strings"
	"testing"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/services/texts"
	"daysheet/services/wording"
)

// formKinds are the types that have a form of their own; settings and customers have
// pages.
func formKinds() map[events.Type]form {
	found := map[events.Type]form{}
	for _, f := range newForms() {
		found[f.kind] = f
	}
	found[events.FirmSettingsChanged] = form{fields: shapeOf(reflect.TypeFor[events.Settings]())}
	return found
}

func TestEveryTypeHasAForm(t *testing.T) {
	forms := formKinds()
	for _, kind := range events.Types() {
		none := kind == events.CustomerRecorded || kind == events.CustomerErased || kind == events.AccessChanged
		if _, ok := forms[kind]; ok == none {
			t.Errorf("%s has a form: %v", kind, ok)
		}
	}
}

// inEnglish returns who says what the pages of an English firm say.
func inEnglish(t *testing.T) *texts.Speaker {
	t.Helper()
	catalogue, err := texts.Load()
	must(t, err)
	return &texts.Speaker{Texts: catalogue.For(texts.English)}
}

// TestFieldsSpeakPlainly: whoever fills a form in knows nothing of JSON, keys of
// events, or how amounts are counted.
func TestFieldsSpeakPlainly(t *testing.T) {
	say := inEnglish(t)
	var look func(kind events.Type, fields []field)
	look = func(kind events.Type, fields []field) {
		for _, d := range fields {
			if d.required && d.rare {
				t.Errorf("%s: %s must be given and is out of sight", kind, d.name)
			}
			for _, word := range []string{"thousandth", "micrometre", "hundredth", "basis", "milli", "Id of", "Key of", "event"} {
				if strings.Contains(d.help(say), word) {
					t.Errorf("%s: help of %s says %q: %s", kind, d.name, word, d.help(say))
				}
			}
			look(kind, d.inner)
		}
	}
	for kind, f := range formKinds() {
		look(kind, f.fields)
	}
}

// TestFormsHoldEveryPayload fills each form in with the example of its type, as it
// would be typed, reads it again, and gets the same data: nothing is lost or rounded,
// whatever the locale.
func TestFormsHoldEveryPayload(t *testing.T) {
	for _, locale := range []string{"en-IE", "de-AT", "de-CH", "fr-FR"} {
		names := reports.Names{Currency: "EUR", Locale: locale}
		for kind, f := range formKinds() {
			raw, err := os.ReadFile("../../events/testdata/v1/" + string(kind) + ".json")
			must(t, err)
			var example events.Event
			must(t, json.Unmarshal(raw, &example))
			payload, err := example.Payload()
			must(t, err)
			values := url.Values{}
			must(t, fillIn(values, f.fields, payload, wording.NewFormat(names)))
			filled := newFilled(values, names, inEnglish(t))
			data, err := json.Marshal(filled.read(f.fields, "", ""))
			must(t, err)
			if filled.wrong() {
				t.Errorf("%s in %s: %v %s", kind, locale, filled.problems, filled.whole)
			}
			got, err := events.Canonical(data)
			must(t, err)
			want, err := events.Canonical(asTyped(t, kind, example.Data))
			must(t, err)
			if string(got) != string(want) {
				t.Errorf("%s in %s:\n got %s\nwant %s", kind, locale, got, want)
			}
		}
	}
}

// asTyped leaves out what nobody types: digests of photos, and what the page of a
// handover seals.
func asTyped(t *testing.T, kind events.Type, data json.RawMessage) []byte {
	t.Helper()
	var members map[string]any
	d := json.NewDecoder(strings.NewReader(string(data)))
	d.UseNumber()
	must(t, d.Decode(&members))
	delete(members, "photos")
	if kind == events.JobSignedOff {
		for _, name := range []string{"customer", "sealed", "snags"} {
			delete(members, name)
		}
	}
	raw, err := json.Marshal(members)
	must(t, err)
	return raw
}

func TestAmountsAsTheyAreTyped(t *testing.T) {
	fields := shapeOf(reflect.TypeFor[events.Purchase]())
	for _, c := range []struct {
		locale, quantity, cost string
		milli, e4              int64  // 0: refused
		rule                   string // of the refusal
	}{
		{"en-IE", "12.5", "1,234.50", 12_500, 12_345_000, ""},
		{"de-AT", "12,5", "1.234,50", 12_500, 12_345_000, ""},
		{"en-IE", "1,5", "99", 1_500, 990_000, ""}, // a comma before one digit is no thousand
		{"de-AT", "0.125", "99", 125, 990_000, ""},
		{"de-AT", "1.250", "1.250", 1_250_000, 12_500_000, ""},
		{"en-IE", "1.250", "1.250", 1_250, 12_500, ""},
		{"en-IE", "12.3456", "1", 0, 10_000, "At most 3 decimals"},
		{"en-IE", "1", "0.00001", 1_000, 0, "At most 4 decimals"},
		{"en-IE", "0", "1", 0, 10_000, "From 0.001 to 1,000,000"},
		{"de-AT", "0", "1", 0, 10_000, "From 0,001 to 1\u00a0000\u00a0000"},
		{"en-IE", "-3", "1", 0, 10_000, "From 0.001 to 1,000,000"},
		{"en-IE", "1", "100000000.01", 1_000, 0, "From 0 to 100,000,000"},
		{"en-IE", "a few", "1", 0, 10_000, "A number such as"},
	} {
		names := reports.Names{Locale: c.locale, Currency: "EUR",
			Listed: map[string]events.Product{"tape": {Product: "tape", Unit: events.Roll}}}
		filled := newFilled(url.Values{"product": {"tape"}, "quantity_milli": {c.quantity}, "cost_e4": {c.cost}}, names, inEnglish(t))
		members := filled.read(fields, "", "")
		milli, _ := members["quantity_milli"].(int64)
		e4, _ := members["cost_e4"].(int64)
		said := filled.problems["quantity_milli"] + filled.problems["cost_e4"]
		if milli != c.milli || e4 != c.e4 || !strings.HasPrefix(said, c.rule) || (said == "") != (c.rule == "") {
			t.Errorf("%q and %q in %s are %d and %d: %q", c.quantity, c.cost, c.locale, milli, e4, said)
		}
		if c.milli != 0 && members["unit"] != "roll" {
			t.Errorf("the unit of the product was not taken: %v", members)
		}
	}
}

// FuzzForm: whatever is sent, a form is read without a panic, and what it makes of an
// amount is written the same way again.
func FuzzForm(f *testing.F) {
	f.Add("lines.0.minutes", "7:30", "lines.0.task", "coat")
	f.Add("lines.999999999999.minutes", "1", "materials.-1.product", "x")
	f.Add("price_e4", "1.234,5", "lines", "x")
	catalogue, err := texts.Load()
	if err != nil {
		f.Fatal(err)
	}
	say := &texts.Speaker{Texts: catalogue.For("de")}
	fields := shapeOf(reflect.TypeFor[events.Estimate]())
	f.Fuzz(func(t *testing.T, name, value, name2, value2 string) {
		filled := newFilled(url.Values{name: {value}, name2: {value2}}, reports.Names{Locale: "de-DE"}, say)
		members := filled.read(fields, "", "")
		s := &shown{filled: filled}
		s.controls(fields, "", false)
		if price, ok := members["price_e4"].(int64); ok {
			again := newFilled(url.Values{"price_e4": {filled.format.Typed(price, 4)}}, filled.names, say)
			if got := again.read(fields, "", "")["price_e4"]; got != price {
				t.Errorf("%d is written as %q and read as %v", price, filled.format.Typed(price, 4), got)
			}
		}
	})
}
