package coating_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"daysheet/reports/coating"
)

// TestNoAmountIsZero: what has no meaning is 0, never a negative, infinite or
// missing number.
func TestNoAmountIsZero(t *testing.T) {
	odd := []float64{0, -1, math.Inf(1), math.Inf(-1), math.NaN()}
	for name, f := range map[string]func(x float64) float64{
		"rate":    func(x float64) float64 { return coating.SpreadingRate(0.5, x) },
		"rate US": func(x float64) float64 { return coating.SpreadingRateUS(0.5, x) },
		"wet":     func(x float64) float64 { return coating.WetFilm(100, x) },
		"dry":     func(x float64) float64 { return coating.DryFilm(100, x) },
		"solids":  func(x float64) float64 { return coating.VolumeSolids(50, x) },
		"litres":  func(x float64) float64 { return coating.Litres(40, 2, x) },
		"implied": func(x float64) float64 { return coating.ImpliedDryFilm(0.5, x, 1) },
		"lost":    func(x float64) float64 { return coating.Practical(10, 1+x*x) },
		"factor":  func(x float64) float64 { return coating.ConsumptionFactor(1 + x*x) },
	} {
		for _, x := range odd {
			if got := f(x); got != 0 {
				t.Errorf("%s of %v is %v, want 0", name, x, got)
			}
		}
	}
}

// TestLossesThatCannotBe: two losses over the whole would multiply to something.
func TestLossesThatCannotBe(t *testing.T) {
	for _, losses := range [][]float64{{2, 2}, {-0.1}, {1.01, 3}, {1, 0.5}} {
		if got := coating.Practical(10, losses...); got != 0 {
			t.Errorf("%v leave %v", losses, got)
		}
	}
	if got := coating.Practical(10, 0, 0); got != 10 {
		t.Errorf("no losses leave %v", got)
	}
}

// TestClassesBeginAtZero: nothing lost, let through or covered is a value too.
func TestClassesBeginAtZero(t *testing.T) {
	for name, c := range map[string]struct {
		f    func() (int, bool)
		want int
	}{
		"scrub":    {func() (int, bool) { return coating.ScrubClass(0, 200) }, 1},
		"contrast": {func() (int, bool) { return coating.ContrastClass(0, 7) }, 4},
		"full":     {func() (int, bool) { return coating.ContrastClass(100, 7) }, 1},
		"water":    {func() (int, bool) { return coating.WaterClass(0) }, 3},
		"layer":    {func() (int, bool) { return coating.VapourClassOfLayer(0) }, 1},
	} {
		if class, ok := c.f(); !ok || class != c.want {
			t.Errorf("%s: class %d, want %d", name, class, c.want)
		}
	}
}

func TestNoPointWhereThereIsNone(t *testing.T) {
	for _, c := range [][2]float64{
		{20, 0}, {20, -1}, {20, 100.1}, {-45.1, 50}, {60.1, 50}, {math.NaN(), 50}, {20, math.NaN()}, {0, 0.001},
	} {
		if v, ok := coating.DewPoint(c[0], c[1]); ok {
			t.Errorf("dew point at %v is %v", c, v)
		}
	}
	if v, ok := coating.FrostPoint(20, 70); ok {
		t.Errorf("frost point above zero: %v", v)
	}
	for _, c := range [][2]float64{{10, 11}, {61, 20}, {10, -46}, {math.NaN(), 1}} {
		if v, ok := coating.Humidity(c[0], c[1]); ok {
			t.Errorf("humidity at %v is %v", c, v)
		}
	}
}

func TestNoClassWhereThereIsNone(t *testing.T) {
	for name, f := range map[string]func() (int, bool){
		"scrub of 70 at 200":    func() (int, bool) { return coating.ScrubClass(70, 200) },
		"scrub at 100":          func() (int, bool) { return coating.ScrubClass(3, 100) },
		"scrub below zero":      func() (int, bool) { return coating.ScrubClass(-1, 200) },
		"contrast without rate": func() (int, bool) { return coating.ContrastClass(99, 0) },
		"contrast over 100":     func() (int, bool) { return coating.ContrastClass(101, 7) },
		"water below zero":      func() (int, bool) { return coating.WaterClass(-1) },
		"vapour without number": func() (int, bool) { return coating.VapourClass(math.NaN()) },
		"layer below zero":      func() (int, bool) { return coating.VapourClassOfLayer(-1) },
		"no film":               func() (int, bool) { return coating.FilmClass(0) },
	} {
		if class, ok := f(); ok || class != 0 {
			t.Errorf("%s has class %d", name, class)
		}
	}
	if v, ok := coating.VOCLimit("m", true); ok {
		t.Errorf("category m has the limit %v", v)
	}
}

// TestInverses holds for any coat: what one formula makes, its inverse takes
// back. The dew point never lies above the air, nor below the frost line of it.
func TestInverses(t *testing.T) {
	seed := rand.Uint64()
	r := rand.New(rand.NewPCG(seed, 1))
	near := func(what string, got, want float64) {
		t.Helper()
		if math.Abs(got-want) > 1e-6*max(1, math.Abs(want)) {
			t.Fatalf("seed %d: %s is %v, want %v", seed, what, got, want)
		}
	}
	for range 5000 {
		solids, film, area, loss := 0.1+0.9*r.Float64(), 1+500*r.Float64(), 1+1000*r.Float64(), 0.9*r.Float64()
		near("dry film", coating.DryFilm(coating.WetFilm(film, solids), solids), film)
		rate := coating.Practical(coating.SpreadingRate(solids, film), loss)
		litres := coating.Litres(area, 1, rate)
		near("implied film", coating.ImpliedDryFilm(solids, area, coating.Practical(litres, loss)), film)
		air, humidity := -5+45*r.Float64(), 20+80*r.Float64()
		dew, ok := coating.DewPoint(air, humidity)
		if !ok || dew > air+1e-9 {
			t.Fatalf("seed %d: dew point of %v and %v is %v", seed, air, humidity, dew)
		}
		if humidity < 99.999 {
			back, _ := coating.Humidity(air, dew)
			near("humidity", back, humidity)
		}
		if settles, ok := coating.SettlingPoint(air, humidity); !ok || settles < dew-1e-9 {
			t.Fatalf("seed %d: water settles at %v, below the dew point %v", seed, settles, dew)
		}
	}
}
