package reporting

import (
	"cmp"
	"net/url"
	"strconv"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/services/wording"
)

// measure says which sum of its facts a figure is.
type measure string

const (
	measureMinutes  measure = "minutes"
	measureQuantity measure = "quantity"
	measureCost     measure = "cost"
	measureFacts    measure = "facts"
)

// measureOf returns the sum that figures of the form are made of.
func measureOf(form reports.Form) measure {
	switch form {
	case reports.FormMinutes:
		return measureMinutes
	case reports.FormQuantity:
		return measureQuantity
	case reports.FormMoney:
		return measureCost
	}
	return measureFacts
}

// explainValues writes the facts behind a figure as the query of an address.
// The firm is left out: it comes from the credential of whoever asks.
func explainValues(q reports.Query, of measure) url.Values {
	v := url.Values{}
	for _, c := range q.Where {
		v[string(c.Dimension)] = append(v[string(c.Dimension)], c.In...)
	}
	set := func(name, value string) {
		if value != "" {
			v.Set(name, value)
		}
	}
	set("from", string(q.From))
	set("to", string(q.To))
	set("finished_from", string(q.FinishedFrom))
	set("finished_to", string(q.FinishedTo))
	for _, state := range q.States {
		v.Add("state", string(state))
	}
	if q.AsOf > 0 {
		set("as_of", strconv.FormatUint(q.AsOf, 10))
	}
	set("of", string(of))
	return v
}

// explainQuery reads what [explainValues] wrote. Conditions come out in the
// order of [reports.Dimensions], whatever order they were asked in.
func explainQuery(p *params, firm string) (reports.Query, measure) {
	q := reports.Query{
		Firm: firm, From: p.day("from"), To: p.day("to"),
		FinishedFrom: p.day("finished_from"), FinishedTo: p.day("finished_to"), AsOf: p.position("as_of"),
		States: p.states(),
	}
	for _, d := range reports.Dimensions() {
		if in := p.list(string(d)); len(in) > 0 {
			q = q.With(d, in...)
		}
	}
	of := measure(p.oneOf("of", measures()...))
	if err := q.Validate(); err != nil && p.err == nil {
		p.err = err
	}
	return q, cmp.Or(of, measureFacts)
}

// sums is what a set of facts adds up to.
type sums struct {
	Minutes       int64 `json:"minutes" doc:"Minutes of work"`
	QuantityMilli int64 `json:"quantity_milli" doc:"Thousandths of the unit; facts of several units do not add up"`
	CostE4        int64 `json:"cost_e4" doc:"Ten-thousandths of the currency unit"`
	Facts         int64 `json:"facts" doc:"Facts that hold: those that count less those that take back"`
}

func sumsOf(totals []reports.Total) sums {
	var s sums
	for _, t := range totals {
		s.Minutes += t.Minutes
		s.QuantityMilli += t.QuantityMilli
		s.CostE4 += t.CostE4
		s.Facts += t.Facts
	}
	return s
}

// figure writes the sum that the measure asks for.
func (s sums) figure(f wording.Format, of measure, unit events.Unit) string {
	switch of {
	case measureMinutes:
		return wording.WithUnit(f.Hours(s.Minutes), f.UnitSign(events.Hour))
	case measureQuantity:
		return f.Quantity(s.QuantityMilli, unit)
	case measureCost:
		return wording.WithUnit(f.Money(s.CostE4), f.Currency)
	}
	return f.Count(s.Facts)
}

// measures lists what a figure can be the sum of.
func measures() []string {
	return []string{string(measureMinutes), string(measureQuantity), string(measureCost), string(measureFacts)}
}
