package handover

import (
	"slices"

	"daysheet/events"
	"daysheet/reports"
)

// hours says who worked on what, and for how long.
func (d *Dossier) hours() Section {
	s := Section{Name: "hours", Title: "Hours"}
	t := reports.Table{Name: "hours", Title: "Hours booked", Columns: []reports.Column{
		{Key: "person", Title: "Who", Form: reports.FormText}, {Key: "work", Title: "Work", Form: reports.FormText},
		{Key: "location", Title: "Where", Form: reports.FormText},
		{Key: "minutes", Title: "Hours, h:mm", Form: reports.FormMinutes},
	}}
	var sum int64
	for _, h := range of[*events.Hours](d) {
		t.Rows = append(t.Rows, []reports.Cell{text(named(d.names.People, h.what.Person)),
			text(d.work(h.what.Task, h.what.Surface)), text(h.what.Location), count(h.what.Minutes)})
		sum += h.what.Minutes
	}
	s.table(t)
	if len(t.Rows) == 0 {
		s.miss("Hours of this day.")
		return s
	}
	s.Facts = append(s.Facts, Fact{"All hours, h:mm", reports.FormMinutes, count(sum)})
	return s
}

// protectionOn says what was laid, checked and lifted on the day; whole knows what
// was laid before it.
func (d *Dossier) protectionOn(whole *Dossier) Section {
	s := Section{Name: "protection", Title: "Protection"}
	t := reports.Table{Name: "protection", Title: "Laid, checked and lifted", Columns: []reports.Column{
		{Key: "what", Title: "What", Form: reports.FormText}, {Key: "work", Title: "Protection", Form: reports.FormText},
		{Key: "quantity_milli", Title: "Amount", Form: reports.FormQuantity},
		{Key: "product", Title: "With", Form: reports.FormText}, {Key: "finding", Title: "Found", Form: reports.FormText},
	}}
	none := reports.Cell{Blank: true}
	for _, r := range d.records {
		switch p := r.payload.(type) {
		case *events.Protection:
			t.Rows = append(t.Rows, []reports.Cell{text("laid"), text(listed(d.work(p.Task, p.Surface), p.Location)),
				quantity(p.QuantityMilli, p.Unit), text(d.laidProduct(p)), {}})
			d.photos(&s, r, listed(d.work(p.Task, p.Surface), p.Location), p.Photos)
		case *events.ProtectionCheck:
			t.Rows = append(t.Rows, []reports.Cell{text("checked"), text(whole.nameOfLaid(p.Laid)), none, {}, text(p.Finding)})
		case *events.Lifting:
			t.Rows = append(t.Rows, []reports.Cell{text("lifted"), text(whole.nameOfLaid(p.Laid)), none, {}, {}})
		}
	}
	s.table(t)
	return s
}

// used says what material was used that no coat and no protection counts.
func (d *Dossier) used() Section {
	s := Section{Name: "material", Title: "Material"}
	t := reports.Table{Name: "material", Title: "Used beside coats and protection", Columns: []reports.Column{
		{Key: "product", Title: "Product", Form: reports.FormText}, {Key: "work", Title: "For", Form: reports.FormText},
		{Key: "quantity_milli", Title: "Amount", Form: reports.FormQuantity},
		{Key: "what", Title: "What", Form: reports.FormText},
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
			what := "used"
			if p.Left {
				what = "left with the customer"
			}
			t.Rows = append(t.Rows, []reports.Cell{text(d.product(p.Product)), text(task(p.Task)),
				quantity(p.QuantityMilli, p.Unit), text(what)})
		case *events.Return:
			t.Rows = append(t.Rows, []reports.Cell{text(d.product(p.Product)), text(task(p.Task)),
				quantity(p.QuantityMilli, p.Unit), text("taken back unused")})
		}
	}
	s.table(t)
	return s
}

// qualityOn says what was found and put right on the day; whole knows what was
// found before it.
func (d *Dossier) qualityOn(whole *Dossier) Section {
	s := Section{Name: "quality", Title: "Found and put right"}
	t := reports.Table{Name: "quality", Title: "Findings", Columns: []reports.Column{
		{Key: "what", Title: "What", Form: reports.FormText}, {Key: "location", Title: "Where", Form: reports.FormText},
		{Key: "finding", Title: "Found or done", Form: reports.FormText},
	}}
	add := func(r record, what, location, finding string, photos []string) {
		t.Rows = append(t.Rows, []reports.Cell{text(what), text(location), text(finding)})
		d.photos(&s, r, listed(what, location)+": "+finding, photos)
	}
	for _, r := range d.records {
		switch p := r.payload.(type) {
		case *events.Condition:
			add(r, "condition before start", listed(p.Location, p.Item), p.Finding, p.Photos)
		case *events.Damage:
			add(r, "damage, "+causeOf(p.Cause), listed(p.Location, p.Item), p.Finding, p.Photos)
		case *events.MakingGood:
			add(r, "damage made good", whole.placeOf(p.Damage), p.Work, p.Photos)
		case *events.Snag:
			add(r, "snag raised by "+raisedBy(p.RaisedBy), p.Location, p.Finding, p.Photos)
		case *events.SnagClearance:
			add(r, "snag cleared", whole.placeOf(p.Snag), p.Work, p.Photos)
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
