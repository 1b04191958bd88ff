package events

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"testing"
)

// firmWith folds each event in a commit of its own under the sequences 10, 20,
// 30 and so on.
func firmWith(t *testing.T, recorded ...Event) *Firm {
	t.Helper()
	var f Firm
	for i, e := range recorded {
		c := Commit{Firm: "north-light", Job: FirmJob, Events: []Event{e}}
		if err := f.Apply(&c, uint64(i+1)*10); err != nil {
			t.Fatal(err)
		}
	}
	return &f
}

func TestPricesOfAFirm(t *testing.T) {
	listed := func(id string, unit Unit, price int64) Event {
		return happened(t, id, ProductListed, &Product{Product: "tape", Name: "Tape", Unit: unit, PriceE4: price})
	}
	bought := func(id string, milli, cost int64) Event {
		return happened(t, id, MaterialPurchased, &Purchase{Product: "tape", QuantityMilli: milli, Unit: Roll, CostE4: cost})
	}
	void := func(id string) Event {
		e := happened(t, "void-"+id, EventVoided, &Void{Event: "tap-" + id, Reason: "another firm's delivery"})
		e.Subject = FirmJob
		return e
	}
	f := firmWith(t,
		listed("list-1", Roll, 48_000),    // 10
		bought("buy-1", 24_000, 960_000),  // 20
		bought("buy-2", 6_000, 270_000),   // 30
		void("buy-2"),                     // 40
		listed("list-2", Metre, 900),      // 50
		void("buy-1"),                     // 60
		bought("buy-3", 12_000, 0),        // 70: a gift is a price too
		listed("list-3", Roll, 50_000),    // 80
		void("of-a-void-of-nothing-here"), // 90
	)
	for _, test := range []struct {
		unit             Unit
		sequence         uint64
		costE4, perMilli int64
		ok               bool
	}{
		{Roll, 9, 0, 0, false},
		{Roll, 10, 48_000, 1000, true},
		{Roll, 19, 48_000, 1000, true},
		{Roll, 20, 960_000, 24_000, true},
		{Roll, 30, 270_000, 6_000, true},
		{Roll, 39, 270_000, 6_000, true}, // the void was not known yet
		{Roll, 40, 960_000, 24_000, true},
		{Roll, 59, 960_000, 24_000, true}, // the listing in metres says nothing about a roll
		{Metre, 49, 0, 0, false},
		{Metre, 50, 900, 1000, true},
		{Roll, 60, 48_000, 1000, true}, // both purchases voided: the first listing holds again
		{Roll, 70, 0, 12_000, true},
		{Roll, 80, 50_000, 1000, true},
		{Roll, 0, 50_000, 1000, true},
		{Metre, 0, 900, 1000, true},
		{Litre, 0, 0, 0, false},
	} {
		cost, per, ok := f.Price("tape", test.unit, test.sequence)
		if cost != test.costE4 || per != test.perMilli || ok != test.ok {
			t.Errorf("a %s at %d costs %d for %d, %t; want %d for %d, %t", test.unit, test.sequence,
				cost, per, ok, test.costE4, test.perMilli, test.ok)
		}
	}
	if got := f.Prices(60); !slices.Equal(got, []Price{{"tape", Metre, 900, 1000}, {"tape", Roll, 48_000, 1000}}) {
		t.Errorf("the prices at 60 are %v", got)
	}
	if _, _, ok := f.Price("film", Roll, 0); ok {
		t.Error("a product that was never listed has a price")
	}
	for sequence, unit := range map[uint64]Unit{10: Roll, 49: Roll, 50: Metre, 79: Metre, 80: Roll, 0: Roll} {
		if p := f.Product("tape", sequence); p == nil || p.Unit != unit {
			t.Errorf("the listing at %d is %+v, want one in %s", sequence, p, unit)
		}
	}
	if p := f.Product("tape", 9); p != nil {
		t.Errorf("before its listing the product is %+v", p)
	}
	if got := f.Products(); !slices.Equal(got, []string{"tape"}) {
		t.Errorf("the products are %v", got)
	}
}

func TestSettingsAndRatesOfAFirm(t *testing.T) {
	settings := func(id, name string) Event {
		return happened(t, id, FirmSettingsChanged, &Settings{Name: name, Currency: "EUR", TimeZone: "UTC",
			JobTypes: []JobType{{"exterior", "Exterior"}}, Grades: []Grade{{"painter", 1}}})
	}
	book := func(id, revision string) Event {
		return happened(t, id, RateBookRevised, &RateBook{Revision: revision, EffectiveFrom: "2026-04-01",
			Rates: []Rate{{Task: "coat", Unit: SquareMetre, MinutesMilli: 1, Source: "from-memory"}}})
	}
	f := firmWith(t, settings("set-1", "First"), book("book-1", "spring"), settings("set-2", "Second"), book("book-2", "autumn"))
	for _, test := range []struct {
		sequence       uint64
		name, revision string
	}{
		{9, "", ""}, {10, "First", ""}, {20, "First", "spring"}, {30, "Second", "spring"}, {40, "Second", "autumn"},
		{1 << 60, "Second", "autumn"}, {0, "Second", "autumn"},
	} {
		name, revision := "", ""
		if s := f.Settings(test.sequence); s != nil {
			name = s.Name
		}
		if b := f.RateBook(test.sequence); b != nil {
			revision = b.Revision
		}
		if name != test.name || revision != test.revision {
			t.Errorf("at %d: settings %q, rates %q; want %q, %q", test.sequence, name, revision, test.name, test.revision)
		}
	}
}

func TestAFirmThatRecordedNothing(t *testing.T) {
	var f Firm
	if f.Settings(0) != nil || f.RateBook(0) != nil || f.Product("tape", 0) != nil || len(f.Products()) > 0 {
		t.Errorf("%+v", f)
	}
	if _, _, ok := f.Price("tape", Roll, 0); ok {
		t.Error("there is a price")
	}
}

func TestAFirmNamesWhatItCannotRead(t *testing.T) {
	e := happened(t, "product", ProductListed, &Product{Product: "tape", Name: "Tape", Unit: Roll})
	e.Data = json.RawMessage(`{"price_e4":"much"}`)
	err := new(Firm).Apply(&Commit{Events: []Event{e}}, 70)
	if want := `sequence 70: event tap-product: data.price_e4 is "much"`; !strings.Contains(fmt.Sprint(err), want) {
		t.Errorf("got %v, want %q", err, want)
	}
	if CodeOf(err) != Internal {
		t.Errorf("the code is %q", CodeOf(err))
	}
}

// TestRatesOfAFirm requires the revisions and rejections known at a position.
func TestRatesOfAFirm(t *testing.T) {
	book := func(revision string) Event {
		return happened(t, "revision-"+revision, RateBookRevised, &RateBook{Revision: revision, EffectiveFrom: "2026-01-01",
			Rates: []Rate{{Task: "coat", Unit: SquareMetre, Source: "from-memory"}}})
	}
	f := firmWith(t, book("r1"), happened(t, "rejected", RateRejected, &RateRejection{Task: "coat", Reason: "too few jobs"}),
		book("r2"))
	for sequence, want := range map[uint64]string{5: "", 10: "r1", 20: "r1", 30: "r1 r2", 0: "r1 r2"} {
		var names []string
		for _, b := range f.RateBooks(sequence) {
			names = append(names, b.Revision)
		}
		if got := strings.Join(names, " "); got != want {
			t.Errorf("at %d: %q, want %q", sequence, got, want)
		}
	}
	if early, late := f.RateRejections(10), f.RateRejections(20); len(early) != 0 || len(late) != 1 {
		t.Errorf("%d rejections at 10 and %d at 20, want 0 and 1", len(early), len(late))
	}
}
