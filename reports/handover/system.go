package handover

import (
	"fmt"
	"time"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/reports/coating"
)

// system says what is on each surface: how it was prepared, every coat, and the
// readings that tell how it will last.
func (d *Dossier) system() Section {
	s := Section{Name: "system", Title: "Coating system by surface"}
	d.preparation(&s)
	coats := of[*events.Coat](d)
	if len(coats) == 0 {
		s.miss("A coat.")
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
	t := reports.Table{Name: "preparation", Title: "Preparation", Columns: []reports.Column{
		{Key: "work", Title: "Work", Form: reports.FormText}, {Key: "location", Title: "Where", Form: reports.FormText},
		{Key: "method", Title: "How", Form: reports.FormText},
		{Key: "quantity_milli", Title: "Amount", Form: reports.FormQuantity},
		{Key: "from", Title: "From", Form: reports.FormDay}, {Key: "to", Title: "To", Form: reports.FormDay},
	}}
	for _, p := range all {
		t.Rows = append(t.Rows, []reports.Cell{text(d.work(p.what.Task, p.what.Surface)), text(p.what.Location),
			text(spoken(p.what.Method)), quantity(p.milli, p.what.Unit), day(p.from), day(p.end)})
	}
	s.table(t)
	if len(all) == 0 {
		s.miss("Preparation of the surfaces.")
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
	t := reports.Table{Name: "coats", Title: "Coats", Columns: []reports.Column{
		{Key: "work", Title: "Surface", Form: reports.FormText}, {Key: "location", Title: "Where", Form: reports.FormText},
		{Key: "coat_count", Title: "Coat", Form: reports.FormCount}, {Key: "day", Title: "Day", Form: reports.FormDay},
		{Key: "product", Title: "Product", Form: reports.FormText},
		{Key: "colour_reference", Title: "Colour", Form: reports.FormText},
		{Key: "sheen", Title: "Sheen", Form: reports.FormText}, {Key: "batch", Title: "Batch", Form: reports.FormText},
		{Key: "method", Title: "How", Form: reports.FormText},
		{Key: "quantity_milli", Title: "Amount", Form: reports.FormQuantity},
	}}
	for _, c := range coats {
		a := c.what
		product := ""
		if a.Product != "" {
			product = d.product(a.Product)
		}
		t.Rows = append(t.Rows, []reports.Cell{text(d.work(a.Task, a.Surface)), text(a.Location), count(a.Coat), day(c.day),
			text(product), text(a.Colour), text(sheenOf(d.listed[a.Product].Sheen)), text(a.Batch), text(spoken(a.Method)),
			quantity(a.QuantityMilli, a.Unit)})
	}
	return t
}

func (d *Dossier) readings(coats []entry[*events.Coat]) reports.Table {
	t := reports.Table{Name: "readings", Title: "Film, climate and drying", Columns: []reports.Column{
		{Key: "work", Title: "Surface", Form: reports.FormText}, {Key: "location", Title: "Where", Form: reports.FormText},
		{Key: "coat_count", Title: "Coat", Form: reports.FormCount}, {Key: "day", Title: "Day", Form: reports.FormDay},
		{Key: "wet_film_um", Title: "Wet film, µm", Form: reports.FormText},
		{Key: "dry_film_um", Title: "Dries to, µm", Form: reports.FormText},
		{Key: "air_celsius_milli", Title: "Air, °C", Form: reports.FormIndex},
		{Key: "surface_celsius_milli", Title: "Surface, °C", Form: reports.FormIndex},
		{Key: "humidity_percent_milli", Title: "Humidity, %", Form: reports.FormIndex},
		{Key: "dried_minutes", Title: "Coat before dried, h:mm", Form: reports.FormMinutes},
		{Key: "least_dried_minutes", Title: "At least, h:mm", Form: reports.FormMinutes},
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
			text(span(a.WetFilmUm)), text(dryFilm(a, d.listed[a.Product])), reading(a.AirCelsiusMilli),
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
			lines = append(lines, fmt.Sprintf("Outside a limit: %s, coat %d on %s: %s.",
				d.coatName(c.what), c.what.Coat, c.day, w.Text()))
		}
	}
	return lines
}

func (d *Dossier) coatName(a *events.Coat) string {
	return listed(d.work(a.Task, a.Surface), a.Location)
}

// missingOfCoats lists what each coat should say and does not.
func (d *Dossier) missingOfCoats(s *Section, coats []entry[*events.Coat]) {
	for _, m := range []struct {
		of     string
		absent func(*events.Coat) bool
	}{
		{"The product", func(a *events.Coat) bool { return a.Product == "" }},
		{"The batch", func(a *events.Coat) bool { return a.Batch == "" }},
		{"The colour reference", func(a *events.Coat) bool { return a.Colour == "" }},
		{"The sheen (in the listing of the product)", func(a *events.Coat) bool { return d.listed[a.Product].Sheen == "" }},
		{"The place", func(a *events.Coat) bool { return a.Location == "" }},
		{"A wet film reading", func(a *events.Coat) bool { return a.Unit == events.SquareMetre && len(a.WetFilmUm) == 0 }},
		{"The temperature of the air", func(a *events.Coat) bool { return a.AirCelsiusMilli == nil }},
		{"The temperature of the surface", func(a *events.Coat) bool { return a.SurfaceCelsiusMilli == nil }},
		{"The humidity", func(a *events.Coat) bool { return a.HumidityPercentMilli == nil }},
	} {
		var without []string
		for _, c := range coats {
			if m.absent(c.what) {
				without = append(without, fmt.Sprintf("%s, coat %d on %s", d.coatName(c.what), c.what.Coat, c.day))
			}
		}
		switch n := len(without); {
		case n == len(coats):
			s.miss(m.of + " of every coat.")
		case n > 0:
			s.miss(fmt.Sprintf("%s of %d of %d coats: %s.", m.of, n, len(coats), some(without)))
		}
	}
}
