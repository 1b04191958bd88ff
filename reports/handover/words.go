package handover

import (
	"slices"
	"strings"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/reports/coating"
)

// Words says what stands in papers, in the language and with the numbers of who reads
// them.
type Words interface {
	// Say returns the text of a key with values put into its places, in pairs of name and
	// value. What cannot be said is empty; the implementation keeps why.
	Say(key string, values ...string) string

	// What stands in a sentence: a day, a whole number, thousandths of a unit, hundredths
	// of a per cent, and why a coat is outside a limit.
	Day(d events.Day) string
	Count(n int64) string
	Quantity(milli int64, unit events.Unit) string
	Share(points int64) string
	Warning(w coating.Warning) string
}

func named(names map[string]string, key string) string {
	if name := names[key]; name != "" {
		return name
	}
	return reports.Spoken(key)
}

func (d *Dossier) task(key string) string    { return named(d.names.Tasks, key) }
func (d *Dossier) product(key string) string { return named(d.names.Products, key) }

// work says a task on a surface: "Coat surface, plaster".
func (d *Dossier) work(task, surface string) string {
	return listed(d.task(task), reports.Spoken(surface))
}

// listed joins what was given with commas.
func listed(parts ...string) string {
	given := slices.DeleteFunc(slices.Clone(parts), func(p string) bool { return p == "" })
	return strings.Join(given, ", ")
}

// wordsMost is how many things a sentence names before it says how many more.
const wordsMost = 6

// some names the first of many things and says how many more there are.
func (d *Dossier) some(things []string) string {
	if len(things) <= wordsMost {
		return strings.Join(things, "; ")
	}
	return d.says("paper.some", "things", strings.Join(things[:wordsMost], "; "), "n", d.number(len(things)-wordsMost))
}

// says returns the text of a key.
func (d *Dossier) says(key string, values ...string) string { return d.words.Say(key, values...) }

// counted returns the text for one thing, or the one for n of them, which has a place for n.
func (d *Dossier) counted(n int, one, many string, values ...string) string {
	if n == 1 {
		return d.says(one, values...)
	}
	return d.says(many, append(values, "n", d.number(n))...)
}

func (d *Dossier) number(n int) string { return d.words.Count(int64(n)) }

// col returns a column whose title is the text of a key.
func (d *Dossier) col(key, title string, form reports.Form) reports.Column {
	return reports.Column{Key: key, Title: d.says(title), Form: form}
}

// cause says whose damage is.
func (d *Dossier) cause(cause string) string {
	switch cause {
	case "ours":
		return d.says("paper.cause.ours")
	case "others":
		return d.says("paper.cause.others")
	case "before":
		return d.says("paper.cause.before")
	}
	return d.says("paper.cause.unknown")
}

// raisedBy says who saw a snag.
func (d *Dossier) raisedBy(who string) string {
	if who == "firm" {
		return d.says("paper.us")
	}
	return d.says("paper.by-customer")
}

// sheen says a degree of gloss; nothing where none is known.
func (d *Dossier) sheen(sheen string) string {
	if sheen == "" {
		return ""
	}
	return d.says("sheen." + sheen)
}

// span says the least and the greatest of several readings.
func (d *Dossier) span(readings []int64) string {
	if len(readings) == 0 {
		return ""
	}
	least, most := slices.Min(readings), slices.Max(readings)
	if least == most {
		return d.words.Count(least)
	}
	return d.says("paper.span", "least", d.words.Count(least), "most", d.words.Count(most))
}

// dryFilm says what the wet film readings of a coat dry to, in whole micrometres;
// empty where the volume solids are not known.
func (d *Dossier) dryFilm(c *events.Coat, p events.Product) string {
	if p.VolumeSolidsBasisPoints == 0 {
		return ""
	}
	solids := coating.Thinned(coating.Fraction(p.VolumeSolidsBasisPoints), coating.Fraction(c.ThinnedBasisPoints))
	var dry []int64
	for _, um := range c.WetFilmUm {
		dry = append(dry, int64(coating.DryFilm(float64(um), solids)+.5))
	}
	return d.span(dry)
}
