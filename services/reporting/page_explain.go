package reporting

import (
	"net/url"
	"slices"

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
	w, err := s.teller(v, v.Firm)
	if err != nil {
		return page{}, err
	}
	body := explainPageBody{
		Sum: answer.Sum.figure(w.Format, answer.Of, answer.unit), Next: answer.Next,
		Finding: w.Say("explain.finding"),
		Table:   w.factTable(answer), Conditions: w.conditions(answer.query),
	}
	question := url.Values{}
	for name, values := range v.Values {
		if name != "after" && name != "format" && name != "values" && name != "bom" {
			question[name] = values
		}
	}
	for _, m := range []medium{inJSON, inCSV} {
		question.Set("format", string(m))
		if m == inCSV {
			question.Set("values", valuesFor(w.Format))
			question.Set("bom", "1")
		}
		body.Downloads = append(body.Downloads, link{Text: w.Say("explain.as-" + string(m)),
			Address: "/v1/explain?" + question.Encode()})
	}
	title, crumbs := w.Say("explain.title"), []link{{Text: w.Say("nav.jobs"), Address: "/"}}
	if job := onlyOf(answer.query, reports.ByJob); job != "" && job != events.FirmJob {
		if title, err := s.titleOf(v, job); err != nil {
			return page{}, err
		} else if title != "" {
			crumbs = append(crumbs, link{Text: title, Address: "/jobs/" + job})
		}
	}
	return page{
		Name: explainPage, Title: title, Crumbs: append(crumbs, link{Text: title}),
		AsOf: answer.AsOf, Body: body, Texts: w.Texts,
	}, w.Err
}

// conditions says which facts were asked for.
func (w teller) conditions(q reports.Query) []fact {
	var said []fact
	for _, c := range q.Where {
		values := make([]string, len(c.In))
		for i, v := range c.In {
			values[i] = w.Value(c.Dimension, v)
		}
		said = append(said, fact{Text: w.Dimension(c.Dimension), Value: wording.List(values...)})
	}
	for _, f := range []fact{
		{Text: w.Say("explain.from"), Value: w.Day(q.From)}, {Text: w.Say("explain.to"), Value: w.Day(q.To)},
		{Text: w.Say("explain.finished-from"), Value: w.finishedFrom(q)}, {Text: w.Say("explain.finished-to"),
			Value: w.Day(q.FinishedTo)},
		{Text: w.Say("nav.jobs"), Value: stateNames(q.States, w.State)},
	} {
		if f.Value != "" {
			said = append(said, f)
		}
	}
	return said
}

// finishedFrom says from which day on jobs were finished, where one was chosen: all
// finished jobs are those from the first day that there is.
func (w teller) finishedFrom(q reports.Query) string {
	if q.FinishedFrom == reports.FirstDay && q.FinishedTo == "" {
		return w.Say("explain.finished-ever")
	}
	return w.Day(q.FinishedFrom)
}

// onlyOf returns the one value that a dimension was asked for; empty where there are
// several or none.
func onlyOf(q reports.Query, d reports.Dimension) string {
	for _, c := range q.Where {
		if c.Dimension == d && len(c.In) == 1 {
			return c.In[0]
		}
	}
	return ""
}

// told returns the table without the columns that say the same in each row: what was
// asked for stands above it already.
func told(t reports.Table, b explainBody) reports.Table {
	same := map[string]bool{
		"job": onlyOf(b.query, reports.ByJob) != "", "side": onlyOf(b.query, reports.BySide) != "",
		"effect": !slices.ContainsFunc(b.Facts, func(f factBody) bool { return f.Sign < 0 }),
	}
	for i := len(t.Columns) - 1; i >= 0; i-- {
		if !same[t.Columns[i].Key] {
			continue
		}
		t.Columns = slices.Delete(t.Columns, i, i+1)
		for n := range t.Rows {
			t.Rows[n] = slices.Delete(t.Rows[n], i, i+1)
		}
	}
	return t
}

// factTable lists facts with the one amount that the figure adds up.
func (w teller) factTable(b explainBody) tableView {
	amount := reports.Column{Key: "facts", Title: w.Say("explain.counts"), Form: reports.FormCount}
	switch b.Of {
	case measureMinutes:
		amount = reports.Column{Key: "minutes", Title: w.Say("explain.hours"), Form: reports.FormMinutes}
	case measureQuantity:
		amount = reports.Column{Key: "quantity_milli", Title: w.Kind(string(reports.KindQuantity)),
			Form: reports.FormQuantity}
	case measureCost:
		amount = reports.Column{Key: "cost_e4", Title: w.Say("explain.money"), Form: reports.FormMoney}
	}
	t := reports.Table{
		Title: w.Say("explain.facts"),
		Empty: w.Say("explain.none"),
		Columns: []reports.Column{
			{Key: "day", Title: w.Dimension(reports.ByDay), Form: reports.FormDay}, {Key: "job",
				Title: w.Dimension(reports.ByJob), Form: reports.FormText},
			{Key: "side", Title: w.Dimension(reports.BySide), Form: reports.FormText}, {Key: "what",
				Title: w.Say("explain.what"), Form: reports.FormText},
			{Key: "detail", Title: w.Say("explain.details"), Form: reports.FormText}, amount,
			{Key: "effect", Title: w.Say("explain.effect"), Form: reports.FormText},
			{Key: "sequence", Title: w.Say("explain.position"), Form: reports.FormCount},
			{Key: "event_id", Title: w.Say("explain.record"), Form: reports.FormText},
		},
	}
	for _, f := range b.Facts {
		t.Rows = append(t.Rows, w.factRow(f, b.Of))
	}
	return newTableView("facts", told(t, b), w)
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
	effect := "explain.adds"
	if f.Sign < 0 {
		effect = "explain.takes-back"
	}
	job := reports.Cell{Text: f.Job, Job: f.Job}
	if f.Job == events.FirmJob {
		job.Job = "" // has no page
	}
	what := wording.List(w.Kind(f.Kind), w.Task(f.Task))
	return []reports.Cell{
		{Text: f.Day}, job, {Text: w.Side(f.Side)}, {Text: what},
		{Text: wording.List(w.Person(f.Person), f.Grade, w.Product(f.Product), reports.Spoken(f.Surface),
			reports.Spoken(f.Method), f.Location, f.Place)},
		{Number: n * int64(f.Sign), Unit: events.Unit(f.Unit)}, {Text: w.Say(effect)},
		{Number: int64(f.Sequence)}, {Text: f.EventID},
	}
}
