package coating_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"daysheet/events"
	"daysheet/reports/coating"
)

// sound is a coat of an invented product within every limit, with what its data
// sheet states.
func sound() (coating.Applied, events.Product) {
	air, surface, humidity := int64(20_000), int64(19_000), int64(60_000)
	least, most := int64(8_000), int64(30_000)
	at := time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)
	return coating.Applied{
			Coat: events.Coat{
				Task: "coat", Coat: 2, QuantityMilli: 40_000, Unit: events.SquareMetre, VolumeMilli: 5_000,
				WetFilmUm: []int64{95, 100, 105}, AirCelsiusMilli: &air, SurfaceCelsiusMilli: &surface,
				HumidityPercentMilli: &humidity,
			},
			At:   at,
			Last: coating.Earlier{At: at.Add(-4 * time.Hour), RecoatMinutes: 240},
		}, events.Product{
			VolumeSolidsBasisPoints: 4_000, DryFilmUm: 40, SpreadingRateMilli: 8_000,
			LeastCelsiusMilli: &least, MostCelsiusMilli: &most, MostHumidityMilli: 80_000,
		}
}

func ptr(n int64) *int64 { return &n }

func TestCheckWarns(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(*coating.Applied, *events.Product)
		want   []string // key, text
	}{
		{"sound", func(*coating.Applied, *events.Product) {}, nil},
		{"exactly at the limits", func(a *coating.Applied, p *events.Product) {
			a.Coat.AirCelsiusMilli, a.Coat.SurfaceCelsiusMilli = ptr(8_000), ptr(30_000)
			a.Coat.HumidityPercentMilli = ptr(80_000)
			a.Coat.WetFilmUm = []int64{80, 150, 100, 70} // mean 100
		}, nil},
		{"cold", func(a *coating.Applied, _ *events.Product) { a.Coat.AirCelsiusMilli = ptr(7_999) }, []string{
			"air-too-cold: air 7.999 °C; at least 8 °C (data sheet of the product)",
		}},
		{"hot", func(a *coating.Applied, p *events.Product) {
			a.Coat.AirCelsiusMilli, a.Coat.SurfaceCelsiusMilli, p.MostCelsiusMilli = ptr(36_000), ptr(41_500), nil
		}, []string{
			"air-too-hot: air 36 °C; at most 35 °C (public bid specification)",
			"surface-too-hot: surface 41.5 °C; at most 35 °C (public bid specification)",
		}},
		{"cold surface", func(a *coating.Applied, _ *events.Product) { a.Coat.SurfaceCelsiusMilli = ptr(7_500) }, []string{
			"surface-too-cold: surface 7.5 °C; at least 8 °C (data sheet of the product)",
			"surface-near-dew-point: surface above dew point -4.495 K; at least 3 K (ISO 8502-4)",
		}},
		// The trap of the 85 per cent rule: the humidity passes and the dew point does not.
		{"humid", func(a *coating.Applied, p *events.Product) {
			a.Coat.SurfaceCelsiusMilli, a.Coat.HumidityPercentMilli, p.MostHumidityMilli = ptr(20_000), ptr(85_000), 0
		}, []string{"surface-near-dew-point: surface above dew point 2.601 K; at least 3 K (ISO 8502-4)"}},
		{"too humid", func(a *coating.Applied, p *events.Product) {
			a.Coat.SurfaceCelsiusMilli, a.Coat.HumidityPercentMilli = ptr(25_000), ptr(80_001)
		}, []string{"air-too-humid: relative humidity 80.001 %; at most 80 % (data sheet of the product)"}},
		{"too humid by the general limit", func(a *coating.Applied, p *events.Product) {
			p.MostHumidityMilli = 0
			a.Coat.SurfaceCelsiusMilli, a.Coat.HumidityPercentMilli = ptr(25_000), ptr(85_001)
		}, []string{"air-too-humid: relative humidity 85.001 %; at most 85 % (public bid specification)"}},
		{"frost", func(a *coating.Applied, p *events.Product) {
			p.LeastCelsiusMilli = ptr(-20_000)
			a.Coat.AirCelsiusMilli, a.Coat.SurfaceCelsiusMilli, a.Coat.HumidityPercentMilli = ptr(2_000), ptr(-4_000), ptr(50_000)
		}, []string{"surface-near-dew-point: surface above frost point 2.509 K; at least 3 K (ISO 8502-4)"}},
		{"recoat", func(a *coating.Applied, _ *events.Product) { a.At = a.At.Add(-time.Minute) }, []string{
			"recoat-too-soon: waited 239 min; at least 240 min (data sheet of the product)",
		}},
		{"recoat not stated", func(a *coating.Applied, _ *events.Product) {
			a.At, a.Last.RecoatMinutes = a.Last.At, 0
		}, nil},
		{"recoat of a minute", func(a *coating.Applied, _ *events.Product) {
			a.At, a.Last.RecoatMinutes = a.Last.At.Add(30*time.Second), 1
		}, []string{"recoat-too-soon: waited 0.5 min; at least 1 min (data sheet of the product)"}},
		{"thin", func(a *coating.Applied, _ *events.Product) { a.Coat.WetFilmUm = []int64{79, 80} }, []string{
			"film-too-thin: mean wet film 79.5 µm; at least 80 µm (common practice, no source)",
		}},
		{"thick", func(a *coating.Applied, _ *events.Product) { a.Coat.WetFilmUm = []int64{151} }, []string{
			"film-too-thick: mean wet film 151 µm; at most 150 µm (common practice, no source)",
		}},
		// 10 per cent of thinner asks for 110 µm wet, so that 87 are too few and 88 enough.
		{"thinned", func(a *coating.Applied, _ *events.Product) {
			a.Coat.ThinnedBasisPoints, a.Coat.WetFilmUm = 1_000, []int64{87}
		}, []string{"film-too-thin: mean wet film 87 µm; at least 88 µm (common practice, no source)"}},
		{"too little coating", func(a *coating.Applied, _ *events.Product) { a.Coat.VolumeMilli = 3_000 }, []string{
			"coverage-too-great: coverage 13.333 m²/l; at most 12 m²/l (common practice, no source)",
		}},
		{"too much coating", func(a *coating.Applied, _ *events.Product) { a.Coat.VolumeMilli = 10_010 }, []string{
			"coverage-too-small: coverage 3.996 m²/l; at least 4 m²/l (common practice, no source)",
		}},
		{"coverage from the solids", func(a *coating.Applied, p *events.Product) {
			p.SpreadingRateMilli, a.Coat.VolumeMilli = 0, 2_500
		}, []string{"coverage-too-great: coverage 16 m²/l; at most 15 m²/l (common practice, no source)"}},
		{"the loss explains it", func(a *coating.Applied, p *events.Product) {
			a.Coat.VolumeMilli, a.Loss = 12_000, 0.5
		}, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			a, p := sound()
			c.change(&a, &p)
			warnings, blanks := coating.Check(a, p, coating.General())
			var got []string
			for _, w := range warnings {
				got = append(got, string(w.Key)+": "+w.Text())
			}
			if !slices.Equal(got, c.want) || blanks != nil {
				t.Errorf("got %q and blanks %v, want %q", got, blanks, c.want)
			}
		})
	}
}

func TestWarningsCarryTheirFigures(t *testing.T) {
	a, p := sound()
	a.Coat.SurfaceCelsiusMilli, a.Coat.VolumeMilli = ptr(14_000), 3_000
	warnings, _ := coating.Check(a, p, coating.General())
	if len(warnings) != 2 {
		t.Fatalf("got %+v", warnings)
	}
	dew, coverage := warnings[0], warnings[1]
	if f := dew.Figures; len(f) != 4 || f[0].Milli != f[2].Milli-f[3].Milli || f[1].Milli != 3_000 || f[3].Name != "dew point" {
		t.Errorf("dew point: %+v", dew.Figures)
	}
	// 3 l of 40 per cent solids on 40 m² are 30 µm.
	if f := coverage.Figures; len(f) != 4 || f[3] != (coating.Figure{Name: "implied dry film", Milli: 30_000, Unit: "µm"}) {
		t.Errorf("coverage: %+v", coverage.Figures)
	}
}

func TestMissingReadingsAreBlank(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(*coating.Applied, *events.Product)
		want   []string
	}{
		{"no air", func(a *coating.Applied, _ *events.Product) { a.Coat.AirCelsiusMilli = nil }, []string{
			"air-too-cold air-too-hot: air_celsius_milli", "surface-near-dew-point: air_celsius_milli",
		}},
		{"no climate at all", func(a *coating.Applied, _ *events.Product) {
			a.Coat.AirCelsiusMilli, a.Coat.SurfaceCelsiusMilli, a.Coat.HumidityPercentMilli = nil, nil, nil
		}, []string{
			"air-too-cold air-too-hot: air_celsius_milli",
			"surface-too-cold surface-too-hot: surface_celsius_milli",
			"air-too-humid: humidity_percent_milli",
			"surface-near-dew-point: air_celsius_milli surface_celsius_milli humidity_percent_milli",
		}},
		{"impossible humidity", func(a *coating.Applied, _ *events.Product) { a.Coat.HumidityPercentMilli = ptr(0) }, []string{
			"surface-near-dew-point: a humidity and temperature that have a dew point",
		}},
		{"no coat before", func(a *coating.Applied, _ *events.Product) { a.Last = coating.Earlier{} }, []string{
			"recoat-too-soon: time of the coat before",
		}},
		{"only the day", func(a *coating.Applied, _ *events.Product) { a.At = time.Time{} }, []string{
			"recoat-too-soon: time of the coat",
		}},
		{"wrong order", func(a *coating.Applied, _ *events.Product) { a.At = a.Last.At.Add(-time.Second) }, []string{
			"recoat-too-soon: a coat before that is not later",
		}},
		{"no film", func(a *coating.Applied, _ *events.Product) { a.Coat.WetFilmUm = nil }, []string{
			"film-too-thin film-too-thick: wet_film_um",
		}},
		{"no volume", func(a *coating.Applied, _ *events.Product) { a.Coat.VolumeMilli = 0 }, []string{
			"coverage-too-small coverage-too-great: volume_milli",
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			a, p := sound()
			c.change(&a, &p)
			warnings, blanks := coating.Check(a, p, coating.General())
			var got []string
			for _, b := range blanks {
				var keys []string
				for _, k := range b.Keys {
					keys = append(keys, string(k))
				}
				got = append(got, strings.Join(keys, " ")+": "+strings.Join(b.Missing, " "))
			}
			if !slices.Equal(got, c.want) || warnings != nil {
				t.Errorf("got %q and warnings %v, want %q", got, warnings, c.want)
			}
		})
	}
}

// TestNothingStatedNothingChecked: without a limit there is no rule to break, and
// nothing is missing.
func TestNothingStatedNothingChecked(t *testing.T) {
	empty := coating.Applied{Coat: events.Coat{Coat: 1}}
	if w, b := coating.Check(empty, events.Product{}, coating.Limits{}); w != nil || b != nil {
		t.Errorf("no limits: %v, %v", w, b)
	}
	a, _ := sound()
	a.Coat.Coat, a.Last, a.Coat.WetFilmUm, a.Coat.VolumeMilli = 1, coating.Earlier{}, nil, 0
	if w, b := coating.Check(a, events.Product{}, coating.General()); w != nil || b != nil {
		t.Errorf("first coat of an unknown product: %v, %v", w, b)
	}
	metres, p := sound()
	metres.Coat.Unit, metres.Coat.VolumeMilli = events.Metre, 1
	if w, b := coating.Check(metres, p, coating.General()); w != nil || b != nil {
		t.Errorf("a coat by the metre has no coverage: %v, %v", w, b)
	}
}

// TestOneBoundAlone: a bound is checked also where its counterpart is not given.
func TestOneBoundAlone(t *testing.T) {
	const source = "invented"
	bound := coating.Limit{Milli: 1_000, Source: source}
	for want, limits := range map[coating.Key]coating.Limits{
		coating.FilmTooThin:      {ThinnestFilm: bound},
		coating.FilmTooThick:     {ThickestFilm: bound},
		coating.CoverageTooSmall: {LeastCoverage: bound},
		coating.CoverageTooGreat: {MostCoverage: bound},
		coating.AirTooCold:       {LeastCelsius: coating.Limit{Milli: 20_001, Source: source}},
		coating.AirTooHot:        {MostCelsius: coating.Limit{Milli: 19_999, Source: source}},
	} {
		a, p := sound()
		p.LeastCelsiusMilli, p.MostCelsiusMilli, p.MostHumidityMilli = nil, nil, 0
		a.Coat.SurfaceCelsiusMilli, a.Coat.WetFilmUm = ptr(20_000), []int64{99}
		a.Coat.VolumeMilli = 5_001 // a little more than the data sheet asks
		if want == coating.FilmTooThick {
			a.Coat.WetFilmUm = []int64{101}
		}
		if want == coating.CoverageTooGreat {
			a.Coat.VolumeMilli = 4_999
		}
		if want == coating.AirTooCold || want == coating.AirTooHot {
			a.Coat.SurfaceCelsiusMilli = ptr(limits.LeastCelsius.Milli + limits.MostCelsius.Milli)
		}
		warnings, blanks := coating.Check(a, p, limits)
		if len(warnings) != 1 || warnings[0].Key != want || warnings[0].Source != source || blanks != nil {
			t.Errorf("%s: got %v, %v", want, warnings, blanks)
		}
	}
}

// TestUSHandbook: 2.9 K above the dew point is enough for 5 °F and not for 3 K.
func TestUSHandbook(t *testing.T) {
	a, _ := sound()
	dew, _ := coating.DewPoint(20, 85)
	a.Coat.HumidityPercentMilli = ptr(85_000)
	a.Coat.SurfaceCelsiusMilli = ptr(int64((dew + 2.9) * 1000))
	if w, _ := coating.Check(a, events.Product{}, coating.USHandbook()); w != nil {
		t.Errorf("US form: %v", w)
	}
	if w, _ := coating.Check(a, events.Product{}, coating.General()); len(w) != 1 || w[0].Key != coating.SurfaceNearDewPoint {
		t.Errorf("3 K: %v", w)
	}
	a.Coat.SurfaceCelsiusMilli = ptr(33_000)
	if w, _ := coating.Check(a, events.Product{}, coating.USHandbook()); len(w) != 1 || w[0].Figures[1].Milli != 32_222 {
		t.Errorf("90 °F: %v", w)
	}
}
