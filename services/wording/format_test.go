package wording

import (
	"math"
	"testing"

	"daysheet/events"
	"daysheet/reports"
)

// Separators are from memory of the Unicode locale data; rounding halves away
// from zero is our own rule.
func TestFormat(t *testing.T) {
	formats := map[string]Format{}
	for _, locale := range []string{"en-IE", "de-DE", "de-AT", ""} {
		formats[locale] = NewFormat(reports.Names{Locale: locale, Currency: "EUR"})
	}
	yen := NewFormat(reports.Names{Locale: "en-GB", Currency: "JPY"})
	for _, c := range []struct{ got, want string }{
		{formats["en-IE"].Money(12_345_678_950), "1,234,567.90"},
		{formats["de-DE"].Money(12_345_678_950), "1.234.567,90"},
		{formats["de-AT"].Money(12_345_678_950), "1\u00a0234\u00a0567,90"},
		{formats["en-IE"].Money(-50), Minus + "0.01"},
		{formats["en-IE"].Money(-49), "0.00"},
		{formats["en-IE"].Money(9_999_950), "1,000.00"},
		{yen.Money(1_234_995_000), "123,500"},
		{formats["en-IE"].Hours(0), "0:00"},
		{formats["en-IE"].Hours(65), "1:05"},
		{formats["en-IE"].Hours(-30), Minus + "0:30"},
		{formats["de-DE"].Hours(60 * 12_345), "12.345:00"},
		{formats["en-IE"].Quantity(12_500, events.SquareMetre), "12.5\u00a0m²"},
		{formats["de-DE"].Quantity(1_234_567, events.Litre), "1.234,567\u00a0l"},
		{formats["en-IE"].Quantity(7_000, events.Each), "7"},
		{formats["en-IE"].Share(1_234), "12.3\u00a0%"},
		{formats["de-DE"].Share(-1_235), Minus + "12,4\u00a0%"},
		{formats["en-IE"].Rate(6_249, events.SquareMetre), "6.2\u00a0min/m²"},
		{formats["en-IE"].Count(math.MinInt64), Minus + "9,223,372,036,854,775,808"},
		{formats["en-IE"].Day("2026-03-04"), "4 Mar 2026"},
		{formats["de-DE"].Day("2026-03-04"), "04.03.2026"},
		{formats[""].Day(""), ""},
		{formats["en-IE"].Sentence("Cost 1\u202f234.50 EUR (-12.3 %), 7 h 30 min."), "Cost 1,234.50 EUR (\u221212.3 %), 7 " +
			"h 30 min."},
		{formats["de-DE"].Sentence("Cost 1\u202f234\u202f567.50 EUR, by 2026-05-20."), "Cost 1.234.567,50 EUR, by " +
			"20.05.2026."},
		{formats["en-IE"].Sentence("From 2026-05-20 to 2026-06-01, job d-2026-05-20 (2026-13-01)."),
			"From 20 May 2026 to 1 Jun 2026, job d-2026-05-20 (2026-13-01)."},
		{formats["en-IE"].Dated("2026-05-20 (2)"), "20 May 2026 (2)"},
		{formats["de-DE"].Sentence("limit 0.5 (handbook, 6.3.2.3)"), "limit 0,5 (handbook, 6.3.2.3)"},
		{formats["de-DE"].Sentence("CPI 0.857, of room-3.2 and v1.5; 100 m²."), "CPI 0,857, of room-3.2 and v1.5; 100 m²."},
		{formats["en-IE"].Cell(reports.Cell{Blank: true, Number: 5}, reports.FormCount), ""},
	} {
		if c.got != c.want {
			t.Errorf("%q, not %q", c.got, c.want)
		}
	}
}
