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
	wrongPages = "public pages, known to be wrong"
)

// Exact by definition: the international yard and pound of 1959, and the US gallon.
const (
	umPerMil = 25.4
	usRate   = 0.09290304 / 3.785411784 // square feet for a US gallon, in m²/l
)

type check = checktest.Check

func TestChecks(t *testing.T) {
	var all []check
	for _, list := range [][]check{
		rates(), films(), quantities(), losses(), dewPoints(t), humidities(t),
	} {
		all = append(all, list...)
	}
	checktest.Run(t, all)
}

func rates() []check {
	list := []check{
		{Name: "rate 65 %, 125 um", Source: makers, Got: coating.SpreadingRate(0.65, 125), Want: 5.2},
		{Name: "rate 71 %, 125 um", Source: makers, Got: coating.SpreadingRate(0.71, 125), Want: 5.68},
		{Name: "rate 65 %, 5 mil in ft2/gal", Source: makers, Got: coating.SpreadingRate(0.65, 5*umPerMil) / usRate, Want: 208.52, Tolerance: 0.03},
		{Name: "100 % at 1 mil in ft2/gal", Source: identity, Got: coating.SpreadingRate(1, umPerMil) / usRate, Want: 1604.1667, Tolerance: 0.0001},
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
		{Name: "wet film 6 mil, 30 % in um", Source: handbook, Got: coating.WetFilm(6, 0.30) * umPerMil, Want: 508},
		{Name: "wet film 1.5 mil, 42 %", Source: makers, Got: coating.WetFilm(1.5, 0.42), Want: 3.57, Tolerance: 0.005},
		{Name: "dry film of 100 um wet, 50 %", Source: handbook, Got: coating.DryFilm(100, 0.5), Want: 50},
		{Name: "dry film by dividing", Source: wrongPages, Got: coating.DryFilm(100, 0.5), Want: 200, Misprint: true},
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
	return []check{
		{Name: "implied film of a litre on 5.2 m2, 65 %", Source: makers, Got: coating.ImpliedDryFilm(0.65, 5.2, 1), Want: 125},
		{Name: "implied film with area over litres", Source: "identity, upside down", Got: coating.ImpliedDryFilm(0.65, 5.2, 1), Want: 3380, Misprint: true},
		{Name: "implied film of twice the litres", Source: identity, Got: coating.ImpliedDryFilm(0.65, 5.2, 2), Want: 250},
		{Name: "implied film after the loss", Source: identity, Got: coating.ImpliedDryFilm(0.45, 100, coating.Practical(15.873, 0.3)), Want: 50, Tolerance: 0.01},
	}
}

func losses() []check {
	rate := coating.SpreadingRate(0.45, 50)
	list := []check{
		{Name: "two losses multiply", Source: identity, Got: coating.Practical(rate, 0.3, 0.1), Want: 5.67},
		{Name: "two losses added", Source: practice, Got: coating.Practical(rate, 0.3, 0.1), Want: 5.40, Misprint: true},
	}
	for _, r := range []struct {
		name, source string
		loss, litres float64
	}{
		{"10 % brush, low", makers, 0.10, 12.346},
		{"15 % brush, high", makers, 0.15, 13.072},
		{"30 % airless", makers, 0.30, 15.873},
		{"50 % air spray", makers, 0.50, 22.222},
		{"efficiency 0.60", makers, 1 - 0.60, 18.519},
		{"efficiency 0.65, the floor for equivalence", regulator, 1 - 0.65, 17.094},
	} {
		list = append(list, check{Name: "litres for 100 m2 with loss " + r.name, Source: r.source,
			Got: 100 / coating.Practical(rate, r.loss), Want: r.litres, Tolerance: 0.0005})
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
		dew, ok := coating.DewPoint(r.air, r.percent)
		if !ok {
			t.Errorf("no dew point at %v", r.air)
		}
		list = append(list, check{Name: fmt.Sprintf("humidity for 3 K at %v", r.air), Source: "WMO-No. 8, Magnus formula",
			Got: r.air - dew, Want: 3, Tolerance: 0.01})
	}
	dew, _ := coating.DewPoint(20, 85)
	return append(list, check{Name: "85 % leaves 2.60 K at 20", Source: "WMO-No. 8, Magnus formula", Got: 20 - dew, Want: 2.60, Tolerance: 0.005})
}
