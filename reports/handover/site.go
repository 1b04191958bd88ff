package handover

import (
	"fmt"
	"strconv"

	"daysheet/events"
	"daysheet/reports"
)

// site says where the work is, and for whom.
func (d *Dossier) site() Section {
	s := Section{Name: "site", Title: d.says("paper.site")}
	s.fact(d.says("paper.firm"), d.firmName())
	opening, ok := last[*events.Opening](d)
	if !ok {
		s.miss(d.says("paper.missing.opening"))
		return s
	}
	o := opening.what
	s.fact(d.says("paper.work"), o.Title)
	s.fact(d.says("paper.job"), d.stamp.Job)
	s.fact(d.says("paper.kind-of-work"), named(d.names.JobTypes, o.JobType))
	d.customer(&s, o)
	if o.Built != 0 {
		s.fact(d.says("paper.built"), strconv.FormatInt(o.Built, 10))
	} else {
		s.miss(d.says("paper.missing.built"))
	}
	s.dayFact(d.says("paper.due"), o.Due)
	if o.Due == "" {
		s.miss(d.says("paper.missing.due"))
	}
	return s
}

// siteAndWork is [Dossier.site] with the days of the work, for the end of a job.
func (d *Dossier) siteAndWork() Section {
	s := d.site()
	first, end := d.worked()
	s.dayFact(d.says("paper.work-from"), first)
	s.dayFact(d.says("paper.work-to"), end)
	if first == "" {
		s.miss(d.says("paper.missing.work"))
	}
	s.fact(d.says("paper.state"), d.says("state."+string(d.state)))
	return s
}

func (d *Dossier) firmName() string {
	if d.settings == nil {
		return d.stamp.Firm
	}
	return d.settings.Name
}

// customer says who the customer is, as far as that is known and not erased.
func (d *Dossier) customer(s *Section, o *events.Opening) {
	s.fact(d.says("paper.reference"), o.Customer)
	if o.Customer == "" {
		s.miss(d.says("paper.missing.reference"))
	}
	switch p := d.parties; {
	case p == nil:
		s.miss(d.says("paper.missing.customer"))
	case p.Erased != "":
		s.dayFact(d.says("paper.erased-on"), p.Erased)
	case p.Lost:
		s.miss(d.says("paper.missing.customer-lost"))
	default:
		s.fact(d.says("paper.customer"), p.Name)
		s.fact(d.says("paper.address"), p.Address)
		s.fact(d.says("paper.contact"), p.Contact)
		if p.Name == "" {
			s.miss(d.says("paper.missing.customer-name"))
		}
		if p.Address == "" {
			s.miss(d.says("paper.missing.customer-address"))
		}
	}
}

// worked returns the first and the last day on which work on site was recorded.
func (d *Dossier) worked() (first, end events.Day) {
	for _, r := range d.records {
		switch r.payload.(type) {
		case *events.Hours, *events.Protection, *events.Lifting, *events.Preparation, *events.Coat, *events.Usage:
			if first == "" {
				first = r.day
			}
			end = r.day
		}
	}
	return first, end
}

// scope says what was agreed: the accepted estimate, and the variations.
func (d *Dossier) scope() Section {
	s := Section{Name: "scope", Title: d.says("paper.scope")}
	estimate, accepted, ok := d.agreed()
	switch {
	case !ok:
		s.miss(d.says("paper.missing.estimate"))
	case accepted == "":
		s.miss(d.says("paper.missing.acceptance"))
	default:
		s.dayFact(d.says("paper.accepted-on"), accepted)
	}
	if ok {
		s.dayFact(d.says("paper.estimate-of"), estimate.day)
		s.fact(d.says("paper.measured-by"), d.rule(estimate.what.MeasuredBy))
		s.fact(d.says("paper.agreed-with-it"), estimate.what.Note)
		s.table(d.lines("scope", d.says("paper.work-agreed"), estimate.what.Lines))
	}
	varied := of[*events.Variation](d)
	if len(varied) == 0 {
		s.say(d.says("paper.no-variation"))
	}
	for i, v := range varied {
		s.say(d.says("paper.variation-agreed",
			"n", d.number(i+1), "day", d.words.Day(v.day), "reason", v.what.Reason))
		s.table(d.lines(fmt.Sprintf("variation_%d", i+1), d.says("paper.kind.variation", "n", d.number(i+1)), v.what.Lines))
	}
	return s
}

// rule says by which rule was measured.
func (d *Dossier) rule(rule string) string {
	switch rule {
	case events.MeasureNet:
		return d.says("paper.measured-net")
	case events.MeasureDIN18363:
		return "DIN 18363"
	case events.MeasureIS1200:
		return "IS 1200"
	}
	return ""
}

// agreed returns the estimate in force, and the day of its acceptance; the last
// one that was issued, without a day, where none was accepted.
func (d *Dossier) agreed() (e entry[*events.Estimate], accepted events.Day, ok bool) {
	e, ok = last[*events.Estimate](d)
	if a, yes := last[*events.Acceptance](d); yes {
		for _, issued := range of[*events.Estimate](d) {
			if issued.id == a.what.Estimate {
				return issued, a.day, true
			}
		}
	}
	return e, "", ok
}

// lines lists planned work. Minutes and cost are the firm's own affair.
func (d *Dossier) lines(name, title string, lines []events.EstimateLine) reports.Table {
	t := reports.Table{Name: name, Title: title, Columns: []reports.Column{
		d.col("work", "paper.work", reports.FormText), d.col("location", "paper.where", reports.FormText),
		d.col("method", "paper.how", reports.FormText),
		d.col("quantity_milli", "paper.amount", reports.FormQuantity),
	}}
	for _, l := range lines {
		t.Rows = append(t.Rows, []reports.Cell{text(d.work(l.Task, l.Surface)), text(l.Location),
			text(reports.Spoken(l.Method)),
			quantity(l.QuantityMilli, l.Unit)})
	}
	return t
}
