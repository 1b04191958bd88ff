package demo

import (
	"math"

	"daysheet/events"
)

// products are what the firm buys. Prices and data are invented.
var products = []events.Product{
	{Product: "floor-card", Name: "Floor protection card (invented)", Unit: events.SquareMetre, PriceE4: 9_500,
		PackMilli: 50_000},
	{Product: "floor-fleece", Name: "Floor fleece (invented)", Unit: events.SquareMetre, PriceE4: 26_000,
		PackMilli: 25_000, Reusable: true},
	{Product: "masking-film", Name: "Masking film (invented)", Unit: events.SquareMetre, PriceE4: 3_500,
		PackMilli: 90_000, CleanRemovalDays: 21},
	{Product: "edge-tape", Name: "Edge tape (invented)", Unit: events.Metre, PriceE4: 900,
		PackMilli: 50_000, CleanRemovalDays: 14},
	{Product: "fine-tape", Name: "Fine line tape (invented)", Unit: events.Metre, PriceE4: 1_600,
		PackMilli: 50_000, CleanRemovalDays: 30},
	{Product: "cover-cap", Name: "Cover for small fittings (invented)", Unit: events.Each, PriceE4: 1_800,
		PackMilli: 100_000},
	{Product: "wall-paint", Name: "Matt wall paint (invented)", Unit: events.Litre, PriceE4: 68_000,
		PackMilli: 12_500, VolumeSolidsBasisPoints: 3_800, RecoatMinutes: 240,
		DryFilmUm: 40, SpreadingRateMilli: 9_500,
		LeastCelsiusMilli: celsius(5), MostCelsiusMilli: celsius(35), MostHumidityMilli: 85_000,
		Sheen: "matt", CureDays: 28, Care: "Wipe with a soft damp cloth. Do not scrub in the first four weeks."},
	{Product: "spray-paint", Name: "Wall paint for spraying (invented)", Unit: events.Litre, PriceE4: 59_000,
		PackMilli: 15_000, VolumeSolidsBasisPoints: 3_600, RecoatMinutes: 240,
		DryFilmUm: 40, SpreadingRateMilli: 9_000,
		LeastCelsiusMilli: celsius(5), MostCelsiusMilli: celsius(35), MostHumidityMilli: 85_000,
		Sheen: "matt", CureDays: 28, Care: "Wipe with a soft damp cloth. Touch up with a roller, not with a brush."},
	{Product: "ceiling-paint", Name: "Ceiling paint (invented)", Unit: events.Litre, PriceE4: 54_000,
		PackMilli: 12_500, VolumeSolidsBasisPoints: 3_700, RecoatMinutes: 240,
		DryFilmUm: 40, SpreadingRateMilli: 9_250,
		LeastCelsiusMilli: celsius(5), MostCelsiusMilli: celsius(35), MostHumidityMilli: 85_000,
		Sheen: "dead-matt", CureDays: 28, Care: "Dust off dry. Washing leaves marks."},
	{Product: "trim-paint", Name: "Satin trim paint (invented)", Unit: events.Litre, PriceE4: 175_000,
		PackMilli: 2_500, VolumeSolidsBasisPoints: 4_500, RecoatMinutes: 960,
		DryFilmUm: 35, SpreadingRateMilli: 12_860,
		LeastCelsiusMilli: celsius(8), MostCelsiusMilli: celsius(30), MostHumidityMilli: 80_000,
		Sheen: "mid-sheen", CureDays: 14, Care: "Wash with mild soap and water. No abrasive cleaner.",
		Hazards: []string{events.HazardSolvent}},
	{Product: "primer", Name: "Primer (invented)", Unit: events.Litre, PriceE4: 82_000,
		PackMilli: 10_000, VolumeSolidsBasisPoints: 3_200, RecoatMinutes: 180,
		DryFilmUm: 30, SpreadingRateMilli: 10_670,
		LeastCelsiusMilli: celsius(5), MostCelsiusMilli: celsius(30), MostHumidityMilli: 85_000,
		Sheen: "matt", CureDays: 7, Care: "Covered by the coats on it: no care of its own."},
	{Product: "render-paint", Name: "Render paint (invented)", Unit: events.Litre, PriceE4: 96_000,
		PackMilli: 15_000, VolumeSolidsBasisPoints: 4_200, RecoatMinutes: 720,
		DryFilmUm: 75, SpreadingRateMilli: 5_600,
		LeastCelsiusMilli: celsius(5), MostCelsiusMilli: celsius(30), MostHumidityMilli: 85_000,
		Sheen: "dead-matt", CureDays: 28, Care: "Rinse with water at low pressure. Keep splashing water and earth away."},
	{Product: "filler", Name: "Filler (invented)", Unit: events.Kilogram, PriceE4: 24_000, PackMilli: 5_000},
	{Product: "abrasive", Name: "Abrasive sheet (invented)", Unit: events.Sheet, PriceE4: 8_500, PackMilli: 50_000},
}

// celsius returns whole degrees as a data sheet states them.
func celsius(degrees int64) *int64 {
	milli := degrees * 1000
	return &milli
}

func productOf(key string) events.Product {
	for _, p := range products {
		if p.Product == key {
			return p
		}
	}
	return events.Product{}
}

// Places where material is kept.
const (
	store = "store"
	van   = "van"
)

// Wages at the start and what is charged for an hour, in ten-thousandths, and
// their rise in a year. All of it is invented.
const (
	foremanE4    = 420_000
	painterE4    = 345_000
	apprenticeE4 = 215_000
	chargeE4     = 620_000
	overheadE4   = 65_000

	wageRise  = 1.03
	priceRise = 1.05
)

// priceOf returns what one unit of a product costs in a quarter of the firm's
// time, counted from 0: it rises, but not evenly.
func (g *generator) priceOf(product string, quarter int) int64 {
	name := product + string(rune('A'+quarter))
	rise := math.Pow(priceRise, float64(quarter)/4) * math.Exp(g.truth.effect(name, .02))
	if quarter == 0 {
		rise = 1
	}
	return int64(math.Round(float64(productOf(product).PriceE4) * rise))
}

// wageE4 returns a wage or charge after whole years.
func wageE4(start int64, years int) int64 {
	return int64(math.Round(float64(start)*math.Pow(wageRise, float64(years))/1000)) * 1000
}
