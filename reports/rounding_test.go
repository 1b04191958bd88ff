package reports

import (
	"math"
	"math/big"
	"math/rand/v2"
	"testing"
)

func TestRatio(t *testing.T) {
	const most, least = math.MaxInt64, math.MinInt64
	for _, c := range []struct{ a, b, c, want int64 }{
		{0, 0, 0, 0}, {5, 7, 0, 0}, {0, 5, 7, 0}, {0, 5, least, 0}, // nothing, or divided by nothing
		{1, 1, 2, 1}, {-1, 1, 2, -1}, {1, -1, 2, -1}, {1, 1, -2, -1}, {-1, -1, 2, 1}, // halves away from zero
		{3, 1, 2, 2}, {5, 1, 2, 3}, {-3, 1, 2, -2}, {-5, 1, 2, -3},
		{1, 1, 3, 0}, {2, 1, 3, 1}, {-1, 1, 3, 0}, {-2, 1, 3, -1},
		{most, most, most, most}, {least, 1, 1, least}, {least, -1, 2, 1 << 62}, // beyond int64 on the way
		{most, 10_000, most, 10_000}, {-most, 10_000, most, -10_000}, {3037000500, 3037000500, 3037000500, 3037000500},
		{1 << 62, 3, 1 << 62, 3}, {1, most, least, -1}, {least, least, least, least},
		{most, 2, 1, most}, {most, -2, 1, least}, {least, -1, 1, most}, // the result itself is beyond
	} {
		if got := ratio(c.a, c.b, c.c); got != c.want {
			t.Errorf("ratio(%d, %d, %d) = %d, want %d", c.a, c.b, c.c, got, c.want)
		}
	}
}

// TestRatioAgainstRationals compares with math/big, which the short way of ratio
// does not use.
func TestRatioAgainstRationals(t *testing.T) {
	seed := rand.Uint64()
	r := rand.New(rand.NewPCG(seed, 1))
	for range 20_000 {
		a, b, c := anyInt(r), anyInt(r), anyInt(r)
		if c == 0 {
			continue
		}
		want := nearest(a, b, c)
		if !want.IsInt64() {
			continue // TestRatio has the results beyond int64
		}
		if got := ratio(a, b, c); got != want.Int64() {
			t.Fatalf("seed %d: ratio(%d, %d, %d) = %d, want %s", seed, a, b, c, got, want)
		}
	}
}

// anyInt returns a number of any size, small ones as often as great ones.
func anyInt(r *rand.Rand) int64 { return int64(r.Uint64()) >> r.IntN(64) }

// nearest is the integer nearest to a*b/c, halves away from zero, by the
// definition: the floor of the magnitude plus a half, with the sign put back.
func nearest(a, b, c int64) *big.Int {
	x := new(big.Rat).SetFrac(new(big.Int).Mul(big.NewInt(a), big.NewInt(b)), big.NewInt(c))
	sign := x.Sign()
	x.Abs(x).Add(x, big.NewRat(1, 2))
	floor := new(big.Int).Div(x.Num(), x.Denom())
	return floor.Mul(floor, big.NewInt(int64(sign)))
}

func TestCosts(t *testing.T) {
	for _, c := range []struct {
		name      string
		got, want int64
	}{
		{"90 minutes at 32.00", labourCostE4(90, 32_0000), 48_0000},
		{"50 minutes at 32.00 is 26.66667", labourCostE4(50, 32_0000), 26_6667},
		{"no minutes", labourCostE4(0, 32_0000), 0},
		{"2.5 l at 6.50", MaterialCostE4(2500, 6_5000, 1000), 16_2500},
		{"4 rolls where 10 cost 50.00", MaterialCostE4(4000, 50_0000, 10_000), 20_0000},
		{"1 of 3 for 10.00 is 3.33333", MaterialCostE4(1000, 10_0000, 3000), 3_3333},
		{"returned", MaterialCostE4(-1000, 10_0000, 3000), -3_3333},
		{"all there is, at the greatest price",
			MaterialCostE4(1_000_000_000, 100_000_000_0000, 1_000_000_000), 100_000_000_0000},
	} {
		if c.got != c.want {
			t.Errorf("%s: %d, want %d", c.name, c.got, c.want)
		}
	}
}

// TestMarginAndMarkup checks BasisPoints against the identities of the two
// shares of one profit: markup = margin/(1-margin), margin = markup/(1+markup),
// with the tables of mark-up values that follow from them.
func TestMarginAndMarkup(t *testing.T) {
	for _, c := range []struct{ margin, markup int64 }{ // per cent -> basis points; identity
		{10, 1111}, {15, 1765}, {20, 2500}, {25, 3333}, {30, 4286}, {35, 5385}, {40, 6667}, {50, 10_000},
	} {
		const price = 100_0000
		profit := c.margin * 1_0000
		if got, ok := BasisPoints(profit, price); !ok || got != c.margin*100 {
			t.Errorf("margin %d %%: %d basis points of price", c.margin, got)
		}
		if got, ok := BasisPoints(profit, price-profit); !ok || got != c.markup {
			t.Errorf("margin %d %%: mark-up is %d basis points of cost, want %d", c.margin, got, c.markup)
		}
	}
	for _, c := range []struct{ markup, margin int64 }{ // identity
		{10, 909}, {15, 1304}, {20, 1667}, {25, 2000}, {30, 2308}, {50, 3333}, {67, 4012}, {100, 5000},
	} {
		const cost = 100_0000
		profit := c.markup * 1_0000
		if got, _ := BasisPoints(profit, cost+profit); got != c.margin {
			t.Errorf("mark-up %d %%: margin is %d basis points of price, want %d", c.markup, got, c.margin)
		}
	}
	if _, ok := BasisPoints(5, 0); ok {
		t.Error("a share of nothing has a meaning")
	}
}

// TestCostVariances works the identity of standard cost accounting on data sets
// of textbooks and course pages on variances: rate variance (actual - standard
// rate) x actual hours and efficiency variance (actual - standard hours) x
// standard rate add up to actual cost - standard cost, all of them from
// labourCostE4. Adverse is above zero.
func TestCostVariances(t *testing.T) {
	for _, c := range []struct {
		hours, standardHours int64
		rate, standardRate   int64 // ten-thousandths
		wantRate, wantEff    int64 // whole currency units
	}{
		{18_400, 18_000, 10_3000, 10_0000, 5520, 4000}, // textbook example
		{7000, 6600, 20_3000, 20_2000, 700, 8080},      // textbook example, 142 100 paid for 7000 h
		{23_200, 22_500, 9_8000, 10_0000, -4640, 7000}, // textbook example
		{17_700, 17_500, 30_5000, 30_0000, 8850, 6000}, // textbook example
	} {
		actual := labourCostE4(c.hours*60, c.rate)
		atStandardRate := labourCostE4(c.hours*60, c.standardRate)
		standard := labourCostE4(c.standardHours*60, c.standardRate)
		if got := actual - atStandardRate; got != c.wantRate*10_000 {
			t.Errorf("%d h: rate variance %d, want %d", c.hours, got, c.wantRate*10_000)
		}
		if got := atStandardRate - standard; got != c.wantEff*10_000 {
			t.Errorf("%d h: efficiency variance %d, want %d", c.hours, got, c.wantEff*10_000)
		}
	}
	// Material, the same with price and usage: 430 planned at 6.90, 450 used at 6.50.
	used, planned := MaterialCostE4(450_000, 6_5000, 1000), MaterialCostE4(430_000, 6_9000, 1000)
	if got := used - planned; got != -42_0000 {
		t.Errorf("material variance %d, want -42.00", got)
	}
}

func TestMinutesPerUnit(t *testing.T) {
	for _, c := range []struct {
		minutes, milli, want int64
		ok                   bool
	}{
		{120, 40_000, 3000, true}, {640, 60_000, 10_667, true}, {1, 3000, 333, true}, {0, 1000, 0, true},
		{60, 0, 0, false}, {0, 0, 0, false}, {-60, 30_000, -2000, true},
	} {
		got, ok := minutesPerUnitMilli(c.minutes, c.milli)
		if got != c.want || ok != c.ok {
			t.Errorf("%d min for %d milli: %d, %v; want %d, %v", c.minutes, c.milli, got, ok, c.want, c.ok)
		}
	}
}
