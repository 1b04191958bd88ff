package measure_test

import (
	"testing"

	"daysheet/events"
	"daysheet/reports/measure"
	"daysheet/reports/measure/checktest"
)

// Where the published figures come from.
const (
	din        = "ATV DIN 18363 (VOB/C), section 5"
	is13       = "IS 1200-13:1994, 3.2"
	is13flat   = "IS 1200-13:1994, 3.4"
	is15       = "IS 1200-15:1987"
	is15copy   = "copies of IS 1200-15 on public pages, known to be wrong"
	smmNation  = "a national Standard Method of Measurement, A2"
	smm7       = "UK SMM7, from memory"
	nrm2       = "UK NRM2 section 29, from memory"
	carpentry  = "Carpentry, textbook, about 1916"
	lecture    = "quantity surveying lecture, take-off of a parlour"
	exam       = "estimating exam problem, room of 40 by 30 by 12 ft"
	epa        = "40 CFR 745.85(a)(2), US EPA"
	abatement  = "public specification for hazardous abatement"
	additive   = "public-works schedule of rates, full unit-rate build-up"
	compounded = "public schedule of rates with compounded add-ons"
	practice   = "common practice, no source"
	identity   = "identity"
)

type check = checktest.Check

func TestChecks(t *testing.T) {
	var all []check
	for _, list := range [][]check{
		goldenRoom(t), thresholds(t), publishedRooms(t), runs(t), counted(t), factors(t), takeOffs(t), sheets(t),
		schedules(), addOns(),
	} {
		all = append(all, list...)
	}
	checktest.Run(t, all)
}

// window and door of the golden room, which lies on the borders of the rules.
func goldenOpenings() (door, a, b measure.Opening) {
	return measure.Opening{Name: "door", WidthMm: 900, HeightMm: 2100, Count: 1},
		measure.Opening{Name: "window A", WidthMm: 1200, HeightMm: 1000, Count: 1, RevealMm: 150},
		measure.Opening{Name: "window B", WidthMm: 2000, HeightMm: 1500, Count: 1, RevealMm: 150}
}

func measured(t *testing.T, rule string, s measure.Surface) measure.Measured {
	t.Helper()
	m, err := measure.Measure(rule, s)
	if err != nil {
		t.Fatal(err)
	}
	sum, apart := m.GrossMilli, int64(0)
	for _, l := range m.Lines {
		sum, apart = sum+l.ChangeMilli, apart+l.SeparateMilli
		if l.Why == "" || l.Name == "" {
			t.Errorf("%s: a line explains nothing: %+v", rule, l)
		}
	}
	if sum != m.AreaMilli || apart != m.SeparateMilli {
		t.Errorf("%s: lines add up to %d and %d, not to %d and %d", rule, sum, apart, m.AreaMilli, m.SeparateMilli)
	}
	return m
}

func area(t *testing.T, rule string, s measure.Surface) float64 {
	return float64(measured(t, rule, s).AreaMilli) / 1000
}

func goldenRoom(t *testing.T) []check {
	door, a, b := goldenOpenings()
	room := func(face measure.Face) measure.Surface {
		door, a, b := door, a, b
		door.Face, a.Face, b.Face = face, face, face
		return measure.Walls(5000, 4000, 2500, door, a, b)
	}
	plain := room(measure.FaceDeducts)
	greater := b
	greater.WidthMm = 2010 // 3.015 m², over 3
	apart := func(rule string) float64 { return float64(measured(t, rule, plain).SeparateMilli) / 1000 }
	is := measured(t, events.MeasureIS1200, plain)
	return []check{
		{Name: "room gross", Source: identity, Got: float64(is.GrossMilli) / 1000, Want: 45},
		{Name: "room net", Source: identity, Got: area(t, events.MeasureNet, plain), Want: 38.91},
		{Name: "room net reveals", Source: identity, Got: apart(events.MeasureNet), Want: 1.23},
		{Name: "room DIN", Source: din, Got: area(t, events.MeasureDIN18363, plain), Want: 42},
		{Name: "room DIN reveals", Source: din, Got: apart(events.MeasureDIN18363), Want: 1.23},
		{Name: "room DIN without its reveals", Source: din, Got: apart(events.MeasureDIN18363), Want: 0.75, Misprint: true},
		{Name: "room IS face without deduction", Source: is13, Got: area(t, events.MeasureIS1200, room(measure.FaceSpared)), Want: 45},
		{Name: "room IS face with deduction", Source: is13, Got: float64(is.AreaMilli) / 1000, Want: 38.91},
		{Name: "room IS 3.00 m2 adds no reveals", Source: is13, Got: apart(events.MeasureIS1200), Want: 0},
		{
			Name: "room IS over 3 m2: deducted on both faces, reveals added", Source: is13,
			Got: area(t, events.MeasureIS1200, measure.Walls(5000, 4000, 2500, withFace(greater, measure.FaceSpared))),
			// 45 - 2.01 x 1.50 rounded to 3.02 + (2.01 + 3.00) x 0.15 rounded to 0.75
			Want: 42.73,
		},
		{Name: "room voids to 0.5", Source: smm7, Got: area(t, measure.SMM7, plain), Want: 38.91},
		{Name: "room voids to 1.0", Source: nrm2, Got: area(t, measure.NRM2, plain), Want: 38.91},
		{Name: "room no deductions", Source: carpentry, Got: area(t, measure.Gross, plain), Want: 45},
	}
}

func withFace(o measure.Opening, f measure.Face) measure.Opening {
	o.Face = f
	return o
}

// thresholds puts one opening of the given size into a surface of 100 m².
func thresholds(t *testing.T) []check {
	left := func(rule string, o measure.Opening) float64 {
		o.Name, o.Count = "opening", max(o.Count, 1)
		return area(t, rule, measure.Surface{LengthMm: 20_000, HeightMm: 5000, Openings: []measure.Opening{o}})
	}
	floor := func(rule string, w, h int64) float64 {
		o := measure.Opening{Name: "shaft", WidthMm: w, HeightMm: h, Count: 1}
		return area(t, rule, measure.Surface{Place: measure.Floor, LengthMm: 20_000, HeightMm: 5000, Openings: []measure.Opening{o}})
	}
	post := func(rule string, w int64) float64 {
		return area(t, rule, measure.Surface{LengthMm: 20_000, HeightMm: 5000,
			Interruptions: []measure.Interruption{{Name: "post", WidthMm: w, LengthMm: 5000}}})
	}
	skirting := func(rule string, h int64) float64 {
		return area(t, rule, measure.Surface{LengthMm: 20_000, HeightMm: 5000, SkirtingHeightMm: h, SkirtingLengthMm: 20_000})
	}
	const d, is, net = events.MeasureDIN18363, events.MeasureIS1200, events.MeasureNet
	size := func(w, h int64) measure.Opening { return measure.Opening{WidthMm: w, HeightMm: h} }
	faces := func(here, there int64) measure.Opening {
		return measure.Opening{WidthMm: 1000, HeightMm: 1000, Face: measure.FacesDifferent, RevealMm: here, OtherRevealMm: there}
	}
	return []check{
		{Name: "DIN 2.50 m2 exactly", Source: din, Got: left(d, size(1000, 2500)), Want: 100},
		{Name: "DIN just over 2.50 m2", Source: din, Got: left(d, size(1001, 2500)), Want: 97.497, Tolerance: 0.0005},
		{Name: "DIN single size decides, not the sum", Source: din, Got: left(d, measure.Opening{WidthMm: 1000, HeightMm: 2000, Count: 3}), Want: 100},
		{Name: "DIN floor 0.50 m2 exactly", Source: din, Got: floor(d, 1000, 500), Want: 100},
		{Name: "DIN floor just over 0.50 m2", Source: din, Got: floor(d, 1000, 501), Want: 99.499},
		{Name: "DIN wall 0.60 m2", Source: din, Got: left(d, size(1000, 600)), Want: 100},
		{Name: "DIN floor 0.60 m2", Source: din, Got: floor(d, 1000, 600), Want: 99.4},
		{Name: "DIN post 30.0 cm", Source: din, Got: post(d, 300), Want: 100},
		{Name: "DIN post 30.1 cm", Source: din, Got: post(d, 301), Want: 98.495},
		{Name: "IS floor goes by the same sizes", Source: is13, Got: floor(is, 1000, 500), Want: 100},
		{Name: "net floor", Source: identity, Got: floor(net, 1000, 500), Want: 99.5},
		{Name: "opening as large as the surface", Source: identity, Got: left(net, size(20_000, 5000)), Want: 0},
		{Name: "net post 10 cm", Source: identity, Got: post(net, 100), Want: 99.5},
		{Name: "DIN skirting 10 cm", Source: din, Got: skirting(d, 100), Want: 100},
		{Name: "DIN skirting 10.1 cm", Source: din, Got: skirting(d, 101), Want: 97.98},
		{Name: "net skirting 10 cm", Source: identity, Got: skirting(net, 100), Want: 98},
		{Name: "IS 0.50 m2 exactly", Source: is13, Got: left(is, size(1000, 500)), Want: 100},
		{Name: "IS 0.51 m2", Source: is13, Got: left(is, size(1000, 510)), Want: 99.49},
		{Name: "IS sizes to 0.01 m first: 504 mm are 0.50", Source: is13, Got: left(is, size(1000, 504)), Want: 100},
		{Name: "IS sizes to 0.01 m first: 505 mm are 0.51", Source: smmNation, Got: left(is, size(1000, 505)), Want: 99.49},
		{Name: "IS 0.50 m2 adds no reveal", Source: is13, Got: left(is, measure.Opening{WidthMm: 1000, HeightMm: 500, RevealMm: 200}), Want: 100},
		{Name: "IS different finishes, narrower reveal here", Source: is13, Got: left(is, faces(100, 150)), Want: 99},
		{Name: "IS different finishes, narrower reveal there", Source: is13, Got: left(is, faces(150, 100)), Want: 100},
		{Name: "IS different finishes, equal reveals", Source: is13, Got: left(is, faces(100, 100)), Want: 99.5},
		{Name: "SMM7 0.50 m2 exactly", Source: smm7, Got: left(measure.SMM7, size(1000, 500)), Want: 100},
		{Name: "SMM7 0.51 m2", Source: smm7, Got: left(measure.SMM7, size(1000, 510)), Want: 99.49},
		{Name: "NRM2 1.00 m2 exactly", Source: nrm2, Got: left(measure.NRM2, size(1000, 1000)), Want: 100},
		{Name: "NRM2 1.01 m2", Source: nrm2, Got: left(measure.NRM2, size(1000, 1010)), Want: 98.99},
		{Name: "void at the edge is always deducted", Source: smmNation, Got: left(measure.SMM7, measure.Opening{WidthMm: 500, HeightMm: 500, AtEdge: true}), Want: 99.75},
		{Name: "void inside is not", Source: smmNation, Got: left(measure.SMM7, size(500, 500)), Want: 100},
	}
}

// publishedRooms are take-offs that others printed. The method works in any unit
// of length: feet in thousandths give thousandths of square feet.
func publishedRooms(t *testing.T) []check {
	parlour := measure.Surface{LengthMm: 15_300, HeightMm: 3000, Openings: []measure.Opening{
		{Name: "of 2.40 m2", WidthMm: 1200, HeightMm: 2000, Count: 1},
		{Name: "of 3.78 m2", WidthMm: 1800, HeightMm: 2100, Count: 1},
	}}
	walls := measure.Walls(40_000, 30_000, 12_000, measure.Opening{Name: "of 85 ft2", WidthMm: 10_000, HeightMm: 8500, Count: 1})
	ceiling := measure.Surface{LengthMm: 40_000, HeightMm: 30_000}
	return []check{
		{Name: "parlour", Source: lecture, Got: area(t, events.MeasureNet, parlour), Want: 39.72},
		{Name: "parlour by DIN keeps the opening of 2.40", Source: din, Got: area(t, events.MeasureDIN18363, parlour), Want: 42.12},
		{Name: "room in feet", Source: exam, Got: area(t, events.MeasureNet, walls) + area(t, events.MeasureNet, ceiling), Want: 2795},
	}
}

func runs(t *testing.T) []check {
	run := func(rule string, length int64, gaps ...int64) float64 {
		mm, why, err := measure.Run(rule, length, gaps...)
		if err != nil || len(why) != len(gaps) {
			t.Fatal(why, err)
		}
		return float64(mm) / 1000
	}
	return []check{
		{Name: "DIN skirting with a gap of 0.90 m", Source: din, Got: run(events.MeasureDIN18363, 18_000, 900), Want: 18},
		{Name: "DIN skirting with a gap of 1.00 m", Source: din, Got: run(events.MeasureDIN18363, 18_000, 1000), Want: 18},
		{Name: "DIN skirting with a gap of 1.20 m", Source: din, Got: run(events.MeasureDIN18363, 18_000, 1200), Want: 16.8},
		{Name: "net skirting with a gap of 0.90 m", Source: identity, Got: run(events.MeasureNet, 18_000, 900), Want: 17.1},
		{Name: "gross skirting with a gap of 1.20 m", Source: carpentry, Got: run(measure.Gross, 18_000, 1200), Want: 18},
		{Name: "lengths to 10 mm, 5 mm round up", Source: smmNation, Got: run(measure.SMM7, 18_005), Want: 18.01},
		{Name: "lengths to 10 mm, 4 mm round down", Source: smmNation, Got: run(measure.SMM7, 18_004), Want: 18},
	}
}

// counted compares units by their place in the list of units.
func counted(t *testing.T) []check {
	place := func(u events.Unit) float64 {
		for i, known := range events.Units() {
			if u == known {
				return float64(i)
			}
		}
		return -1
	}
	unit := func(rule string, p measure.Piece) float64 {
		u, err := measure.CountedIn(rule, p)
		if err != nil {
			t.Fatal(err)
		}
		return place(u)
	}
	each, metre, square := place(events.Each), place(events.Metre), place(events.SquareMetre)
	const d = events.MeasureDIN18363
	return []check{
		{Name: "DIN separate 2.499 m2", Source: din, Got: unit(d, measure.Piece{GirthMm: 2000, AreaMilli: 2499, Separate: true}), Want: each},
		{Name: "DIN separate 2.500 m2", Source: din, Got: unit(d, measure.Piece{GirthMm: 2000, AreaMilli: 2500, Separate: true}), Want: square},
		{Name: "DIN girth 89.9 cm", Source: din, Got: unit(d, measure.Piece{GirthMm: 899, AreaMilli: 9000}), Want: metre},
		{Name: "DIN girth 90 cm", Source: din, Got: unit(d, measure.Piece{GirthMm: 900, AreaMilli: 9000}), Want: square},
		{Name: "DIN column of 1 m face", Source: din, Got: unit(d, measure.Piece{GirthMm: 1000, AreaMilli: 9000, Column: true}), Want: metre},
		{Name: "DIN column over 1 m", Source: din, Got: unit(d, measure.Piece{GirthMm: 1001, AreaMilli: 9000, Column: true}), Want: square},
		{Name: "IS 10 cm wide", Source: is15, Got: unit(events.MeasureIS1200, measure.Piece{GirthMm: 100, AreaMilli: 900}), Want: metre},
		{Name: "IS 10.1 cm wide", Source: is15, Got: unit(events.MeasureIS1200, measure.Piece{GirthMm: 101, AreaMilli: 900}), Want: square},
		{Name: "SMM7 girth 300 mm", Source: smm7, Got: unit(measure.SMM7, measure.Piece{GirthMm: 300, AreaMilli: 900}), Want: metre},
		{Name: "SMM7 girth 301 mm", Source: smm7, Got: unit(measure.SMM7, measure.Piece{GirthMm: 301, AreaMilli: 900}), Want: square},
		{Name: "SMM7 separate 0.50 m2", Source: smm7, Got: unit(measure.SMM7, measure.Piece{GirthMm: 900, AreaMilli: 500, Separate: true}), Want: each},
		{Name: "SMM7 separate 0.501 m2", Source: smm7, Got: unit(measure.SMM7, measure.Piece{GirthMm: 900, AreaMilli: 501, Separate: true}), Want: square},
		{Name: "NRM2 separate 1.00 m2", Source: nrm2, Got: unit(measure.NRM2, measure.Piece{GirthMm: 900, AreaMilli: 1000, Separate: true}), Want: each},
		{Name: "NRM2 separate 1.001 m2", Source: nrm2, Got: unit(measure.NRM2, measure.Piece{GirthMm: 900, AreaMilli: 1001, Separate: true}), Want: square},
	}
}

func factors(t *testing.T) []check {
	coated := func(item string, w, h, sides int64) float64 {
		milli, err := measure.FactoredArea(item, w, h, 1, sides)
		if err != nil {
			t.Fatal(err)
		}
		return float64(milli) / 1000
	}
	list := []check{
		{Name: "panelled door, both sides", Source: is15, Got: coated("panelled", 900, 2100, 2), Want: 4.914},
		{Name: "flush door, both sides", Source: is15, Got: coated("flush", 900, 2100, 2), Want: 4.536},
		{Name: "glazed window, both sides", Source: is15, Got: coated("fully-glazed", 1500, 1200, 2), Want: 2.88},
		{Name: "panelled door of 3 by 7 ft, one side", Source: is15, Got: coated("panelled", 3000, 7000, 1), Want: 27.3},
		{Name: "panelled door of 3 by 7 ft, both sides", Source: is15, Got: coated("panelled", 3000, 7000, 2), Want: 54.6},
		{Name: "part-glazed misread as fully glazed", Source: is15copy, Got: coated("part-glazed", 1000, 1000, 1), Want: 0.8, Misprint: true},
		{Name: "rolling shutter 1.50 overall", Source: is15copy, Got: coated("rolling-shutter", 1000, 1000, 2), Want: 1.5, Misprint: true},
		{Name: "collapsible gate 1.50 each side", Source: is15copy, Got: coated("collapsible-gate", 1000, 1000, 2), Want: 3, Misprint: true},
	}
	for _, f := range []struct {
		item, source string
		both         float64 // 1 m² of outline, both sides
	}{
		{"ledged-battened", is15, 2.6}, {"part-glazed", is15, 2}, {"louvred", is15, 3.6}, {"trellis", is15, 2},
		{"carved", is15, 4}, {"weatherboard", is15, 2.4}, {"matchboard", is15, 2.1}, {"steel-plain", is15, 2.2},
		{"steel-glazed", is15, 1}, {"steel-corrugated-door", is15, 2.5}, {"collapsible-gate", is15, 1.5},
		{"rolling-shutter", is15, 2.2}, {"grille", is15, 1}, {"corrugated-steel", is13flat, 2.28},
		{"corrugated-cement", is13flat, 2.4}, {"semi-corrugated", is13flat, 2.2},
	} {
		list = append(list, check{Name: "factor " + f.item, Source: f.source, Got: coated(f.item, 1000, 1000, 2), Want: f.both})
	}
	return list
}

func takeOffs(t *testing.T) []check {
	take := func(net, waste, pack int64) measure.Take {
		k, err := measure.TakeOff(net, waste, pack)
		if err != nil {
			t.Fatal(err)
		}
		return k
	}
	tape := take(60_000, 500, 50_000)
	exact := take(100_000, 0, 50_000)
	over := take(100_001, 0, 50_000)
	loose := take(60_000, 500, 0)
	crumb := take(1, 1, 1) // 1.0001 thousandths used, shown as 1, but one pack is not enough
	return []check{
		{Name: "tape used", Source: practice, Got: float64(tape.UsedMilli), Want: 63_000},
		{Name: "tape waste taken of what is used", Source: practice, Got: float64(tape.UsedMilli), Want: 63_158, Tolerance: 10, Misprint: true},
		{Name: "tape used in rolls", Source: practice, Got: float64(tape.PacksMilli), Want: 1260},
		{Name: "tape rolls to buy", Source: practice, Got: float64(tape.Packs), Want: 2},
		{Name: "tape bought", Source: identity, Got: float64(tape.BoughtMilli), Want: 100_000},
		{Name: "tape left", Source: identity, Got: float64(tape.LeftMilli), Want: 37_000},
		{Name: "exactly two rolls", Source: identity, Got: float64(exact.Packs), Want: 2},
		{Name: "a millimetre more than two rolls", Source: identity, Got: float64(over.Packs), Want: 3},
		{Name: "sold by any amount", Source: identity, Got: float64(loose.BoughtMilli + loose.Packs), Want: 63_000},
		{Name: "rounding up is of the exact amount", Source: identity, Got: float64(crumb.Packs), Want: 2},
		{Name: "42 m2 with two coats at 11 m2/l in tins of 2.5 l", Source: practice, Got: float64(take(7636, 0, 2500).Packs), Want: 4},
	}
}

func sheets(t *testing.T) []check {
	must := func(n int64, err error) float64 {
		if err != nil {
			t.Fatal(err)
		}
		return float64(n)
	}
	return []check{
		// 1829 whole millimetres reach a little farther than 6 ft, which are 1828.8.
		{Name: "lead-safe sheet along 3.0 m", Source: epa, Got: must(measure.SheetAlong(3000, measure.LeadSafeInsideMm)) / 1000, Want: 12.175, Tolerance: 0.003},
		{Name: "lead-safe sheet outside along 3.0 m", Source: epa, Got: must(measure.SheetAlong(3000, measure.LeadSafeOutsideMm)) / 1000, Want: 27.725, Tolerance: 0.001},
		{Name: "lead-safe sheet with one end only", Source: epa, Got: must(measure.SheetAlong(3000, measure.LeadSafeInsideMm)) / 1000, Want: 8.831, Tolerance: 0.003, Misprint: true},
		{Name: "abatement sheet 18 in up the walls of 5 by 4 m", Source: abatement, Got: must(measure.SheetUpWalls(5000, 4000, measure.AbatementUpWallMm)) / 1000, Want: 5.9144 * 4.9144, Tolerance: 0.02},
		{Name: "abatement lap is 12 in at least", Source: abatement, Got: measure.AbatementLapMm, Want: 304.8, Tolerance: 0.5},
		{Name: "sheet of a floor alone", Source: identity, Got: must(measure.SheetUpWalls(5000, 4000, 0)) / 1000, Want: 20},
		{Name: "film 1.4 m over 4.0 m with a lap of 150 mm", Source: practice, Got: must(measure.Strips(4000, 1400, 150)), Want: 4},
		{Name: "film without its laps", Source: practice, Got: must(measure.Strips(4000, 1400, 150)), Want: 3, Misprint: true},
		{Name: "one strip is enough", Source: identity, Got: must(measure.Strips(1000, 1400, 150)), Want: 1},
		{Name: "two strips exactly", Source: identity, Got: must(measure.Strips(2650, 1400, 150)), Want: 2},
		{Name: "two strips and a millimetre", Source: identity, Got: must(measure.Strips(2651, 1400, 150)), Want: 3},
	}
}

// e4 turns printed money into ten-thousandths, printed turns it back.
func e4(money float64) int64 { return int64(money*10_000 + 0.5) }

func printed(e4 int64) float64 { return float64(e4) / 10_000 }

// schedules are unit rates as public works print them: profit and overhead of the
// prime cost, tax as a share of the price with it, each line in hundredths.
func schedules() []check {
	var list []check
	for _, s := range []struct {
		item                                                 string
		prime, profit, overhead, subtotal, tax, total, perM2 float64
		quantityMilli                                        int64
		perTolerance                                         float64
	}{
		{"enamel, one coat, 10 m2", 956.13, 95.61, 33.46, 1085.20, 87.99, 1173.19, 117.3, 10_000, 0.05},
		{"distemper, two coats, 10 m2", 1122, 112.20, 39.27, 1273.47, 103.25, 1376.72, 137.7, 10_000, 0.05},
		{"silicone coat, 100 ft2", 2197.50, 219.75, 76.91, 2494.16, 202.23, 2696.39, 290.2, 9290, 0.06},
		{"texture, three coats, 100 ft2", 5696.52, 569.65, 199.38, 6465.55, 524.23, 6989.78, 752.4, 9290, 0.06},
	} {
		sum, added := measure.AddOns(e4(s.prime), 100, []events.AddOn{
			{Name: "profit", BasisPoints: 1000}, {Name: "overhead", BasisPoints: 350},
		})
		tax := measure.VATOfPrice(sum, 750, 100)
		per, _ := measure.PerUnitE4(sum+tax, s.quantityMilli)
		for _, f := range []struct {
			name            string
			got, want, near float64
		}{
			{"profit", printed(added[0].AmountE4), s.profit, 0}, {"overhead", printed(added[1].AmountE4), s.overhead, 0},
			{"subtotal", printed(sum), s.subtotal, 0}, {"tax", printed(tax), s.tax, 0},
			{"total", printed(sum + tax), s.total, 0}, {"per m2", printed(per), s.perM2, s.perTolerance},
		} {
			list = append(list, check{Name: s.item + ": " + f.name, Source: additive, Got: f.got, Want: f.want, Tolerance: f.near})
		}
	}
	return list
}

func addOns() []check {
	sum, steps := measure.AddOns(e4(4340), 100, []events.AddOn{
		{Name: "water", BasisPoints: 100, Compounded: true},
		{Name: "tax", BasisPoints: 1405, Compounded: true},
		{Name: "overhead and profit", BasisPoints: 1500, Compounded: true},
		{Name: "cess", BasisPoints: 100, Compounded: true},
	})
	per, _ := measure.PerUnitE4(sum, 100_000)
	ten := events.AddOn{Name: "ten", BasisPoints: 1000}
	tenOfSum := ten
	tenOfSum.Compounded = true
	flat, _ := measure.AddOns(e4(1), 1, []events.AddOn{ten, ten})
	steep, _ := measure.AddOns(e4(1), 1, []events.AddOn{tenOfSum, tenOfSum})
	mixed, _ := measure.AddOns(e4(1), 1, []events.AddOn{ten, tenOfSum, ten})
	wrong, _ := measure.AddOns(e4(956.13), 100, []events.AddOn{ten, {Name: "overhead", BasisPoints: 350, Compounded: true}})
	return []check{
		{Name: "compounded: water", Source: compounded, Got: printed(steps[0].SumE4), Want: 4383.40},
		{Name: "compounded: tax", Source: compounded, Got: printed(steps[1].SumE4), Want: 4999.27},
		{Name: "compounded: overhead and profit", Source: compounded, Got: printed(steps[2].SumE4), Want: 5749.16},
		{Name: "compounded: cess", Source: compounded, Got: printed(steps[3].SumE4), Want: 5806.65},
		{Name: "compounded: per unit", Source: compounded, Got: printed(per), Want: 58.07, Tolerance: 0.005},
		{Name: "ten and ten added", Source: identity, Got: printed(flat), Want: 1.20},
		{Name: "ten and ten compounded", Source: identity, Got: printed(steep), Want: 1.21},
		{Name: "ten, ten compounded, ten of cost", Source: identity, Got: printed(mixed), Want: 1.31},
		{Name: "schedule compounded by mistake", Source: additive, Got: printed(wrong), Want: 1085.20, Tolerance: 0.01, Misprint: true},
		{Name: "VAT on 100 at 20", Source: identity, Got: printed(measure.VATOn(e4(100), 2000, 100)), Want: 20},
		{Name: "VAT in 120 at 20", Source: identity, Got: printed(measure.VATIn(e4(120), 2000, 100)), Want: 20},
		{Name: "VAT in 120 taken of the whole", Source: identity, Got: printed(measure.VATIn(e4(120), 2000, 100)), Want: 24, Misprint: true},
		{Name: "VAT of the price: 92.50 at 7.5", Source: identity, Got: printed(measure.VATOfPrice(e4(92.5), 750, 100)), Want: 7.5},
		{Name: "VAT of the whole price has no price", Source: identity, Got: printed(measure.VATOfPrice(e4(92.5), 10_000, 100)), Want: 0},
		{Name: "VAT of more than the price has none", Source: identity, Got: printed(measure.VATOfPrice(e4(92.5), 20_000, 100)), Want: 0},
		{Name: "VAT on the net is another tax than of the price", Source: additive, Got: printed(measure.VATOn(e4(1085.20), 750, 100)), Want: 87.99, Misprint: true},
		{Name: "VAT of less than half a cent, rounded once", Source: identity, Got: printed(measure.VATOn(495, 1000, 100)), Want: 0},
	}
}
