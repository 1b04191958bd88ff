package reports

import "testing"

// TestAverage works through the moving weighted average of IAS 2 (perpetual
// method). The first case is the usual classroom example, from memory: 100 at
// 10.00, 200 more at 13.00 make 300 at 12.00; 150 taken leave 150 worth 1800.
func TestAverage(t *testing.T) {
	type step struct {
		do            string
		milli, costE4 int64
	}
	for _, c := range []struct {
		name           string
		steps          []step
		milli, valueE4 int64
		unitE4         int64 // 0 where it has no meaning
	}{
		{"bought twice, half taken", []step{{"buy", 100_000, 1000_0000}, {"buy", 200_000, 2600_0000}, {"take", 150_000, 0}},
			150_000, 1800_0000, 12_0000},
		{"taken and bought again", []step{{"buy", 10_000, 60_0000}, {"take", 4_000, 0}, {"buy", 6_000, 48_0000}},
			12_000, 84_0000, 7_0000},
		{"returned at the average", []step{{"buy", 10_000, 60_0000}, {"take", 4_000, 0}, {"take", -1_000, 0}},
			7_000, 42_0000, 6_0000},
		{"counted down", []step{{"buy", 10_000, 60_0000}, {"count", 9_000, 0}}, 9_000, 54_0000, 6_0000},
		{"counted up", []step{{"buy", 10_000, 60_0000}, {"count", 11_000, 0}}, 11_000, 66_0000, 6_0000},
		{"more taken than there was", []step{{"buy", 1_000, 6_0000}, {"take", 3_000, 0}}, -2_000, 0, 0},
		{"bought after more was taken", []step{{"take", 3_000, 0}, {"buy", 10_000, 80_0000}}, 7_000, 56_0000, 8_0000},
		{"bought, and still below nothing", []step{{"take", 30_000, 0}, {"buy", 10_000, 80_0000}}, -20_000, 0, 0},
		{"nothing", nil, 0, 0, 0},
	} {
		var a average
		for _, s := range c.steps {
			switch s.do {
			case "buy":
				a.buy(s.milli, s.costE4)
			case "take":
				a.take(s.milli)
			case "count":
				a.count(s.milli)
			}
		}
		unit, ok := a.unitE4()
		if a.milli != c.milli || a.valueE4 != c.valueE4 || unit != c.unitE4 || ok != (c.unitE4 != 0) {
			t.Errorf("%s: %d worth %d at %d, want %d worth %d at %d", c.name, a.milli, a.valueE4, unit, c.milli, c.valueE4,
				c.unitE4)
		}
	}
}
