package measure_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"daysheet/events"
	"daysheet/reports/measure"
)

func TestEveryRuleOfAnEstimateIsKnown(t *testing.T) {
	known := strings.Join(measure.Rules(), " ")
	for _, rule := range []string{events.MeasureNet, events.MeasureDIN18363, events.MeasureIS1200} {
		if !strings.Contains(known, rule) {
			t.Errorf("rule %s is not among %s", rule, known)
		}
	}
}

func TestLinesSayWhy(t *testing.T) {
	door, a, b := goldenOpenings()
	s := measure.Walls(5000, 4000, 2500, door, a, b)
	s.Interruptions = []measure.Interruption{{Name: "post", WidthMm: 300, LengthMm: 2500}}
	s.SkirtingHeightMm, s.SkirtingLengthMm = 120, 17_100
	for rule, want := range map[string][]string{
		events.MeasureNet: {
			"door: 1.89 m2 each: every opening is deducted",
			"window A: 1.2 m2 each: every opening is deducted",
			"window A, reveal: reveals are measured apart, whatever the size of the opening",
			"window B: 3 m2 each: every opening is deducted",
			"window B, reveal: reveals are measured apart, whatever the size of the opening",
			"post: over 0 m2: deducted",
			"skirting: this rule knows no height of skirting that is measured over: deducted",
		},
		events.MeasureDIN18363: {
			"door: 1.89 m2 each is not over 2.5 m2: measured over",
			"window A: 1.2 m2 each is not over 2.5 m2: measured over",
			"window A, reveal: reveals are measured apart, whatever the size of the opening",
			"window B: 3 m2 each is over 2.5 m2: deducted",
			"window B, reveal: reveals are measured apart, whatever the size of the opening",
			"post: not over 0.3 m wide: measured over",
			"skirting: over 0.1 m high: deducted",
		},
		events.MeasureIS1200: {
			"door: 1.89 m2 each is not over 3 m2: deducted on one face only, and this face bears it",
			"window A: 1.2 m2 each is not over 3 m2: deducted on one face only, and this face bears it",
			"window A, reveal: not added, because the opening is not over 3 m2",
			"window B: 3 m2 each is not over 3 m2: deducted on one face only, and this face bears it",
			"window B, reveal: not added, because the opening is not over 3 m2",
			"post: over 0.5 m2: deducted",
			"skirting: this rule knows no height of skirting that is measured over: deducted",
		},
	} {
		var got []string
		for _, l := range measured(t, rule, s).Lines {
			got = append(got, l.Name+": "+l.Why)
		}
		if strings.Join(got, "\n") != strings.Join(want, "\n") {
			t.Errorf("%s:\n%s\nwant\n%s", rule, strings.Join(got, "\n"), strings.Join(want, "\n"))
		}
	}
}

func TestRefusals(t *testing.T) {
	opening := func(o measure.Opening) error {
		_, err := measure.Measure(events.MeasureNet, measure.Walls(5000, 4000, 2500, o))
		return err
	}
	surface := func(s measure.Surface) error {
		_, err := measure.Measure(events.MeasureNet, s)
		return err
	}
	good := measure.Opening{Name: "door", WidthMm: 900, HeightMm: 2100, Count: 1}
	changed := func(change func(*measure.Opening)) error {
		o := good
		change(&o)
		return opening(o)
	}
	_, _, noRule := measure.Run("metric", 1000)
	_, _, gaps := measure.Run(events.MeasureNet, 1000, 600, 600)
	_, _, gap := measure.Run(events.MeasureNet, 1000, -1)
	_, pieceErr := measure.CountedIn("", measure.Piece{})
	_, itemErr := measure.FactoredArea("gate", 1000, 1000, 1, 1)
	_, sidesErr := measure.FactoredArea("panelled", 1000, 1000, 1, 3)
	_, wasteErr := measure.TakeOff(1000, -1, 0)
	_, packErr := measure.TakeOff(1000, 0, -5)
	_, lapErr := measure.Strips(4000, 150, 150)
	_, alongErr := measure.SheetAlong(0, 1829)
	_, upErr := measure.SheetUpWalls(1000, 1000, -1)
	for _, c := range []struct {
		field string
		err   error
	}{
		{"", opening(good)},
		{"rule", func() error { _, err := measure.Measure("din", measure.Walls(1, 1, 1)); return err }()},
		{"openings[0].width_mm", changed(func(o *measure.Opening) { o.WidthMm = -1 })},
		{"openings[0].height_mm", changed(func(o *measure.Opening) { o.HeightMm = math.MaxInt64 })},
		{"openings[0].count", changed(func(o *measure.Opening) { o.Count = 0 })},
		{"openings[0].reveal_mm", changed(func(o *measure.Opening) { o.RevealMm = -1 })},
		{"openings[0].face", changed(func(o *measure.Opening) { o.Face = "inside" })},
		{"openings", changed(func(o *measure.Opening) { o.Count = 100 })}, // more holes than wall
		{"length_mm", surface(measure.Surface{HeightMm: 1})},
		{"height_mm", surface(measure.Surface{LengthMm: 1})},
		{"", surface(measure.Surface{LengthMm: 1_000_000, HeightMm: 1})},
		{"length_mm", surface(measure.Surface{LengthMm: 1_000_001, HeightMm: 1})},
		{"place", surface(measure.Surface{LengthMm: 1, HeightMm: 1, Place: "roof"})},
		{"skirting_height_mm", surface(measure.Surface{LengthMm: 1, HeightMm: 1, SkirtingHeightMm: -1})},
		{"interruptions[0].width_mm", surface(measure.Surface{LengthMm: 1, HeightMm: 1, Interruptions: []measure.Interruption{{}}})},
		{"openings", surface(measure.Surface{LengthMm: 1, HeightMm: 1, Openings: make([]measure.Opening, 501)})},
		{"rule", noRule}, {"length_mm without gaps", gaps}, {"gaps[0]", gap}, {"rule", pieceErr}, {"item", itemErr},
		{"sides", sidesErr}, {"waste_basis_points", wasteErr}, {"pack_milli", packErr}, {"lap_mm", lapErr},
		{"run_mm", alongErr}, {"up_mm", upErr},
	} {
		var refusal *events.Error
		switch {
		case c.field == "" && c.err != nil:
			t.Errorf("refused a sound one: %v", c.err)
		case c.field == "":
		case !errors.As(c.err, &refusal):
			t.Errorf("%s: not refused: %v", c.field, c.err)
		case refusal.Code != events.Invalid || !fits(c.field, refusal.Field) || refusal.Rule == "":
			t.Errorf("refused %q, want %q: %v", refusal.Field, c.field, c.err)
		}
	}
}

func TestPerUnitOfNothing(t *testing.T) {
	if e4, ok := measure.PerUnitE4(100, 0); ok || e4 != 0 {
		t.Errorf("per unit of nothing: %d, %v", e4, ok)
	}
	if e4, ok := measure.PerUnitE4(100, 1); !ok || e4 != 100_000 {
		t.Errorf("per unit of a thousandth: %d, %v", e4, ok)
	}
}

// fits lets a list of many openings be refused by its first one.
func fits(want, got string) bool {
	return want == got || want == "openings" && strings.HasPrefix(got, "openings[0]")
}

// TestRulesKeepTheirOrder holds for any room: no rule measures more than the
// gross area or less than net, and packs always reach.
func TestRulesKeepTheirOrder(t *testing.T) {
	seed := rand.Uint64()
	r := rand.New(rand.NewPCG(seed, 1))
	cm := func(least, most int64) int64 { return 10 * (least + r.Int64N(most-least)) } // no rule rounds whole centimetres
	for range 3000 {
		s := measure.Walls(cm(300, 1000), cm(300, 1000), cm(220, 400))
		for range r.IntN(4) {
			s.Openings = append(s.Openings, measure.Opening{Name: "o", Count: 1 + r.Int64N(2), WidthMm: cm(20, 200),
				HeightMm: cm(20, 200), AtEdge: r.IntN(2) == 0})
		}
		net, err := measure.Measure(events.MeasureNet, s)
		if err != nil {
			continue // more openings than wall
		}
		for _, rule := range measure.Rules() {
			m := measured(t, rule, s)
			if m.AreaMilli > m.GrossMilli+10 || m.AreaMilli < net.AreaMilli-50 {
				t.Fatalf("seed %d: %s measures %d of gross %d and net %d", seed, rule, m.AreaMilli, m.GrossMilli, net.AreaMilli)
			}
		}
		k, err := measure.TakeOff(r.Int64N(1e9), r.Int64N(5000), 1+r.Int64N(1e6))
		if err != nil || k.LeftMilli < 0 || k.UsedMilli < k.NetMilli || k.Packs > 0 && k.LeftMilli > k.BoughtMilli/k.Packs {
			t.Fatalf("seed %d: %+v, %v", seed, k, err)
		}
	}
}
