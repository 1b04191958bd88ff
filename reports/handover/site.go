package handover

import (
	"fmt"
	"strconv"

	"daysheet/events"
	"daysheet/reports"
)

// site says where the work is, and for whom.
func (d *Dossier) site() Section {
	s := Section{Name: "site", Title: "Site and parties"}
	s.fact("Firm", d.firmName())
	opening, ok := last[*events.Opening](d)
	if !ok {
		s.miss("The opening of the job is not recorded.")
		return s
	}
	o := opening.what
	s.fact("Work", o.Title)
	s.fact("Job", d.stamp.Job)
	s.fact("Kind of work", named(d.names.JobTypes, o.JobType))
	d.customer(&s, o)
	if o.Built != 0 {
		s.fact("Building of", strconv.FormatInt(o.Built, 10))
	} else {
		s.miss("The year in which the building was built.")
	}
	s.dayFact("Agreed for handover", o.Due)
	if o.Due == "" {
		s.miss("The day that was agreed for handover.")
	}
	return s
}

// siteAndWork is [Dossier.site] with the days of the work, for the end of a job.
func (d *Dossier) siteAndWork() Section {
	s := d.site()
	first, end := d.worked()
	s.dayFact("Work on site from", first)
	s.dayFact("Work on site to", end)
	if first == "" {
		s.miss("Work on site.")
	}
	s.fact("State", spoken(string(d.state)))
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
	s.fact("Customer's reference", o.Customer)
	if o.Customer == "" {
		s.miss("A reference to the customer.")
	}
	switch p := d.parties; {
	case p == nil:
		s.miss("Name and address of the customer.")
	case p.Erased != "":
		s.dayFact("Customer's data erased on", p.Erased)
	case p.Lost != "":
		s.miss("Name and address of the customer: " + p.Lost + ".")
	default:
		s.fact("Customer", p.Name)
		s.fact("Address", p.Address)
		s.fact("Contact", p.Contact)
		if p.Name == "" {
			s.miss("Name of the customer.")
		}
		if p.Address == "" {
			s.miss("Address of the customer.")
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
	s := Section{Name: "scope", Title: "Scope and variations"}
	estimate, accepted, ok := d.agreed()
	switch {
	case !ok:
		s.miss("An estimate.")
	case accepted == "":
		s.miss("The acceptance of the estimate. What follows is what was offered last.")
	default:
		s.dayFact("Accepted on", accepted)
	}
	if ok {
		s.dayFact("Estimate of", estimate.day)
		s.fact("Measured by", ruleOf(estimate.what.MeasuredBy))
		s.fact("Agreed with it", estimate.what.Note)
		s.table(d.lines("scope", "Work agreed", estimate.what.Lines))
	}
	varied := of[*events.Variation](d)
	if len(varied) == 0 {
		s.say("No variation is recorded.")
	}
	for i, v := range varied {
		s.say(fmt.Sprintf("Variation %d, agreed on %s: %s", i+1, v.day, v.what.Reason))
		s.table(d.lines(fmt.Sprintf("variation_%d", i+1), fmt.Sprintf("Variation %d", i+1), v.what.Lines))
	}
	return s
}

// ruleOf says by which rule was measured.
func ruleOf(rule string) string {
	switch rule {
	case events.MeasureNet:
		return "net area, every opening deducted"
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
		{Key: "work", Title: "Work", Form: reports.FormText}, {Key: "location", Title: "Where", Form: reports.FormText},
		{Key: "method", Title: "How", Form: reports.FormText},
		{Key: "quantity_milli", Title: "Amount", Form: reports.FormQuantity},
	}}
	for _, l := range lines {
		t.Rows = append(t.Rows, []reports.Cell{text(d.work(l.Task, l.Surface)), text(l.Location), text(spoken(l.Method)),
			quantity(l.QuantityMilli, l.Unit)})
	}
	return t
}
