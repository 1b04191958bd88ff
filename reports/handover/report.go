package handover

import (
	"slices"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/reports/measure"
)

// paper puts sections together and leaves the empty ones out.
func (d *Dossier) paper(kind Kind, of, title string, sections ...Section) Paper {
	p := Paper{Kind: kind, Of: of, Title: title, Firm: d.firmName(), Stamp: d.stamp, Names: d.names}
	for _, s := range sections {
		if len(s.Facts)+len(s.Says)+len(s.Strips)+len(s.Tables)+len(s.Photos)+len(s.Signed)+len(s.Missing)+
			len(s.Sign) > 0 {
			p.Sections = append(p.Sections, s)
		}
	}
	return p
}

// titled puts what is done behind the name of a paper.
func (d *Dossier) titled(name string) string {
	if o, ok := last[*events.Opening](d); ok {
		return name + ": " + o.what.Title
	}
	return name + ": " + d.stamp.Job
}

// Handover is the whole report at the end of a job. It can be made at any time;
// what is not recorded yet is listed as missing.
func (d *Dossier) Handover() Paper {
	return d.paper(KindHandover, "", d.titled(d.says("paper.kind.handover")), d.siteAndWork(), d.scope(), d.days(),
		d.condition(),
		d.protection(), d.system(), d.damage(), d.snags(), d.lifted(), d.otherPhotos(), d.notes(), d.left(), d.care(),
		d.cautions(), d.warranty(), d.signOff())
}

// Condition is the record of how everything was found, to sign before the work begins.
func (d *Dossier) Condition() Paper {
	sign := Section{Name: "sign-off", Title: d.says("paper.agreed"), Sign: d.signature("paper.signature.customer")}
	sign.say(d.says("paper.agree.condition"))
	return d.paper(KindCondition, "", d.titled(d.says("paper.kind.condition")), d.site(), d.condition(), sign)
}

// Snags is the list of what is to be cleared before handover, and of what was.
func (d *Dossier) Snags() Paper {
	sign := Section{Name: "sign-off", Title: d.says("paper.agreed"), Sign: d.signature("paper.signature.customer")}
	sign.say(d.says("paper.agree.snags"))
	return d.paper(KindSnags, "", d.titled(d.says("paper.kind.snags")), d.site(), d.snags(), d.damage(), sign)
}

// Quote is what is offered: the estimate in force, or the last one that was issued.
// Its error has the code NotFound where none was.
func (d *Dossier) Quote() (Paper, error) {
	estimate, accepted, ok := d.agreed()
	if !ok {
		return Paper{}, &events.Error{Code: events.NotFound, Field: "job", Value: d.stamp.Job,
			Rule: "no estimate was issued on this job"}
	}
	s := Section{Name: "offer", Title: d.says("paper.offered")}
	s.dayFact(d.says("paper.estimate-of"), estimate.day)
	s.fact(d.says("paper.measured-by"), d.rule(estimate.what.MeasuredBy))
	s.fact(d.says("paper.note"), estimate.what.Note)
	s.table(d.lines("scope", d.says("paper.work"), estimate.what.Lines))
	s.table(d.materials(estimate.what.Materials))
	price := Section{Name: "price", Title: d.says("paper.price")}
	d.price(&price, d.says("paper.price-net"), estimate.what.PriceE4)
	sign := Section{Name: "sign-off", Title: d.says("paper.acceptance")}
	sign.dayFact(d.says("paper.accepted-on"), accepted)
	if accepted == "" {
		sign.say(d.says("paper.agree.quote"))
		sign.Sign = d.signature("paper.signature.customer")
	}
	return d.paper(KindQuote, "", d.titled(d.says("paper.kind.quote")), d.site(), s, price, sign), nil
}

// materials lists planned consumables without what they cost.
func (d *Dossier) materials(planned []events.EstimateMaterial) reports.Table {
	t := reports.Table{Name: "materials", Title: d.says("paper.materials"), Columns: []reports.Column{
		d.col("product", "paper.product", reports.FormText),
		d.col("quantity_milli", "paper.amount", reports.FormQuantity),
	}}
	var each []events.EstimateMaterial // a product that several tasks use is one line
	for _, m := range planned {
		i := slices.IndexFunc(each,
			func(o events.EstimateMaterial) bool { return o.Product == m.Product && o.Unit == m.Unit })
		if i < 0 {
			each = append(each, m)
			continue
		}
		each[i].QuantityMilli += m.QuantityMilli
	}
	for _, m := range each {
		t.Rows = append(t.Rows, []reports.Cell{text(d.product(m.Product)), quantity(m.QuantityMilli, m.Unit)})
	}
	return t
}

// price says a net price, the tax on it, and both together.
func (d *Dossier) price(s *Section, term string, netE4 int64) {
	s.moneyFact(term, netE4)
	if d.settings == nil || d.settings.VATBasisPoints == 0 {
		return
	}
	tax := measure.VATOn(netE4, d.settings.VATBasisPoints, 1)
	s.moneyFact(d.says("paper.vat", "share", d.words.Share(d.settings.VATBasisPoints)), tax)
	s.moneyFact(d.says("paper.to-pay"), netE4+tax)
}

// Variation is a change of scope, to sign. It is named by the id of its event; the
// error has the code NotFound where there is no such variation.
func (d *Dossier) Variation(id string) (Paper, error) {
	estimate, _, offered := d.agreed()
	var sumE4 int64
	if offered {
		sumE4 = estimate.what.PriceE4
	}
	for i, v := range of[*events.Variation](d) {
		if v.id != id {
			sumE4 += v.what.PriceE4
			continue
		}
		s := Section{Name: "variation", Title: d.says("paper.changes")}
		s.dayFact(d.says("paper.agreed-on"), v.day)
		s.fact(d.says("paper.reason"), v.what.Reason)
		s.table(d.lines("variation", d.says("paper.work-added"), v.what.Lines))
		s.table(d.materials(v.what.Materials))
		price := Section{Name: "price", Title: d.says("paper.price")}
		d.price(&price, d.says("paper.price-change"), v.what.PriceE4)
		if offered {
			price.moneyFact(d.says("paper.agreed-before"), sumE4)
			price.moneyFact(d.says("paper.agreed-with-it-net"), sumE4+v.what.PriceE4)
		}
		sign := Section{Name: "sign-off", Title: d.says("paper.agreed"), Sign: d.signature("paper.signature.customer")}
		return d.paper(KindVariation, id, d.titled(d.says("paper.kind.variation", "n", d.number(i+1))), d.site(), s,
			price, sign), nil
	}
	return Paper{}, &events.Error{Code: events.NotFound, Field: "event", Value: id, Rule: "no such variation on this job"}
}

// DaySheet is what was done on one day: hours, work, material and what was found,
// to sign on site. Its error has the code NotFound where nothing was recorded for
// the day.
func (d *Dossier) DaySheet(on events.Day) (Paper, error) {
	one := d.only(on)
	if len(one.records) == 0 {
		return Paper{}, &events.Error{Code: events.NotFound, Field: "day", Value: string(on),
			Rule: "nothing was recorded on this job for this day"}
	}
	protection, quality := one.protectionOn(d), one.qualityOn(d)
	system := Section{Name: "system", Title: d.says("paper.surfaces")}
	if len(of[*events.Preparation](one)) > 0 {
		one.preparation(&system)
	}
	if coats := of[*events.Coat](one); len(coats) > 0 {
		system.table(one.coats(coats))
		system.table(one.readings(coats))
	}
	sign := Section{Name: "sign-off", Title: d.says("paper.agreed"), Sign: d.signature("paper.signature.side")}
	return d.paper(KindDaySheet, string(on), d.titled(d.says("paper.kind.day", "day", d.words.Day(on))), d.site(),
		one.hours(), protection,
		system, one.used(), quality, one.otherPhotos(), one.notes(), sign), nil
}
