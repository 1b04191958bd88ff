package handover

import (
	"daysheet/events"
	"daysheet/reports"
)

// protection says what was covered, with what, and that it was looked after.
func (d *Dossier) protection() Section {
	s := Section{Name: "protection", Title: d.says("paper.protection-used")}
	t := reports.Table{Name: "protection", Title: d.says("paper.covered-and-masked"), Columns: []reports.Column{
		d.col("work", "paper.what", reports.FormText), d.col("location", "paper.where", reports.FormText),
		d.col("quantity_milli", "paper.amount", reports.FormQuantity),
		d.col("product", "paper.with", reports.FormText), d.col("laid", "paper.laid", reports.FormDay),
		d.col("checks", "paper.checks", reports.FormCount),
		d.col("checked", "paper.last-check", reports.FormDay), d.col("lifted", "paper.lifted", reports.FormDay),
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
			late = append(late, d.says("paper.lifted-late.one",
				"what", name, "day", d.words.Day(lifted), "last", d.words.Day(p.RemoveBy)))
		}
		d.photos(&s, l.record, name, p.Photos)
	}
	s.table(t)
	d.unsound(&s)
	if len(late) > 0 {
		s.say(d.says("paper.lifted-late", "what", d.some(late)))
	}
	switch {
	case len(laid) == 0:
		s.miss(d.says("paper.missing.protection"))
		return s
	case len(of[*events.ProtectionCheck](d)) == 0:
		s.miss(d.says("paper.missing.check"))
	}
	if bare > 0 {
		s.miss(d.says("paper.missing.product-laid", "n", d.number(bare), "of", d.number(len(laid))))
	}
	if len(nowhere) > 0 {
		s.miss(d.says("paper.missing.where-laid", "what", d.some(nowhere)))
	}
	return s
}

// laidProduct says what was laid: a product that was laid before is said to be.
func (d *Dossier) laidProduct(p *events.Protection) string {
	switch {
	case p.Product == "":
		return ""
	case p.Reused:
		return d.says("paper.laid-again", "product", d.product(p.Product))
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
			s.say(d.says("paper.checked-on", "day", d.words.Day(c.day),
				"what", d.nameOfLaid(c.what.Laid), "finding", c.what.Finding))
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
	s := Section{Name: "lifted", Title: d.says("paper.protection-lifted")}
	t := reports.Table{Name: "uncovered", Title: d.says("paper.detectors-and-lights"), Columns: []reports.Column{
		d.col("work", "paper.what", reports.FormText), d.col("location", "paper.where", reports.FormText),
		d.col("quantity_milli", "paper.number", reports.FormQuantity),
		d.col("covered", "paper.covered", reports.FormDay), d.col("uncovered", "paper.uncovered", reports.FormDay),
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
			still = append(still, d.says("paper.missing.lifting", "what", listed(d.work(p.Task, p.Surface), p.Location),
				"amount", d.words.Quantity(left, p.Unit), "day", d.words.Day(l.day)))
		}
	}
	s.table(t)
	switch {
	case len(laid) == 0:
		s.say(d.says("paper.no-protection"))
	case len(still) == 0:
		s.say(d.counted(len(laid), "paper.all-lifted.one", "paper.all-lifted.many", "day", d.words.Day(end)))
	}
	for _, sentence := range still {
		s.miss(sentence)
	}
	if !covered[taskDetector] {
		s.miss(d.says("paper.missing.detectors"))
	}
	if !covered[taskLight] {
		s.miss(d.says("paper.missing.lights"))
	}
	return s
}
