package handover

import (
	"time"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/reports/coating"
)

// system says what is on each surface: how it was prepared, every coat, and the
// readings that tell how it will last.
func (d *Dossier) system() Section {
	s := Section{Name: "system", Title: d.says("paper.system")}
	d.preparation(&s)
	coats := of[*events.Coat](d)
	if len(coats) == 0 {
		s.miss(d.says("paper.missing.coat"))
		return s
	}
	s.table(d.coats(coats))
	s.table(d.readings(coats))
	for _, line := range d.outside(coats) {
		s.say(line)
	}
	d.missingOfCoats(&s, coats)
	return s
}

// prepared is work of one kind in one place, added up over its days.
type prepared struct {
	what      *events.Preparation
	milli     int64
	from, end events.Day
}

func (d *Dossier) preparation(s *Section) {
	var all []*prepared
	for _, r := range of[*events.Preparation](d) {
		p := r.what
		if d.familyOf(p.Task) == events.FamilyLifting {
			continue
		}
		var same *prepared
		for _, known := range all {
			k := known.what
			if k.Task == p.Task && k.Surface == p.Surface && k.Method == p.Method && k.Location == p.Location &&
				k.Unit == p.Unit {
				same = known
			}
		}
		if same == nil {
			same = &prepared{what: p, from: r.day}
			all = append(all, same)
		}
		same.milli += p.QuantityMilli
		same.end = r.day
	}
	t := reports.Table{Name: "preparation", Title: d.says("paper.preparation"), Columns: []reports.Column{
		d.col("work", "paper.work", reports.FormText), d.col("location", "paper.where", reports.FormText),
		d.col("method", "paper.how", reports.FormText),
		d.col("quantity_milli", "paper.amount", reports.FormQuantity),
		d.col("from", "paper.from", reports.FormDay), d.col("to", "paper.to", reports.FormDay),
	}}
	for _, p := range all {
		t.Rows = append(t.Rows, []reports.Cell{text(d.work(p.what.Task, p.what.Surface)), text(p.what.Location),
			text(reports.Spoken(p.what.Method)), quantity(p.milli, p.what.Unit), day(p.from), day(p.end)})
	}
	s.table(t)
	if len(all) == 0 {
		s.miss(d.says("paper.missing.preparation"))
	}
}

// familyOf returns the family that a task is counted under.
func (d *Dossier) familyOf(task string) events.Family {
	if t, ok := events.StandardTask(task); ok {
		return t.Family
	}
	if d.settings != nil {
		for _, t := range d.settings.Tasks {
			if t.Task == task {
				return t.Family
			}
		}
	}
	return events.FamilyOther
}

func (d *Dossier) coats(coats []entry[*events.Coat]) reports.Table {
	t := reports.Table{Name: "coats", Title: d.says("paper.coats"), Columns: []reports.Column{
		d.col("work", "paper.surface", reports.FormText), d.col("location", "paper.where", reports.FormText),
		d.col("coat_count", "paper.coat", reports.FormCount), d.col("day", "paper.day", reports.FormDay),
		d.col("product", "paper.product", reports.FormText),
		d.col("colour_reference", "paper.colour", reports.FormText),
		d.col("sheen", "paper.sheen", reports.FormText), d.col("batch", "paper.batch", reports.FormText),
		d.col("method", "paper.how", reports.FormText),
		d.col("quantity_milli", "paper.amount", reports.FormQuantity),
	}}
	for _, c := range coats {
		a := c.what
		product := ""
		if a.Product != "" {
			product = d.product(a.Product)
		}
		t.Rows = append(t.Rows, []reports.Cell{text(d.work(a.Task, a.Surface)), text(a.Location), count(a.Coat), day(c.day),
			text(product), text(a.Colour), text(d.sheen(d.listed[a.Product].Sheen)), text(a.Batch),
			text(reports.Spoken(a.Method)),
			quantity(a.QuantityMilli, a.Unit)})
	}
	return t
}

func (d *Dossier) readings(coats []entry[*events.Coat]) reports.Table {
	t := reports.Table{Name: "readings", Title: d.says("paper.film"), Columns: []reports.Column{
		d.col("work", "paper.surface", reports.FormText), d.col("location", "paper.where", reports.FormText),
		d.col("coat_count", "paper.coat", reports.FormCount), d.col("day", "paper.day", reports.FormDay),
		d.col("wet_film_um", "paper.wet-film", reports.FormText),
		d.col("dry_film_um", "paper.dry-film", reports.FormText),
		d.col("air_celsius_milli", "paper.air", reports.FormIndex),
		d.col("surface_celsius_milli", "paper.surface-temperature", reports.FormIndex),
		d.col("humidity_percent_milli", "paper.humidity", reports.FormIndex),
		d.col("dried_minutes", "paper.dried", reports.FormMinutes),
		d.col("least_dried_minutes", "paper.least-dried", reports.FormMinutes),
	}}
	before := d.coatsBefore(coats)
	for i, c := range coats {
		a := c.what
		dried, least := reports.Cell{Blank: true}, reports.Cell{Blank: true}
		if b := before[i]; !b.At.IsZero() && !c.at.IsZero() {
			dried = count(int64(c.at.Sub(b.At) / time.Minute))
			least = reports.Cell{Number: b.RecoatMinutes, Blank: b.RecoatMinutes == 0}
		}
		t.Rows = append(t.Rows, []reports.Cell{text(d.work(a.Task, a.Surface)), text(a.Location), count(a.Coat), day(c.day),
			text(d.span(a.WetFilmUm)), text(d.dryFilm(a, d.listed[a.Product])), reading(a.AirCelsiusMilli),
			reading(a.SurfaceCelsiusMilli), reading(a.HumidityPercentMilli), dried, least})
	}
	return t
}

// coatsBefore returns for each coat the one under it: the last in the same place
// with a lower number.
func (d *Dossier) coatsBefore(coats []entry[*events.Coat]) []coating.Earlier {
	before := make([]coating.Earlier, len(coats))
	for i, c := range coats {
		for _, b := range coats[:i] {
			same := b.what.Task == c.what.Task && b.what.Surface == c.what.Surface && b.what.Location == c.what.Location
			if same && b.what.Coat < c.what.Coat && !b.at.Before(before[i].At) {
				before[i] = coating.Earlier{At: b.at, RecoatMinutes: d.listed[b.what.Product].RecoatMinutes}
			}
		}
	}
	return before
}

// outside says which coats were applied outside the limits of their product.
func (d *Dossier) outside(coats []entry[*events.Coat]) (lines []string) {
	before := d.coatsBefore(coats)
	for i, c := range coats {
		found, _ := coating.Check(coating.Applied{Coat: *c.what, At: c.at, Last: before[i]}, d.listed[c.what.Product],
			coating.General())
		for _, w := range found {
			if w.Key == coating.CoverageTooGreat || w.Key == coating.CoverageTooSmall {
				continue // of use for buying, and no property of the coat
			}
			lines = append(lines, d.says("paper.outside", "coat", d.coatOn(c), "warning", d.words.Warning(w)))
		}
	}
	return lines
}

// coatOn names one coat.
func (d *Dossier) coatOn(c entry[*events.Coat]) string {
	return d.says("paper.coat-on", "what", listed(d.work(c.what.Task, c.what.Surface), c.what.Location),
		"n", d.words.Count(c.what.Coat), "day", d.words.Day(c.day))
}

// missingOfCoats lists what each coat should say and does not.
func (d *Dossier) missingOfCoats(s *Section, coats []entry[*events.Coat]) {
	for _, m := range []struct {
		of     string
		absent func(*events.Coat) bool
	}{
		{"paper.the-product", func(a *events.Coat) bool { return a.Product == "" }},
		{"paper.the-batch", func(a *events.Coat) bool { return a.Batch == "" }},
		{"paper.the-colour", func(a *events.Coat) bool { return a.Colour == "" }},
		{"paper.the-sheen", func(a *events.Coat) bool { return d.listed[a.Product].Sheen == "" }},
		{"paper.the-place", func(a *events.Coat) bool { return a.Location == "" }},
		{"paper.a-wet-film", func(a *events.Coat) bool { return a.Unit == events.SquareMetre && len(a.WetFilmUm) == 0 }},
		{"paper.the-air", func(a *events.Coat) bool { return a.AirCelsiusMilli == nil }},
		{"paper.the-surface", func(a *events.Coat) bool { return a.SurfaceCelsiusMilli == nil }},
		{"paper.the-humidity", func(a *events.Coat) bool { return a.HumidityPercentMilli == nil }},
	} {
		var without []string
		for _, c := range coats {
			if m.absent(c.what) {
				without = append(without, d.coatOn(c))
			}
		}
		switch n := len(without); {
		case n == len(coats):
			s.miss(d.says("paper.missing.of-every-coat", "what", d.says(m.of)))
		case n > 0:
			s.miss(d.says("paper.missing.of-coats", "what", d.says(m.of), "n", d.number(n), "of", d.number(len(coats)),
				"coats", d.some(without)))
		}
	}
}
