package reports

import (
	"fmt"
	"slices"

	"daysheet/events"
	"daysheet/reports/coating"
)

// coverageTable sets what each coating covered against its data sheet.
func coverageTable(f Filter, a Answer) Table {
	t := Table{
		Name: "coverage", Title: "Coverage by product",
		Columns: []Column{
			{"product", "Product", FormName}, {"coated_milli", "Coated, all coats", FormQuantity},
			{"used_milli", "Used", FormQuantity}, {"coverage_reading_milli", "m² per litre", FormReading},
			{"sheet_coverage_reading_milli", "By the data sheet", FormReading},
			{"dry_film_reading_milli", "Implied dry film, µm", FormReading},
			{"sheet_film_reading_milli", "By the data sheet, µm", FormReading},
			{"needed_milli", "Needed by the data sheet", FormQuantity}, {"difference_milli", "Difference", FormQuantity},
			{"difference_basis_points", "Share of need", FormShare},
		},
		Empty: "No coating was recorded with area and litres.",
	}
	litres := map[string]Total{}
	for _, s := range a.answered(coatLitres) {
		if events.Unit(s.By[1]) == events.Litre {
			litres[s.By[0]] = s
		}
	}
	q := on(scope(f).With(ByFamily, string(events.FamilyCoating)), SideActual)
	for _, s := range a.answered(coatAreas) {
		used, ok := litres[s.By[0]]
		if events.Unit(s.By[1]) != events.SquareMetre || !ok || used.QuantityMilli <= 0 || s.QuantityMilli <= 0 {
			continue
		}
		product := a.Names.Listed[s.By[0]]
		of := q.With(ByProduct, s.By[0])
		area := sumCell(s.QuantityMilli, only(of, KindQuantity).With(ByUnit, string(events.SquareMetre)))
		volume := sumCell(used.QuantityMilli, only(of, KindMaterial).With(ByUnit, string(events.Litre)))
		area.Unit, volume.Unit = events.SquareMetre, events.Litre
		needed, difference, share := needOf(s.QuantityMilli, used.QuantityMilli, sheetCoverage(product))
		film := Cell{Blank: true}
		if product.VolumeSolidsBasisPoints > 0 {
			film = Cell{Number: ratios([]int64{used.QuantityMilli, product.VolumeSolidsBasisPoints, 1_000_000},
				[]int64{s.QuantityMilli, 10_000})}
		}
		t.Rows = append(t.Rows, []Cell{
			nameCell(a.Names.Products, s.By[0]), area, volume, numberCell(ratio(s.QuantityMilli, 1000, used.QuantityMilli)),
			{Number: sheetCoverage(product), Blank: sheetCoverage(product) == 0}, film,
			{Number: product.DryFilmUm * 1000, Blank: product.DryFilmUm == 0}, needed, difference, share,
		})
	}
	return t
}

// sheetCoverage returns the square metres for a litre that the data sheet states,
// or that follow from its solids and film, in thousandths; 0 where it states neither.
func sheetCoverage(p events.Product) int64 {
	if p.SpreadingRateMilli > 0 || p.DryFilmUm == 0 {
		return p.SpreadingRateMilli
	}
	return coating.Milli(coating.SpreadingRate(coating.Fraction(p.VolumeSolidsBasisPoints), float64(p.DryFilmUm)))
}

// needOf sets the litres used against those that the area needs at a coverage.
func needOf(areaMilli, usedMilli, coverageMilli int64) (needed, difference, share Cell) {
	if coverageMilli == 0 {
		blank := Cell{Blank: true, Unit: events.Litre}
		return blank, blank, Cell{Blank: true}
	}
	litres := ratio(areaMilli, 1000, coverageMilli)
	return Cell{Number: litres, Unit: events.Litre}, Cell{Number: usedMilli - litres, Unit: events.Litre},
		shareCell(usedMilli-litres, litres)
}

// coatFigures draws how far the surface was above the dew point, coat by coat.
func coatFigures(all []coatDone) []Figure {
	f := Figure{
		Name: "above-dew-point", Title: phrase("Surface above the dew point, K"), Form: FormReading, Shape: ShapeLine,
		Series: []Series{{Name: "Surface above dew point"}, {Name: "At least, by ISO 8502-4"}},
	}
	near, lowest := 0, int64(0)
	limit := coating.General().AboveDewPoint.Milli
	for _, d := range all {
		_, above := d.dewPoint()
		if above.Blank {
			continue
		}
		if len(f.Categories) == 0 || above.Number < lowest {
			lowest = above.Number
		}
		if slices.ContainsFunc(d.warnings, func(w coating.Warning) bool { return w.Key == coating.SurfaceNearDewPoint }) {
			near++
		}
		f.Categories = append(f.Categories, fmt.Sprintf("%s (%d)", d.day, len(f.Categories)+1))
		f.Series[0].Values = append(f.Series[0].Values, above.Number)
		f.Series[1].Values = append(f.Series[1].Values, limit)
	}
	if len(f.Categories) == 0 {
		return nil
	}
	f.Finding = phrase("The surface came as near as %s K to the dew point; %s too near.", decimal(ratio(lowest, 1,
		100), 1),
		counted(int64(near), "1 coat was", "%s coats were"))
	return []Figure{f}
}
