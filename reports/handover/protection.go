package handover

import (
	"fmt"

	"daysheet/events"
	"daysheet/reports"
)

// protection says what was covered, with what, and that it was looked after.
func (d *Dossier) protection() Section {
	s := Section{Name: "protection", Title: "Protection used"}
	t := reports.Table{Name: "protection", Title: "Covered and masked", Columns: []reports.Column{
		{Key: "work", Title: "What", Form: reports.FormText}, {Key: "location", Title: "Where", Form: reports.FormText},
		{Key: "quantity_milli", Title: "Amount", Form: reports.FormQuantity},
		{Key: "product", Title: "With", Form: reports.FormText}, {Key: "laid", Title: "Laid", Form: reports.FormDay},
		{Key: "checks", Title: "Checks", Form: reports.FormCount},
		{Key: "checked", Title: "Last check", Form: reports.FormDay}, {Key: "lifted", Title: "Lifted", Form: reports.FormDay},
	}}
	laid := of[*events.Protection](d)
	bare := 0
	var nowhere, late []string
	for _, l := range laid {
		p := l.what
		name := listed(d.work(p.Task, p.Surface), p.Location)
		checks, checked := d.checksOf(l.id)
		lifted := d.liftedOn(l.id)
		t.Rows = append(t.Rows, []reports.Cell{text(d.work(p.Task, p.Surface)), text(p.Location),
			quantity(p.QuantityMilli, p.Unit), text(d.laidProduct(p)), day(l.day), {Number: checks, Blank: checks == 0},
			day(checked), day(lifted)})
		if p.Product == "" {
			bare++
		}
		if p.Location == "" {
			nowhere = append(nowhere, d.work(p.Task, p.Surface))
		}
		if p.RemoveBy != "" && lifted > p.RemoveBy {
			late = append(late, fmt.Sprintf("%s: lifted on %s, and %s was the last day for clean removal", name, lifted,
				p.RemoveBy))
		}
		d.photos(&s, l.record, name, p.Photos)
	}
	s.table(t)
	d.unsound(&s)
	if len(late) > 0 {
		s.say("Lifted late: " + some(late) + ".")
	}
	switch {
	case len(laid) == 0:
		s.miss("Protection that was laid.")
		return s
	case len(of[*events.ProtectionCheck](d)) == 0:
		s.miss("A check of the protection while it was down.")
	}
	if bare > 0 {
		s.miss(fmt.Sprintf("The product laid, for %d of %d.", bare, len(laid)))
	}
	if len(nowhere) > 0 {
		s.miss("Where it was laid: " + some(nowhere) + ".")
	}
	return s
}

// laidProduct says what was laid: a product that was laid before is said to be.
func (d *Dossier) laidProduct(p *events.Protection) string {
	switch {
	case p.Product == "":
		return ""
	case p.Reused:
		return d.product(p.Product) + " (laid again)"
	}
	return d.product(p.Product)
}

// checksOf returns how often protection was checked, and when last.
func (d *Dossier) checksOf(id string) (n int64, at events.Day) {
	for _, c := range of[*events.ProtectionCheck](d) {
		if c.what.Laid == id {
			n++
			at = c.day
		}
	}
	return n, at
}

// liftedOn returns the day on which the last of it was lifted; empty while some of
// it is down.
func (d *Dossier) liftedOn(id string) (at events.Day) {
	if d.down[id] > 0 {
		return ""
	}
	for _, l := range of[*events.Lifting](d) {
		if l.what.Laid == id {
			at = l.day
		}
	}
	return at
}

// unsound tells of checks that found something.
func (d *Dossier) unsound(s *Section) {
	for _, c := range of[*events.ProtectionCheck](d) {
		if !c.what.Sound {
			s.say(fmt.Sprintf("Check on %s, %s: %s.", c.day, d.nameOfLaid(c.what.Laid), c.what.Finding))
		}
	}
}

// nameOfLaid names protection by the id of its event.
func (d *Dossier) nameOfLaid(id string) string {
	for _, l := range of[*events.Protection](d) {
		if l.id == id {
			return listed(d.work(l.what.Task, l.what.Surface), l.what.Location)
		}
	}
	return id
}

// The tasks whose covering can do harm where it is forgotten.
const (
	taskDetector = "protect-detector"
	taskLight    = "protect-light-fitting"
	taskSocket   = "protect-socket-switch"
)

// lifted says whether everything that was covered is free again, detectors and
// light fittings one by one.
func (d *Dossier) lifted() Section {
	s := Section{Name: "lifted", Title: "Protection lifted"}
	t := reports.Table{Name: "uncovered", Title: "Detectors and light fittings", Columns: []reports.Column{
		{Key: "work", Title: "What", Form: reports.FormText}, {Key: "location", Title: "Where", Form: reports.FormText},
		{Key: "quantity_milli", Title: "Number", Form: reports.FormQuantity},
		{Key: "covered", Title: "Covered", Form: reports.FormDay}, {Key: "uncovered", Title: "Uncovered",
			Form: reports.FormDay},
	}}
	laid := of[*events.Protection](d)
	var still []string
	covered := map[string]bool{}
	var end events.Day
	for _, l := range laid {
		p, lifted := l.what, d.liftedOn(l.id)
		end = max(end, lifted)
		if p.Task == taskDetector || p.Task == taskLight {
			covered[p.Task] = true
			t.Rows = append(t.Rows, []reports.Cell{text(d.task(p.Task)), text(p.Location), quantity(p.QuantityMilli, p.Unit),
				day(l.day), day(lifted)})
		}
		if left := d.down[l.id]; left > 0 {
			still = append(still, fmt.Sprintf("%s, %s, laid on %s",
				listed(d.work(p.Task, p.Surface), p.Location), amount(left, p.Unit), l.day))
		}
	}
	s.table(t)
	switch {
	case len(laid) == 0:
		s.say("No protection is recorded, so that none is recorded as lifted.")
	case len(still) == 0:
		s.say(fmt.Sprintf("All protection that is recorded as laid (%s) is recorded as lifted, the last of it on %s.",
			plural(len(laid), "record", "records"), end))
	}
	for _, name := range still {
		s.miss("Lifting of: " + name + ".")
	}
	if !covered[taskDetector] {
		s.miss("Whether smoke, heat or gas detectors were covered. Look that each of them is free.")
	}
	if !covered[taskLight] {
		s.miss("Whether light fittings were covered. Look that each of them is free before it is switched on.")
	}
	return s
}
