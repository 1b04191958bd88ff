package handover

import (
	"slices"

	"daysheet/events"
	"daysheet/reports"
)

// hours says who worked on what, and for how long.
func (d *Dossier) hours() Section {
	s := Section{Name: "hours", Title: d.says("paper.hours")}
	t := reports.Table{Name: "hours", Title: d.says("paper.hours-booked"), Columns: []reports.Column{
		d.col("person", "paper.who", reports.FormText), d.col("work", "paper.work", reports.FormText),
		d.col("location", "paper.where", reports.FormText),
		d.col("minutes", "paper.hours-hmm", reports.FormMinutes),
	}}
	var sum int64
	for _, h := range of[*events.Hours](d) {
		t.Rows = append(t.Rows, []reports.Cell{text(named(d.names.People, h.what.Person)),
			text(d.work(h.what.Task, h.what.Surface)), text(h.what.Location), count(h.what.Minutes)})
		sum += h.what.Minutes
	}
	s.table(t)
	if len(t.Rows) == 0 {
		s.miss(d.says("paper.missing.hours"))
		return s
	}
	s.Facts = append(s.Facts, Fact{d.says("paper.all-hours"), reports.FormMinutes, count(sum)})
	return s
}

// protectionOn says what was laid, checked and lifted on the day; whole knows what
// was laid before it.
func (d *Dossier) protectionOn(whole *Dossier) Section {
	s := Section{Name: "protection", Title: d.says("paper.protection")}
	t := reports.Table{Name: "protection", Title: d.says("paper.laid-checked-lifted"), Columns: []reports.Column{
		d.col("what", "paper.what", reports.FormText), d.col("work", "paper.protection", reports.FormText),
		d.col("quantity_milli", "paper.amount", reports.FormQuantity),
		d.col("product", "paper.with", reports.FormText), d.col("finding", "paper.found", reports.FormText),
	}}
	none := reports.Cell{Blank: true}
	for _, r := range d.records {
		switch p := r.payload.(type) {
		case *events.Protection:
			t.Rows = append(t.Rows, []reports.Cell{text(d.says("paper.event.laid")), text(listed(d.work(p.Task, p.Surface),
				p.Location)),
				quantity(p.QuantityMilli, p.Unit), text(d.laidProduct(p)), {}})
			d.photos(&s, r, listed(d.work(p.Task, p.Surface), p.Location), p.Photos)
		case *events.ProtectionCheck:
			t.Rows = append(t.Rows, []reports.Cell{text(d.says("paper.event.checked")), text(whole.nameOfLaid(p.Laid)), none,
				{}, text(p.Finding)})
		case *events.Lifting:
			t.Rows = append(t.Rows, []reports.Cell{text(d.says("paper.event.lifted")), text(whole.nameOfLaid(p.Laid)), none,
				{}, {}})
		}
	}
	s.table(t)
	return s
}

// used says what material was used that no coat and no protection counts.
func (d *Dossier) used() Section {
	s := Section{Name: "material", Title: d.says("paper.material")}
	t := reports.Table{Name: "material", Title: d.says("paper.used-beside"), Columns: []reports.Column{
		d.col("product", "paper.product", reports.FormText), d.col("work", "paper.for", reports.FormText),
		d.col("quantity_milli", "paper.amount", reports.FormQuantity),
		d.col("what", "paper.what", reports.FormText),
	}}
	task := func(key string) string {
		if key == "" {
			return ""
		}
		return d.task(key)
	}
	for _, r := range d.records {
		switch p := r.payload.(type) {
		case *events.Usage:
			what := d.says("paper.event.used")
			if p.Left {
				what = d.says("paper.event.left")
			}
			t.Rows = append(t.Rows, []reports.Cell{text(d.product(p.Product)), text(task(p.Task)),
				quantity(p.QuantityMilli, p.Unit), text(what)})
		case *events.Return:
			t.Rows = append(t.Rows, []reports.Cell{text(d.product(p.Product)), text(task(p.Task)),
				quantity(p.QuantityMilli, p.Unit), text(d.says("paper.event.returned"))})
		}
	}
	s.table(t)
	return s
}

// qualityOn says what was found and put right on the day; whole knows what was
// found before it.
func (d *Dossier) qualityOn(whole *Dossier) Section {
	s := Section{Name: "quality", Title: d.says("paper.found-and-put-right")}
	t := reports.Table{Name: "quality", Title: d.says("paper.findings"), Columns: []reports.Column{
		d.col("what", "paper.what", reports.FormText), d.col("location", "paper.where", reports.FormText),
		d.col("finding", "paper.found-or-done", reports.FormText),
	}}
	add := func(r record, what, location, finding string, photos []string) {
		t.Rows = append(t.Rows, []reports.Cell{text(what), text(location), text(finding)})
		d.photos(&s, r, listed(what, location)+": "+finding, photos)
	}
	for _, r := range d.records {
		switch p := r.payload.(type) {
		case *events.Condition:
			add(r, d.says("paper.event.condition"), listed(p.Location, p.Item), p.Finding, p.Photos)
		case *events.Damage:
			add(r, d.says("paper.event.damage", "cause", d.cause(p.Cause)), listed(p.Location, p.Item), p.Finding, p.Photos)
		case *events.MakingGood:
			add(r, d.says("paper.event.made-good"), whole.placeOf(p.Damage), p.Work, p.Photos)
		case *events.Snag:
			add(r, d.says("paper.event.snag", "who", d.raisedBy(p.RaisedBy)), p.Location, p.Finding, p.Photos)
		case *events.SnagClearance:
			add(r, d.says("paper.event.cleared"), whole.placeOf(p.Snag), p.Work, p.Photos)
		}
	}
	s.table(t)
	return s
}

// placeOf says where the damage or the snag of an event is.
func (d *Dossier) placeOf(id string) string {
	i := slices.IndexFunc(d.records, func(r record) bool { return r.id == id })
	if i < 0 {
		return ""
	}
	switch p := d.records[i].payload.(type) {
	case *events.Damage:
		return listed(p.Location, p.Item)
	case *events.Snag:
		return listed(p.Location, p.Finding)
	}
	return ""
}
