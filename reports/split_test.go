package reports

import (
	"math/rand/v2"
	"testing"
)

// TestSplitOf compares with worked examples of standard costing. Each gives the
// standard hours (or quantity) for the output that was made, so that the part of
// quantity is nothing. Amounts are in hundredths of the currency unit; above zero
// is adverse. The examples are published in textbooks and course material of
// cost accounting and were worked out again by hand.
func TestSplitOf(t *testing.T) {
	for _, c := range []struct {
		name, source                 string
		standardInput, standardPrice int64 // price in hundredths for one unit of input
		actualInput, actualCost      int64
		price, efficiency, total     int64
	}{
		{"6000 units of 3 h at 10.00; 18 400 h at 10.30", "course text on labour efficiency variance",
			18_000, 1000, 18_400, 18_400 * 1030, 5520_00, 4000_00, 9520_00},
		{"3350 units of 4 h at 12.00; 13 450 h for 159 786", "management accounting exercise",
			13_400, 1200, 13_450, 159_786_00, -1614_00, 600_00, -1014_00},
		{"1500 units of 4.4 h at 20.20; 7000 h for 142 100", "management accounting exercise",
			6600, 2020, 7000, 142_100_00, 700_00, 8080_00, 8780_00},
		{"150 000 units of 0.15 h at 10.00; 23 200 h at 9.80", "standard cost chapter of an open textbook",
			22_500, 1000, 23_200, 23_200 * 980, -4640_00, 7000_00, 2360_00},
		{"150 000 units of 5.5 at 0.22; 823 600 at 0.23", "standard cost chapter of an open textbook (material)",
			825_000, 22, 823_600, 823_600 * 23, 8236_00, -308_00, 7928_00},
		{"17 500 standard hours at 30.00; 17 700 h at 30.50", "exercise", 17_500, 3000, 17_700, 17_700 * 3050,
			8850_00, 6000_00, 14_850_00},
		{"material 430 at 6.90; 450 at 6.50", "exercise", 430, 690, 450, 450 * 650, -180_00, 138_00, -42_00},
		{"material 185 000 at 6.00; 183 200 at 5.80", "exercise", 185_000, 600, 183_200, 183_200 * 580,
			-36_640_00, -10_800_00, -47_440_00},
		{"flexible budget: 800 lb at 2.75 as 700 lb at 3.00 allowed", "exercise (direct material, 100 units)",
			700, 300, 800, 800 * 275, -200_00, 300_00, 100_00},
		{"flexible budget: 20 h at 8.00 allowed, 30 h at 11.00", "exercise (direct labour, 100 units)",
			20, 800, 30, 30 * 1100, 90_00, 80_00, 170_00},
	} {
		s := SplitOf(Amounts{1000, c.standardInput, c.standardInput * c.standardPrice},
			Amounts{1000, c.actualInput, c.actualCost})
		if s.QuantityE4 != 0 || s.PriceE4 != c.price || s.EfficiencyE4 != c.efficiency || total(s) != c.total {
			t.Errorf("%s (%s): %+v, want price %d, efficiency %d", c.name, c.source, s, c.price, c.efficiency)
		}
	}
}

// TestSplitOfThreeParts is an example of our own, worked out in R: 100 m2 at
// 0.1 h and 40.00 planned, 115 m2 in 13.8 h at 42.00 done.
func TestSplitOfThreeParts(t *testing.T) {
	s := SplitOf(Amounts{100_000, 600, 400_0000}, Amounts{115_000, 828, 579_6000})
	if s != (Split{QuantityE4: 60_0000, EfficiencyE4: 92_0000, PriceE4: 27_6000}) {
		t.Errorf("%+v, want 60.00, 92.00 and 27.60", s)
	}
}

func TestSplitOfWhatIsMissing(t *testing.T) {
	for _, c := range []struct {
		name       string
		plan, done Amounts
		want       Split
	}{
		{"never planned", Amounts{}, Amounts{500, 60, 700}, Split{QuantityE4: 700}},
		{"never done", Amounts{500, 60, 700}, Amounts{}, Split{QuantityE4: -700}},
		{"never measured", Amounts{0, 60, 600}, Amounts{0, 90, 900}, Split{EfficiencyE4: 300, Unmeasured: true}},
		{"measured on site alone", Amounts{0, 60, 600}, Amounts{40, 90, 990},
			Split{EfficiencyE4: 300, PriceE4: 90, Unmeasured: true}},
		{"done, but no hours booked", Amounts{500, 60, 600}, Amounts{500, 0, 0}, Split{EfficiencyE4: -600}},
		{"nothing at all", Amounts{}, Amounts{}, Split{}},
	} {
		if got := SplitOf(c.plan, c.done); got != c.want {
			t.Errorf("%s: %+v, want %+v", c.name, got, c.want)
		}
	}
}

// total is what a line cost more than was planned.
func total(s Split) int64 { return s.QuantityE4 + s.EfficiencyE4 + s.PriceE4 }

// TestSplitAddsUp tries amounts at random: the parts are the whole, to the last
// unit.
func TestSplitAddsUp(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 11))
	any := func() Amounts {
		return Amounts{r.Int64N(3) * r.Int64N(1e9), r.Int64N(3) * r.Int64N(1e6), r.Int64N(1e12)}
	}
	for range 20_000 {
		plan, done := any(), any()
		if s := SplitOf(plan, done); total(s) != done.CostE4-plan.CostE4 {
			t.Fatalf("%+v and %+v: %+v adds up to %d, want %d", plan, done, s, total(s), done.CostE4-plan.CostE4)
		}
	}
}

// TestPricing compares prices by mark-up and by margin: common practice, no source. A margin
// and the mark-up that makes the same price are those of the tables that trade handbooks
// print; each follows from markup = margin/(1-margin).
func TestPricing(t *testing.T) {
	for _, c := range []struct{ cost, points, byMarkUp, byMargin int64 }{
		{10_000_0000, 2500, 12_500_0000, 13_333_3333}, {50_000_0000, 2500, 62_500_0000, 66_666_6667},
		{10_000_0000, 0, 10_000_0000, 10_000_0000},
	} {
		if got := priceByMarkUp(c.cost, c.points); got != c.byMarkUp {
			t.Errorf("%d with a mark-up of %d is %d, want %d", c.cost, c.points, got, c.byMarkUp)
		}
		if got := priceByMargin(c.cost, c.points); got != c.byMargin {
			t.Errorf("%d with a margin of %d is %d, want %d", c.cost, c.points, got, c.byMargin)
		}
	}
	const cost = 10_000 // so that what a price adds is the mark-up itself
	for margin, markUp := range map[int64]int64{1000: 1111, 1500: 1765, 2000: 2500, 2500: 3333, 3000: 4286, 3500: 5385,
		4000: 6667, 5000: 10_000} {
		if got := priceByMargin(cost, margin) - cost; got != markUp || priceByMarkUp(cost, markUp) != cost+markUp {
			t.Errorf("a margin of %d is a mark-up of %d, want %d", margin, got, markUp)
		}
	}
	for markUp, margin := range map[int64]int64{1000: 909, 1500: 1304, 2000: 1667, 2500: 2000, 3000: 2308, 3333: 2500,
		5000: 3333, 6700: 4012, 10_000: 5000} {
		price := priceByMarkUp(cost, markUp)
		if got, ok := BasisPoints(price-cost, price); got != margin || !ok {
			t.Errorf("a mark-up of %d is a margin of %d, want %d", markUp, got, margin)
		}
	}
	if priceByMargin(1, 10_000) != 0 {
		t.Error("a margin of the whole price leaves a price")
	}
}

// TestOverheadRecovery compares absorbed overhead with exercises of cost
// accounting: overhead absorption rate times the actual base.
func TestOverheadRecovery(t *testing.T) {
	for _, c := range []struct {
		name                                 string
		overhead                             int64 // ten-thousandths for an hour, or basis points
		byCost                               bool
		minutes, costE4, absorbed, actual, d int64
	}{
		{"448 000 for 320 000 of labour; 345 000 booked, 459 000 spent", 14_000, true, 0, 345_000_0000, 483_000_0000,
			459_000_0000, 24_000_0000},
		{"403 260 for 61 100 h; 58 750 h booked, 462 000 spent", 6_6000, false, 58_750 * 60, 0, 387_750_0000,
			462_000_0000, -74_250_0000},
		{"60 000 for 6000 h; 7000 h booked, 65 000 spent", 10_0000, false, 7000 * 60, 0, 70_000_0000, 65_000_0000,
			5_000_0000},
	} {
		got := labourCostE4(c.minutes, c.overhead)
		if c.byCost {
			got = shareE4(c.costE4, c.overhead)
		}
		if got != c.absorbed || got-c.actual != c.d {
			t.Errorf("%s: absorbed %d, want %d; over %d, want %d", c.name, got, c.absorbed, got-c.actual, c.d)
		}
	}
}
