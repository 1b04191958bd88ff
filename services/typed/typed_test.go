package typed

import (
	"testing"

	"daysheet/events"
)

func TestParseNumber(t *testing.T) {
	const ambiguous = -1 << 40
	for _, c := range []struct {
		text string
		mark Decimal
		want int64 // thousandths; ambiguous: refused for that
	}{
		{"12", "", 12_000}, {"12.5", "", 12_500}, {"12,5", "", 12_500}, {"-3,25", "", -3_250},
		{"\u22123", "", -3_000}, {"0,125", "", 125}, {".5", "", 500}, {"7.", "", 7_000},
		{"1.234,50", "", 1_234_500}, {"1,234.5", "", 1_234_500}, {"1 234.5", "", 1_234_500},
		{"1'234,5", "", 1_234_500}, {"1\u202f234", "", 1_234_000}, {"1.234.567", "", 1_234_567_000},
		{"1,234,567.125", "", 1_234_567_125}, {"12.3400000", "", 12_340}, {"1234.567", "", 1_234_567},
		{"1.234", "", ambiguous}, {"12,500", "", ambiguous},
		{"1.234", DecimalPoint, 1_234}, {"1.234", DecimalComma, 1_234_000}, {"12,500", DecimalComma, 12_500},
		{"12.5", DecimalComma, 12_500}, // a mark before one digit is no thousand
	} {
		got, rule := Number(c.text, milliDecimals, c.mark)
		if (rule != "") != (c.want == ambiguous) || rule == "" && got != c.want {
			t.Errorf("%q with %q is %d (%s); want %d", c.text, c.mark, got, rule, c.want)
		}
	}
	for _, text := range []string{"", "-", ".", "x", "1 23", "12 34.5", "1.23.456", "1.2345", "1,2,3", "1e3", "٣",
		"999999999999999.9", "1,234.567,8", "--1", "1 234'567"} {
		if n, rule := Number(text, milliDecimals, ""); rule == "" {
			t.Errorf("%q is taken for %d", text, n)
		}
	}
}

func TestParseMoney(t *testing.T) {
	for text, want := range map[string]int64{
		"4800": 4800_0000, "€ 4.800,00": 4800_0000, "4 800.00 EUR": 4800_0000, "EUR 12,5": 12_5000,
		"$0.0125": 125, "12.50€": 12_5000,
	} {
		if got, rule := Money(text, ""); rule != "" || got != want {
			t.Errorf("%q is %d (%s); want %d", text, got, rule, want)
		}
	}
	for _, text := range []string{"-1", "100000001", "4800 euros", "0.00001"} {
		if got, rule := Money(text, ""); rule == "" {
			t.Errorf("%q is taken for %d", text, got)
		}
	}
}

func TestParseHours(t *testing.T) {
	for text, want := range map[string]int64{
		"1:30": 90, "01:05": 65, "1:30:00": 90, "1.5": 90, "1,5": 90, "1,5 h": 90, "1.5 hours": 90, "90 min": 90, "90m": 90,
		"1h30": 90, "1 h 30 min": 90, "2h": 120, "8": 480, "0": 0, "0.333333333333": 20, "1.250": 75, "0,01": 1,
		"12.75 hrs": 765,
	} {
		if got, rule := Hours(text); rule != "" || got != want {
			t.Errorf("%q is %d min (%s); want %d", text, got, rule, want)
		}
	}
	for _, text := range []string{"two", "-1", "1:60", "1:5:30", "h", "20000", "1.5 days", "min"} {
		if got, rule := Hours(text); rule == "" {
			t.Errorf("%q is taken for %d min", text, got)
		}
	}
}

// TestExactHours: a person is asked for whole minutes, where a spreadsheet is rounded.
func TestExactHours(t *testing.T) {
	for text, want := range map[string]int64{"1:30": 90, "1.5": 90, "1,25": 75, "7h30": 450, "45 min": 45, "0.05": 3} {
		if got, rule := ExactHours(text); rule != "" || got != want {
			t.Errorf("%q is %d min (%s); want %d", text, got, rule, want)
		}
	}
	for _, text := range []string{"1.33", "0,001", "two", "-1", "1:60"} {
		if got, rule := ExactHours(text); rule == "" {
			t.Errorf("%q is taken for %d min", text, got)
		}
	}
}

func TestParseDay(t *testing.T) {
	for _, c := range []struct {
		text       string
		monthFirst bool
		want       events.Day
	}{
		{"2025-03-04", false, "2025-03-04"}, {"2025/3/4", true, "2025-03-04"}, {"4.3.2025", false, "2025-03-04"},
		{"4.3.2025", true, "2025-03-04"}, {"4. 3. 2025", false, "2025-03-04"}, {"04/03/2025", false, "2025-03-04"},
		{"04/03/2025", true, "2025-04-03"}, {"25/03/2025", true, "2025-03-25"}, {"03/25/2025", false, "2025-03-25"},
		{"04-03-25", false, "2025-03-04"}, {"4 Mar 2025", false, "2025-03-04"}, {"4 March 2025", true, "2025-03-04"},
		{"2025-03-04 00:00:00", false, "2025-03-04"}, {"2025-03-04T07:30", false, "2025-03-04"}, {"29.2.2024",
			false, "2024-02-29"},
	} {
		if got, rule := Day(c.text, c.monthFirst); rule != "" || got != c.want {
			t.Errorf("%q is %s (%s); want %s", c.text, got, rule, c.want)
		}
	}
	for _, text := range []string{"", "soon", "31.2.2024", "29.2.2025", "2025-13-01", "13/13/2025",
		"4.3-2025", "45720", "4.3.202", "1969-12-31", "0.1.2025"} {
		if got, rule := Day(text, false); rule == "" {
			t.Errorf("%q is taken for %s", text, got)
		}
	}
}

func TestUnitNamed(t *testing.T) {
	for text, want := range map[string]events.Unit{
		"m2": events.SquareMetre, "m²": events.SquareMetre, "Sq. m": events.SquareMetre, "SQM": events.SquareMetre,
		"lin. m": events.Metre, "pcs.": events.Each, "Hrs": events.Hour, "ltr": events.Litre, "L": events.Litre,
		"kg": events.Kilogram, "Rolls": events.Roll, "sheets": events.Sheet, "packet": events.Pack,
	} {
		if got, ok := Unit(text); !ok || got != want {
			t.Errorf("%q is %q; want %q", text, got, want)
		}
	}
	for text, u := range unitWords {
		if !u.Known() {
			t.Errorf("%q stands for %q", text, u)
		}
	}
}

func TestTaskNamed(t *testing.T) {
	own := []events.FirmTask{{Task: "hang-paper", Family: events.FamilyCoating, Unit: events.Roll,
		Name: "Hang lining paper"}}
	for text, want := range map[string]string{
		"protect-floor": "protect-floor", "Protect floor": "protect-floor", "PROTECT_FLOOR": "protect-floor",
		"Rub down": "sand", "hang lining paper": "hang-paper", "Protect socket or switch": "protect-socket-switch",
	} {
		if got, ok := Task(text, own); !ok || got.Task != want {
			t.Errorf("%q is %q; want %q", text, got.Task, want)
		}
	}
	for word, key := range taskWords {
		if _, ok := events.StandardTask(key); !ok || word != Squeeze(word) {
			t.Errorf("%q stands for %q", word, key)
		}
	}
}

func TestKeyOf(t *testing.T) {
	for text, want := range map[string]string{
		"J 104/b": "j-104-b", "  --A--  ": "a", "Größe": "groesse", "Zoë": "zoe", "№": "", "42": "42",
	} {
		if got := Key(text); got != want {
			t.Errorf("%q is %q; want %q", text, got, want)
		}
	}
}
