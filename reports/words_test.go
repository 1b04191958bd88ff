package reports

import (
	"math"
	"slices"
	"testing"

	"daysheet/events"
)

func TestNumbersInWords(t *testing.T) {
	for _, c := range []struct{ got, want string }{
		{MinutesText(0), "0 min"}, {MinutesText(45), "45 min"}, {MinutesText(60), "1 h"}, {MinutesText(90), "1 h 30 min"},
		{MinutesText(-45), "-45 min"}, {MinutesText(-60), "-1 h"}, {MinutesText(-90), "-1 h 30 min"},
		{MoneyText(0, "EUR"), "0.00 EUR"}, {MoneyText(50, ""), "0.01"}, {MoneyText(49, ""), "0.00"},
		{MoneyText(12_345_678, "EUR"), "1\u202f234.57 EUR"}, {MoneyText(-33_9333, "EUR"), "-33.93 EUR"},
		{MoneyText(-50, "EUR"), "-0.01 EUR"}, {MoneyText(math.MinInt64, ""), "-922\u202f337\u202f203\u202f685\u202f477.58"},
		{ShareText(0), "0.0 %"}, {ShareText(1234), "12.3 %"}, {ShareText(1235), "12.4 %"}, {ShareText(-530), "-5.3 %"},
		{decimal(12_500, 3), "12.500"}, {decimal(-250, 3), "-0.250"}, {decimal(0, 3), "0.000"},
		{MinutesText(60_000_030), "1\u202f000\u202f000 h 30 min"}, {MinutesText(-60_000), "-1\u202f000 h"},
		{MoneyText(9_999_999, ""), "1\u202f000.00"}, {MoneyText(9_994_999, ""), "999.50"},
		{counted(1000, "1 job", "%s jobs").String(), "1\u202f000 jobs"}, {counted(1, "1 job", "%s jobs").String(), "1 job"},
		{counted(0, "1 job", "%s jobs").String(), "0 jobs"},
	} {
		if c.got != c.want {
			t.Errorf("%q, want %q", c.got, c.want)
		}
	}
}

func TestCompared(t *testing.T) {
	for _, c := range []struct {
		s    sides
		want string
	}{
		{sides{}, "nothing planned and nothing recorded"},
		{sides{actual: 60}, "1 h, with none planned"},
		{sides{estimate: 60}, "none recorded of 1 h planned"},
		{sides{30, 30, 60}, "1 h, exactly as planned"},
		{sides{60, 0, 90}, "1 h 30 min against 1 h planned: 30 min (50.0 %) more"},
		{sides{90, 30, 90}, "1 h 30 min against 2 h planned: 30 min (25.0 %) less"},
		{sides{-60, 0, 60}, "1 h against -1 h planned: 2 h (200.0 %) more"},
	} {
		if got := compared(c.s, MinutesText); got.String() != c.want {
			t.Errorf("%+v: %q, want %q", c.s, got, c.want)
		}
	}
}

func TestNamesOf(t *testing.T) {
	n := NamesOf(nil, nil)
	if n.Tasks["mask-edge"] != "Mask edge" || len(n.Tasks) != len(events.StandardTasks()) || n.JobTypes == nil {
		t.Errorf("a firm without settings has the names %+v", n)
	}
	n = NamesOf(&events.Settings{
		Currency: "EUR", Locale: "en-IE",
		JobTypes: []events.JobType{{JobType: "stairs", Name: "Stairs and joinery"}},
		Tasks:    []events.FirmTask{{Task: "strip-paper", Name: "Strip paper"}},
		People:   []events.FirmPerson{{Person: "anna", Name: "Anna"}},
	}, []events.Product{{Product: "film", Name: "Floor film"}})
	for _, c := range []struct{ got, want string }{
		{n.Currency, "EUR"}, {n.Locale, "en-IE"}, {n.JobTypes["stairs"], "Stairs and joinery"},
		{n.Tasks["strip-paper"], "Strip paper"}, {n.Tasks["wash"], "Wash down"}, {n.People["anna"], "Anna"},
		{n.Products["film"], "Floor film"}, {named(n.Products, "unlisted"), "unlisted"},
	} {
		if c.got != c.want {
			t.Errorf("name %q, want %q", c.got, c.want)
		}
	}
}

// TestEverythingHasWords requires plain words for every family and mark, so that
// a new one is not shown to nobody.
func TestEverythingHasWords(t *testing.T) {
	for _, f := range events.Families() {
		if name := familyName(f); name == string(f) {
			t.Errorf("family %s has no name", f)
		}
	}
	for _, m := range []Mark{MarkAfterFinish, MarkBeforeOpening, MarkClockAhead, MarkRecordedLate, MarkUnknownJobType,
		MarkUnknownTask, MarkUnknownPerson, MarkUnknownProduct, MarkUnpriced, MarkUnitDiffers, MarkOpenSnags,
		MarkOpenDamage, MarkProtectionDown} {
		if !slices.ContainsFunc(markMeanings, func(w markMeaning) bool { return w.mark == m && w.words != "" }) {
			t.Errorf("mark %s has no meaning in words", m)
		}
	}
}
