package coating_test

import (
	"fmt"
	"testing"

	"daysheet/reports/coating"
	"daysheet/reports/measure/checktest"
)

// Where the published figures come from.
const (
	makers     = "technical notes of paint makers on volume solids and spreading rate"
	handbook   = "US DoD MIL-HDBK-1110, procedure 13"
	limitsUS   = "US DoD MIL-HDBK-1110, 7.2, 7.4.1 and 9.6.6"
	army       = "US Army TM 43-0139, table 3-2"
	lecture    = "quantity surveying lecture, consumption for 100 m2"
	works      = "public-works schedule of rates, items 32.46 and 32.52"
	textbook   = "Carpentry, textbook, about 1916"
	regulator  = "air-quality district rule, transfer efficiency"
	table      = "dew point table for coating inspection"
	worked     = "worked example to the 3 K rule of ISO 8502-4"
	homework   = "dew point homework example"
	library    = "unit test of a weather library, WMO coefficients"
	library2   = "unit test of another library, another formula"
	fieldRule  = "field rule Td = T - (100 - RH)/5"
	memory     = "from memory"
	practice   = "common practice, no source"
	identity   = "identity"
	definition = "international yard and pound, 1959, and US gallon: exact"
	en13300    = "EN 13300:2001"
	en1062     = "EN 1062-1"
	voc        = "2004/42/EC, annex II A, phase II"
	wrongPages = "public pages, known to be wrong"
)

type check = checktest.Check

func TestChecks(t *testing.T) {
	var all []check
	for _, list := range [][]check{
		rates(), films(), quantities(), losses(), units(), dewPoints(t), humidities(t), interior(t), exterior(t), vocs(t),
	} {
		all = append(all, list...)
	}
	checktest.Run(t, all)
}

func rates() []check {
	list := []check{
		{Name: "rate 65 %, 125 um", Source: makers, Got: coating.SpreadingRate(0.65, 125), Want: 5.2},
		{Name: "rate 71 %, 125 um", Source: makers, Got: coating.SpreadingRate(0.71, 125), Want: 5.68},
		{Name: "rate US 65 %, 5 mil", Source: makers, Got: coating.SpreadingRateUS(0.65, 5), Want: 208.52, Tolerance: 0.03},
		{Name: "rate US, 100 % at 1 mil", Source: identity, Got: coating.SpreadingRateUS(1, 1), Want: 1604.1667, Tolerance: 0.0001},
		{Name: "rate US and metric agree", Source: identity, Got: coating.SquareMetresPerLitre(coating.SpreadingRateUS(0.65, 5)), Want: coating.SpreadingRate(0.65, 5*coating.UmPerMil)},
		{Name: "a litre at 1 um", Source: identity, Got: coating.SpreadingRate(1, 1), Want: 1000},
		{Name: "rate with 100 in place of 1000", Source: wrongPages, Got: coating.SpreadingRate(0.65, 125), Want: 0.52, Misprint: true},
		{Name: "rate ten times in mm", Source: wrongPages, Got: coating.SpreadingRate(0.71, 125), Want: 56.8, Misprint: true},
	}
	for _, r := range []struct{ percent, um, rate float64 }{
		{40, 25, 16}, {50, 50, 10}, {45, 75, 6}, {70, 125, 5.6}, {60, 150, 4}, {95, 175, 5.4}, {55, 400, 1.4},
	} {
		list = append(list, check{Name: fmt.Sprintf("rate table %v %%, %v um", r.percent, r.um), Source: makers,
			Got: coating.SpreadingRate(r.percent/100, r.um), Want: r.rate, Tolerance: 0.1})
	}
	return list
}

func films() []check {
	return []check{
		{Name: "wet film 125 um, 71 %", Source: makers, Got: coating.WetFilm(125, 0.71), Want: 176, Tolerance: 0.5},
		{Name: "wet film 100 um, 62 %", Source: makers, Got: coating.WetFilm(100, 0.62), Want: 161, Tolerance: 0.5},
		{Name: "wet film 125 um, 35 %", Source: makers, Got: coating.WetFilm(125, 0.35), Want: 357, Tolerance: 0.5},
		{Name: "wet film 6 mil, 30 %", Source: handbook, Got: coating.WetFilm(6, 0.30), Want: 20},
		{Name: "wet film 6 mil, 30 % in um", Source: handbook, Got: coating.WetFilm(6, 0.30) * coating.UmPerMil, Want: 508},
		{Name: "wet film 1.5 mil, 42 %", Source: makers, Got: coating.WetFilm(1.5, 0.42), Want: 3.57, Tolerance: 0.005},
		{Name: "dry film of 100 um wet, 50 %", Source: handbook, Got: coating.DryFilm(100, 0.5), Want: 50},
		{Name: "dry film by dividing", Source: wrongPages, Got: coating.DryFilm(100, 0.5), Want: 200, Misprint: true},
		{Name: "solids of 100 wet and 50 dry", Source: makers, Got: coating.VolumeSolids(50, 100), Want: 0.5},
		{Name: "thinned 50 % by 10 %", Source: makers, Got: coating.Thinned(0.5, 0.1), Want: 0.4545, Tolerance: 0.00005},
		{Name: "thinned 50 % by subtracting", Source: identity, Got: coating.Thinned(0.5, 0.1), Want: 0.45, Misprint: true},
		{Name: "thinned rate at 60 um", Source: makers, Got: coating.SpreadingRate(coating.Thinned(0.5, 0.1), 60), Want: 7.57, Tolerance: 0.01},
		{Name: "thinned rate less 30 %", Source: makers, Got: coating.Practical(coating.SpreadingRate(coating.Thinned(0.5, 0.1), 60), 0.3), Want: 5.299, Tolerance: 0.005},
		{Name: "thinned dry film of 8 mil wet, 35 %", Source: makers, Got: coating.DryFilm(8, coating.Thinned(0.35, 0.1)), Want: 2.5455, Tolerance: 0.0001},
		{Name: "dry film of 8 mil wet, 35 %", Source: makers, Got: coating.DryFilm(8, 0.35), Want: 2.8},
		{Name: "mist coat, one of water to four", Source: practice, Got: coating.Thinned(0.38, 0.25), Want: 0.304},
	}
}

func quantities() []check {
	list := []check{
		{Name: "litres 42 m2, 2 coats, 11 m2/l", Source: makers, Got: coating.Litres(42, 2, 11), Want: 7.6, Tolerance: 0.05},
		{Name: "litres 40 m2, 2 coats, 10 m2/l", Source: identity, Got: coating.Litres(40, 2, 10), Want: 8},
		{Name: "implied film of a litre on 5.2 m2, 65 %", Source: makers, Got: coating.ImpliedDryFilm(0.65, 5.2, 1), Want: 125},
		{Name: "implied film with area over litres", Source: "identity, upside down", Got: coating.ImpliedDryFilm(0.65, 5.2, 1), Want: 3380, Misprint: true},
		{Name: "implied film of twice the litres", Source: identity, Got: coating.ImpliedDryFilm(0.65, 5.2, 2), Want: 250},
		{Name: "implied film after the loss", Source: identity, Got: coating.ImpliedDryFilm(0.45, 100, coating.Practical(15.873, 0.3)), Want: 50, Tolerance: 0.01},
	}
	for _, r := range []struct {
		name, source   string
		litres, square float64
		rate, near     float64
	}{
		{"wood priming", lecture, 8, 100, 12.5, 0},
		{"metal coats in oil", lecture, 7, 100, 14.3, 0.05},
		{"varnish", lecture, 5.5, 100, 18.2, 0.05},
		{"alkali-resisting primer on plaster", lecture, 9, 100, 11.1, 0.05},
		{"alkali-resisting primer on brick", lecture, 13, 100, 7.7, 0.05},
		{"metal primer", lecture, 6.25, 100, 16, 0},
		{"enamel on old work", works, 0.63, 10, 15.87, 0.005},
		{"distemper, for one of two coats", works, 0.5, 10, 20, 0},
	} {
		list = append(list, check{Name: "litres " + r.name, Source: r.source, Got: coating.Litres(r.square, 1, r.rate), Want: r.litres, Tolerance: r.litres * r.near / 5})
	}
	return list
}

func losses() []check {
	rate := coating.SpreadingRate(0.45, 50)
	list := []check{
		{Name: "two losses multiply", Source: identity, Got: coating.Practical(rate, 0.3, 0.1), Want: 5.67},
		{Name: "two losses added", Source: practice, Got: coating.Practical(rate, 0.3, 0.1), Want: 5.40, Misprint: true},
		{Name: "consumption factor without loss", Source: identity, Got: coating.ConsumptionFactor(), Want: 1},
		{Name: "consumption factor of 30 % and the rate agree", Source: identity, Got: coating.ConsumptionFactor(0.3) * coating.Litres(100, 1, rate), Want: coating.Litres(100, 1, coating.Practical(rate, 0.3))},
	}
	for _, r := range []struct {
		name, source string
		loss, litres float64
	}{
		{"10 % brush, low", makers, 0.10, 12.346},
		{"15 % brush, high", makers, 0.15, 13.072},
		{"30 % airless", makers, 0.30, 15.873},
		{"50 % air spray", makers, 0.50, 22.222},
		{"efficiency 0.60", makers, coating.Loss(0.60), 18.519},
		{"efficiency 0.65, the floor for equivalence", regulator, coating.Loss(0.65), 17.094},
	} {
		list = append(list, check{Name: "litres for 100 m2 with loss " + r.name, Source: r.source,
			Got: coating.Litres(100, 1, coating.Practical(rate, r.loss)), Want: r.litres, Tolerance: 0.0005})
	}
	return list
}

func units() []check {
	list := []check{
		{Name: "ft2/gal in m2/l", Source: definition, Got: coating.SquareMetresPerLitre(1), Want: 0.0245424, Tolerance: 5e-8},
		{Name: "yd2 is 9 ft2", Source: definition, Got: coating.SquareMetresPerSquareYard, Want: 9 * coating.SquareMetresPerSquareFoot},
		{Name: "5 F of difference", Source: limitsUS, Got: coating.Kelvin(5), Want: 2.78, Tolerance: 0.005},
		{Name: "5 F taken for 3 K", Source: limitsUS, Got: coating.Kelvin(5), Want: 3, Tolerance: 0.1, Misprint: true},
		{Name: "45 F", Source: limitsUS, Got: coating.Celsius(45), Want: 7.2, Tolerance: 0.05},
		{Name: "90 F", Source: limitsUS, Got: coating.Celsius(90), Want: 32.2, Tolerance: 0.05},
		{Name: "40 F", Source: limitsUS, Got: coating.Celsius(40), Want: 4.4, Tolerance: 0.05},
		{Name: "store at 50 F", Source: limitsUS, Got: coating.Celsius(50), Want: 10},
		{Name: "store at 85 F", Source: limitsUS, Got: coating.Celsius(85), Want: 29.4, Tolerance: 0.05},
	}
	for _, r := range []struct {
		source    string
		feet, met float64
	}{
		{army, 250, 6.14}, {army, 350, 8.59}, {army, 300, 7.36}, {army, 400, 9.82}, {army, 500, 12.27}, {army, 600, 14.73},
		{army, 150, 3.68}, {army, 450, 11.04}, {textbook, 250, 6.14}, {textbook, 300, 7.36}, {textbook, 350, 8.59},
	} {
		list = append(list, check{Name: fmt.Sprintf("%v ft2/gal, %s", r.feet, r.source), Source: r.source,
			Got: coating.SquareMetresPerLitre(r.feet), Want: r.met, Tolerance: 0.006})
	}
	return list
}

func dewPoints(t *testing.T) []check {
	point := func(of func(air, humidity float64) (float64, bool), air, humidity float64) float64 {
		celsius, ok := of(air, humidity)
		if !ok {
			t.Errorf("no point at %v °C and %v %%", air, humidity)
		}
		return celsius
	}
	var list []check
	for _, r := range []struct{ air, humidity, dew float64 }{
		{10, 50, 0}, {10, 60, 2.5}, {10, 70, 4.8}, {10, 80, 6.8}, {10, 90, 8.5},
		{15, 50, 4.7}, {15, 60, 7.4}, {15, 70, 9.6}, {15, 80, 11.7}, {15, 90, 13.5},
		{20, 40, 5.9}, {20, 50, 9.3}, {20, 60, 12}, {20, 80, 16.5}, {20, 90, 18.4},
		{25, 50, 13.8}, {25, 60, 16.7}, {25, 70, 19.1}, {25, 80, 21.4}, {25, 90, 23.3},
		{30, 50, 18.4}, {30, 55, 20}, {30, 60, 21.4}, {30, 70, 23.9}, {30, 80, 26.1}, {30, 90, 28.2},
		{22, 70, 16.3}, {22, 45, 9.6}, {24, 60, 15.7},
	} {
		list = append(list, check{Name: fmt.Sprintf("dew point table %v/%v", r.air, r.humidity), Source: table,
			Got: point(coating.DewPoint, r.air, r.humidity), Want: r.dew, Tolerance: 0.15})
	}
	return append(list, []check{
		{Name: "dew point 20/70", Source: worked, Got: point(coating.DewPoint, 20, 70), Want: 14.4, Tolerance: 0.1},
		{Name: "least surface 20/70", Source: worked, Got: point(coating.DewPoint, 20, 70) + 3, Want: 17.4, Tolerance: 0.1},
		{Name: "dew point 10/90", Source: worked, Got: point(coating.DewPoint, 10, 90), Want: 8.4, Tolerance: 0.1},
		{Name: "least surface 10/90", Source: worked, Got: point(coating.DewPoint, 10, 90) + 3, Want: 11.4, Tolerance: 0.1},
		{Name: "dew point 22/78", Source: homework, Got: point(coating.DewPoint, 22, 78), Want: 17.98, Tolerance: 0.01},
		{Name: "dew point 25/10", Source: library, Got: point(coating.DewPoint, 25, 10), Want: -8.77, Tolerance: 0.01},
		{Name: "dew point 25/50", Source: library, Got: point(coating.DewPoint, 25, 50), Want: 13.85, Tolerance: 0.01},
		{Name: "dew point 50/90", Source: library, Got: point(coating.DewPoint, 50, 90), Want: 47.90, Tolerance: 0.01},
		{Name: "dew point 31.6/59.6", Source: library2, Got: point(coating.DewPoint, 31.6, 59.6), Want: 22.6, Tolerance: 0.25},
		{Name: "dew point 29.3/75.4", Source: library2, Got: point(coating.DewPoint, 29.3, 75.4), Want: 24.3, Tolerance: 0.25},
		{Name: "dew point 27.1/66.4", Source: library2, Got: point(coating.DewPoint, 27.1, 66.4), Want: 20.2, Tolerance: 0.25},
		{Name: "dew point 40/50", Source: memory, Got: point(coating.DewPoint, 40, 50), Want: 27.6, Tolerance: 0.05},
		{Name: "dew point table 30/65", Source: wrongPages, Got: point(coating.DewPoint, 30, 65), Want: 23.7, Tolerance: 0.5, Misprint: true},
		{Name: "dew point 30/65 lies between its neighbours", Source: table, Got: point(coating.DewPoint, 30, 65), Want: (21.4 + 23.9) / 2, Tolerance: 0.15},
		{Name: "frost point 2/50 as tables print it", Source: table, Got: point(coating.FrostPoint, 2, 50), Want: -6.6, Tolerance: 0.1},
		{Name: "dew point 2/50 is not the frost point", Source: table, Got: point(coating.DewPoint, 2, 50), Want: -6.6, Tolerance: 0.5, Misprint: true},
		{Name: "settling point below zero is the frost point", Source: table, Got: point(coating.SettlingPoint, 2, 50), Want: -6.6, Tolerance: 0.1},
		{Name: "settling point above zero is the dew point", Source: worked, Got: point(coating.SettlingPoint, 20, 70), Want: 14.4, Tolerance: 0.1},
		{Name: "saturated air", Source: identity, Got: point(coating.DewPoint, 20, 100), Want: 20},
		{Name: "field rule holds at 25/60", Source: fieldRule, Got: point(coating.DewPoint, 25, 60), Want: 17, Tolerance: 0.5},
		{Name: "field rule fails at 22/45", Source: fieldRule, Got: point(coating.DewPoint, 22, 45), Want: 11, Tolerance: 1, Misprint: true},
	}...)
}

// humidities are the greatest ones at which a surface as warm as the air is 3 K
// above the dew point: 85 per cent is too much at any of these temperatures.
func humidities(t *testing.T) []check {
	var list []check
	for _, r := range []struct{ air, percent float64 }{{10, 81.6}, {20, 82.9}, {25, 83.5}} {
		got, ok := coating.Humidity(r.air, r.air-3)
		if !ok {
			t.Errorf("no humidity at %v", r.air)
		}
		list = append(list, check{Name: fmt.Sprintf("humidity for 3 K at %v", r.air), Source: "WMO-No. 8, Magnus formula",
			Got: got, Want: r.percent, Tolerance: 0.05})
	}
	dew, _ := coating.DewPoint(20, 85)
	return append(list, check{Name: "85 % leaves 2.60 K at 20", Source: "WMO-No. 8, Magnus formula", Got: 20 - dew, Want: 2.60, Tolerance: 0.005})
}

func interior(t *testing.T) []check {
	class := func(n int, ok bool) float64 {
		if !ok {
			t.Error("no class")
		}
		return float64(n)
	}
	is := func(got, want any) float64 {
		if got == want {
			return 1
		}
		return 0
	}
	var list []check
	for _, r := range []struct {
		loss   float64
		cycles int
		class  float64
	}{{4.9, 200, 1}, {5, 200, 2}, {19.9, 200, 2}, {20, 200, 3}, {69.9, 200, 3}, {69.9, 40, 4}, {70, 40, 5}} {
		list = append(list, check{Name: fmt.Sprintf("scrub %v um at %d", r.loss, r.cycles), Source: en13300,
			Got: class(coating.ScrubClass(r.loss, r.cycles)), Want: r.class})
	}
	for _, r := range []struct{ percent, class float64 }{{99.5, 1}, {99.4, 2}, {98, 2}, {97.9, 3}, {95, 3}, {94.9, 4}} {
		list = append(list, check{Name: fmt.Sprintf("contrast %v %%", r.percent), Source: en13300,
			Got: class(coating.ContrastClass(r.percent, 7)), Want: r.class})
	}
	for _, r := range []struct {
		at60, at85 float64
		want       coating.Gloss
	}{
		{60, 90, coating.Glossy}, {59.9, 60, coating.MidSheen}, {5, 10, coating.MidSheen}, {3, 9.9, coating.Matt},
		{2, 5, coating.Matt}, {1, 4.9, coating.DeadMatt},
	} {
		list = append(list, check{Name: fmt.Sprintf("gloss %v/%v", r.at60, r.at85), Source: en13300,
			Got: is(coating.GlossOf(r.at60, r.at85), r.want), Want: 1})
	}
	for _, r := range []struct {
		um   float64
		want coating.Grain
	}{
		{100, coating.Fine}, {101, coating.Medium}, {300, coating.Medium}, {301, coating.Coarse}, {1500, coating.Coarse},
		{1501, coating.VeryCoarse},
	} {
		list = append(list, check{Name: fmt.Sprintf("grain %v", r.um), Source: en13300, Got: is(coating.GrainOf(r.um), r.want), Want: 1})
	}
	return list
}

func exterior(t *testing.T) []check {
	var list []check
	for _, r := range []struct {
		name, source string
		of           func(float64) (int, bool)
		value, class float64
	}{
		{"W", en1062, coating.WaterClass, 0.51, 1}, {"W", en1062, coating.WaterClass, 0.5, 2},
		{"W", en1062, coating.WaterClass, 0.11, 2}, {"W", en1062, coating.WaterClass, 0.1, 3},
		{"V", en1062, coating.VapourClass, 151, 1}, {"V", en1062, coating.VapourClass, 150, 2},
		{"V", en1062, coating.VapourClass, 15.1, 2}, {"V", en1062, coating.VapourClass, 15, 3},
		{"s_d", en1062, coating.VapourClassOfLayer, 0.13, 1}, {"s_d", en1062, coating.VapourClassOfLayer, 0.14, 2},
		{"s_d", en1062, coating.VapourClassOfLayer, 1.39, 2}, {"s_d", en1062, coating.VapourClassOfLayer, 1.4, 3},
		{"E", memory, coating.FilmClass, 50, 1}, {"E", memory, coating.FilmClass, 100, 2},
		{"E", memory, coating.FilmClass, 200, 3}, {"E", memory, coating.FilmClass, 400, 4}, {"E", memory, coating.FilmClass, 401, 5},
	} {
		class, ok := r.of(r.value)
		if !ok {
			t.Errorf("no class for %s %v", r.name, r.value)
		}
		list = append(list, check{Name: fmt.Sprintf("class %s of %v", r.name, r.value), Source: r.source, Got: float64(class), Want: r.class})
	}
	return list
}

func vocs(t *testing.T) []check {
	var list []check
	for _, r := range []struct {
		category       string
		water, solvent float64
	}{
		{"a", 30, 30}, {"b", 100, 100}, {"c", 40, 430}, {"d", 130, 300}, {"e", 130, 400}, {"f", 130, 700},
		{"g", 30, 350}, {"h", 30, 750}, {"i", 140, 500}, {"j", 140, 500}, {"k", 100, 100}, {"l", 200, 200},
	} {
		water, ok := coating.VOCLimit(r.category, true)
		solvent, ok2 := coating.VOCLimit(r.category, false)
		if !ok || !ok2 {
			t.Errorf("no limit for category %s", r.category)
		}
		list = append(list, check{Name: "VOC water-borne " + r.category, Source: voc, Got: water, Want: r.water},
			check{Name: "VOC solvent-borne " + r.category, Source: voc, Got: solvent, Want: r.solvent})
	}
	a, _ := coating.VOCLimit(coating.WallCategory(25), true)
	b, _ := coating.VOCLimit(coating.WallCategory(25.1), true)
	return append(list,
		check{Name: "VOC wall with gloss 25", Source: voc, Got: a, Want: 30},
		check{Name: "VOC wall with gloss 25.1", Source: voc, Got: b, Want: 100},
		check{Name: "VOC ready to use counts the thinner", Source: identity, Got: coating.ReadyToUseVOC(290, 870, 0.05), Want: 317.619, Tolerance: 0.001},
	)
}
