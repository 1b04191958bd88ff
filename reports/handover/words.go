package handover

import (
	"fmt"
	"slices"
	"strings"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/reports/coating"
)

func named(names map[string]string, key string) string {
	if name := names[key]; name != "" {
		return name
	}
	return spoken(key)
}

// spoken says a key that has no name in plain words.
func spoken(key string) string { return strings.ReplaceAll(key, "-", " ") }

func (d *Dossier) task(key string) string    { return named(d.names.Tasks, key) }
func (d *Dossier) product(key string) string { return named(d.names.Products, key) }

// work says a task on a surface: "Coat surface, plaster".
func (d *Dossier) work(task, surface string) string { return listed(d.task(task), spoken(surface)) }

// listed joins what was given with commas.
func listed(parts ...string) string {
	given := slices.DeleteFunc(slices.Clone(parts), func(p string) bool { return p == "" })
	return strings.Join(given, ", ")
}

// wordsMost is how many things a sentence names before it says how many more.
const wordsMost = 6

// some names the first of many things and says how many more there are.
func some(things []string) string {
	if len(things) <= wordsMost {
		return strings.Join(things, "; ")
	}
	return fmt.Sprintf("%s; and %d more", strings.Join(things[:wordsMost], "; "), len(things)-wordsMost)
}

// plural says a number of things in words.
func plural(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

// causeOf says whose damage is.
func causeOf(cause string) string {
	switch cause {
	case "ours":
		return "by us"
	case "others":
		return "by others"
	case "before":
		return "there before the work"
	}
	return "not known"
}

// raisedBy says who saw a snag.
func raisedBy(who string) string {
	if who == "firm" {
		return "us"
	}
	return who
}

// sheenOf says a degree of gloss.
func sheenOf(sheen string) string { return spoken(sheen) }

// span says the least and the greatest of several readings.
func span(readings []int64) string {
	if len(readings) == 0 {
		return ""
	}
	least, most := slices.Min(readings), slices.Max(readings)
	if least == most {
		return fmt.Sprint(least)
	}
	return fmt.Sprintf("%d to %d", least, most)
}

// dryFilm says what the wet film readings of a coat dry to, in whole micrometres;
// empty where the volume solids are not known.
func dryFilm(c *events.Coat, p events.Product) string {
	if p.VolumeSolidsBasisPoints == 0 {
		return ""
	}
	solids := coating.Thinned(coating.Fraction(p.VolumeSolidsBasisPoints), coating.Fraction(c.ThinnedBasisPoints))
	var dry []int64
	for _, um := range c.WetFilmUm {
		dry = append(dry, int64(coating.DryFilm(float64(um), solids)+.5))
	}
	return span(dry)
}

// amount says a quantity in a sentence.
func amount(milli int64, unit events.Unit) string {
	if unit == events.Each {
		return reports.QuantityText(milli, "")
	}
	return reports.QuantityText(milli, unit)
}
