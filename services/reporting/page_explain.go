package reporting

import (
	"fmt"
	"net/url"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/services/wording"
)

// explainPageBody is the page of the facts behind a figure.
type explainPageBody struct {
	Sum, Finding string
	Conditions   []fact
	Table        tableView
	Next         string
	Downloads    []link
}

func (s *site) showExplain(v visit) (page, error) {
	answer, err := s.explain(v, v.Firm, "/explain", readParams(v.Values))
	if err != nil {
		return page{}, err
	}
	return s.explainPage(v, answer)
}

func (s *site) explainPage(v visit, answer explainBody) (page, error) {
	names, err := s.deps.Names(v, v.Firm)
	if err != nil {
		return page{}, fmt.Errorf("read names: %w", err)
	}
	w := newTeller(names)
	body := explainPageBody{
		Sum: answer.Sum.figure(w.Format, answer.Of, answer.unit), Next: answer.Next,
		Finding: "This is the sum of the facts below. A fact that takes an earlier one back counts with the opposite sign.",
		Table:   w.factTable(answer), Conditions: w.conditions(answer.query),
	}
	question := url.Values{}
	for name, values := range v.Values {
		if name != "after" && name != "format" {
			question[name] = values
		}
	}
	for _, m := range []medium{inJSON, inCSV} {
		question.Set("format", string(m))
		body.Downloads = append(body.Downloads, link{Text: mediumName(m), Address: "/v1/explain?" + question.Encode()})
	}
	title := "What the figure is made of"
	return page{
		Name: explainPage, Title: title, Crumbs: []link{{Text: "Jobs", Address: "/"}, {Text: title}},
		AsOf: answer.AsOf, Body: body,
	}, nil
}

func mediumName(m medium) string {
	if m == inCSV {
		return "This page of facts as CSV"
	}
	return "This page of facts as JSON"
}

// conditions says which facts were asked for.
func (w teller) conditions(q reports.Query) []fact {
	var said []fact
	for _, c := range q.Where {
		values := make([]string, len(c.In))
		for i, v := range c.In {
			values[i] = w.Value(c.Dimension, v)
		}
		said = append(said, fact{Text: wording.PlainKey(string(c.Dimension)), Value: wording.List(values...)})
	}
	for _, f := range []fact{
		{Text: "Work from", Value: w.Day(q.From)}, {Text: "Work to", Value: w.Day(q.To)},
		{Text: "Jobs finished from", Value: w.Day(q.FinishedFrom)}, {Text: "Jobs finished to", Value: w.Day(q.FinishedTo)},
		{Text: "Jobs", Value: stateNames(q.States, plainState)},
	} {
		if f.Value != "" {
			said = append(said, f)
		}
	}
	return said
}

// factTable lists facts with the one amount that the figure adds up.
func (w teller) factTable(b explainBody) tableView {
	amount := reports.Column{Key: "facts", Title: "Counts", Form: reports.FormCount}
	switch b.Of {
	case measureMinutes:
		amount = reports.Column{Key: "minutes", Title: "Hours", Form: reports.FormMinutes}
	case measureQuantity:
		amount = reports.Column{Key: "quantity_milli", Title: "Quantity", Form: reports.FormQuantity}
	case measureCost:
		amount = reports.Column{Key: "cost_e4", Title: "Money", Form: reports.FormMoney}
	}
	t := reports.Table{
		Title: "Facts, in the order of the ledger",
		Empty: "No record counts for this figure. Record the work on its job to see it here.",
		Columns: []reports.Column{
			{Key: "day", Title: "Day", Form: reports.FormDay}, {Key: "job", Title: "Job", Form: reports.FormText},
			{Key: "side", Title: "Side", Form: reports.FormText}, {Key: "what", Title: "What", Form: reports.FormText},
			{Key: "detail", Title: "Details", Form: reports.FormText}, amount,
			{Key: "effect", Title: "Effect", Form: reports.FormText},
			{Key: "sequence", Title: "Position", Form: reports.FormCount},
			{Key: "event_id", Title: "Record", Form: reports.FormText},
		},
	}
	for _, f := range b.Facts {
		t.Rows = append(t.Rows, w.factRow(f, b.Of))
	}
	return newTableView("facts", t, w.Format)
}

func (w teller) factRow(f factBody, of measure) []reports.Cell {
	n := int64(1)
	switch of {
	case measureMinutes:
		n = f.Minutes
	case measureQuantity:
		n = f.QuantityMilli
	case measureCost:
		n = f.CostE4
	}
	effect := "counts"
	if f.Sign < 0 {
		effect = "takes back"
	}
	job := reports.Cell{Text: f.Job, Job: f.Job}
	if f.Job == events.FirmJob {
		job.Job = "" // has no page
	}
	what := wording.List(wording.PlainKey(f.Kind), w.Task(f.Task))
	return []reports.Cell{
		{Text: f.Day}, job, {Text: wording.PlainKey(f.Side)}, {Text: what},
		{Text: wording.List(w.Person(f.Person), f.Grade, w.Product(f.Product), f.Surface, f.Method, f.Location, f.Place)},
		{Number: n * int64(f.Sign), Unit: events.Unit(f.Unit)}, {Text: effect},
		{Number: int64(f.Sequence)}, {Text: f.EventID},
	}
}
