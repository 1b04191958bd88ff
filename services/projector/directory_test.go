package projector

import (
	"sync"
	"testing"

	"daysheet/events"
)

// settled is the settings of a firm with one painter, whose hour costs costE4.
func settled(id string, costE4 int64) events.Event {
	return invent(id, events.FirmJob, events.FirmSettingsChanged, day, events.Settings{
		Name: "Invented Decorators", Currency: "EUR", TimeZone: "Europe/Vienna", Locale: "en-IE",
		JobTypes: []events.JobType{{JobType: "stairwell", Name: "Stairwell"}},
		Grades:   []events.Grade{{Grade: "painter", CostPerHourE4: costE4}},
		Tasks:    []events.FirmTask{{Task: "gild", Family: events.FamilyCoating, Unit: events.Metre, Name: "Gild"}},
		People:   []events.FirmPerson{{Person: "ada", Name: "Ada", Grade: "painter"}},
	})
}

func listed(id, product, name string) events.Event {
	return invent(id, events.FirmJob, events.ProductListed, day,
		events.Product{Product: product, Name: name, Unit: events.Litre, PriceE4: 60_000})
}

func TestNamesAreLoadedAndKeptUp(t *testing.T) {
	log := openLog(t, nil)
	mustRecord(t, log, firm, settled("settings-1", 300_000))
	mustRecord(t, log, firm, listed("listed-0001", "matt", "Matt"))
	p := start(t, log, openStore(t), defaultLimits)
	names, err := p.Names(testContext(t), firm) // loaded, however far the projector is
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ what, got, want string }{
		{"currency", names.Currency, "EUR"}, {"locale", names.Locale, "en-IE"},
		{"job type", names.JobTypes["stairwell"], "Stairwell"}, {"firm's task", names.Tasks["gild"], "Gild"},
		{"standard task", names.Tasks["mask-edge"], "Mask edge"}, {"product", names.Products["matt"], "Matt"},
		{"person", names.People["ada"], "Ada"},
	} {
		if c.got != c.want {
			t.Errorf("%s is %q, want %q", c.what, c.got, c.want)
		}
	}
	names.Products["matt"] = "changed by a reader"
	mustRecord(t, log, firm, listed("listed-0002", "primer", "Primer"))
	last := mustRecord(t, log, firm, listed("listed-0003", "primer", "Primer, quick"))
	if err := p.Wait(testContext(t), firm, last); err != nil {
		t.Fatal(err)
	}
	names, err = p.Names(testContext(t), firm)
	if err != nil || names.Products["primer"] != "Primer, quick" || names.Products["matt"] != "Matt" {
		t.Errorf("products are %v, %v", names.Products, err)
	}
}

func TestFirmGivesCopies(t *testing.T) {
	log := openLog(t, nil)
	p := New(log, openStore(t), nil)
	profile, err := p.Firm(testContext(t), firm)
	if err != nil || profile.Settings != nil || profile.Products != nil || profile.RateBook != nil {
		t.Fatalf("a firm that recorded nothing is %+v, %v", profile, err)
	}
	log2 := openLog(t, nil)
	mustRecord(t, log2, firm, settled("settings-1", 300_000))
	mustRecord(t, log2, firm, listed("listed-0001", "matt", "Matt"))
	mustRecord(t, log2, firm, listed("listed-0002", "film", "Film"))
	mustRecord(t, log2, firm, invent("rates-0001", events.FirmJob, events.RateBookRevised, day, events.RateBook{
		Revision: "spring", EffectiveFrom: "2026-03-01", Rates: []events.Rate{{Task: "coat", Unit: events.SquareMetre,
			MinutesMilli: 6_000, Source: "own-history",
			Consumables: []events.RateUse{{Product: "matt", Unit: events.Litre, QuantityMilli: 120}}}}}))
	p = New(log2, openStore(t), nil)
	for range 2 { // the second time, what the first reader did must not show
		profile, err = p.Firm(testContext(t), firm)
		if err != nil || len(profile.Products) != 2 || profile.Products[0].Product != "film" {
			t.Fatalf("products are %+v, %v", profile.Products, err)
		}
		rate := &profile.RateBook.Rates[0]
		if profile.Settings.Grades[0].CostPerHourE4 != 300_000 || rate.Consumables[0].QuantityMilli != 120 {
			t.Fatalf("settings are %+v, rate book %+v", profile.Settings, profile.RateBook)
		}
		profile.Settings.Grades[0].CostPerHourE4, rate.Consumables[0].QuantityMilli = 1, 1
		profile.Products[0].Name = "changed by a reader"
	}
}

func TestNamesForManyReadersWhileTheFirmChanges(t *testing.T) {
	log := openLog(t, nil)
	p := start(t, log, openStore(t), defaultLimits)
	var readers sync.WaitGroup
	for range 4 {
		readers.Go(func() {
			for range 50 {
				if _, err := p.Names(testContext(t), firm); err != nil {
					t.Error(err)
					return
				}
			}
		})
	}
	var last uint64
	for i := range 20 {
		last = mustRecord(t, log, firm, listed("listed-000"+string(rune('a'+i)), "matt", "Matt "+string(rune('a'+i))))
	}
	readers.Wait()
	if err := p.Wait(testContext(t), firm, last); err != nil {
		t.Fatal(err)
	}
	if names, err := p.Names(testContext(t), firm); err != nil || names.Products["matt"] != "Matt t" {
		t.Errorf("after the last listing the product is %q, %v", names.Products["matt"], err)
	}
}
