package reporting

import (
	"context"
	"fmt"
	"slices"
	"strconv"

	"daysheet/events"
	"daysheet/reports"
)

// factBody is one fact behind a figure. Amounts count once for sign 1 and are
// taken back for sign -1.
type factBody struct {
	EventID       string `json:"event_id" doc:"Event that the fact comes from"`
	Job           string `json:"job"`
	JobType       string `json:"job_type,omitempty"`
	Sequence      uint64 `json:"sequence" doc:"Position in the log of the commit that counted it"`
	Day           string `json:"day" doc:"Day of the work"`
	Side          string `json:"side"`
	Kind          string `json:"kind"`
	Family        string `json:"family,omitempty"`
	Task          string `json:"task,omitempty"`
	Surface       string `json:"surface,omitempty"`
	Method        string `json:"method,omitempty"`
	Location      string `json:"location,omitempty"`
	Product       string `json:"product,omitempty"`
	Place         string `json:"place,omitempty"`
	Unit          string `json:"unit,omitempty"`
	Grade         string `json:"grade,omitempty"`
	Person        string `json:"person,omitempty"`
	Minutes       int64  `json:"minutes"`
	QuantityMilli int64  `json:"quantity_milli" doc:"Thousandths of the unit"`
	CostE4        int64  `json:"cost_e4" doc:"Ten-thousandths of the currency unit"`
	Sign          int8   `json:"sign" doc:"1 where it counts, -1 where it takes an earlier one back"`
}

func newFactBody(f reports.Fact) factBody {
	return factBody{
		EventID: f.EventID, Job: f.Job, JobType: f.JobType, Sequence: f.Sequence, Day: string(f.Day),
		Side: string(f.Side), Kind: string(f.Kind), Family: string(f.Family), Task: f.Task, Surface: f.Surface,
		Method: f.Method, Location: f.Location, Product: f.Product, Place: f.Place, Unit: string(f.Unit),
		Grade: f.Grade, Person: f.Person, Minutes: f.Minutes, QuantityMilli: f.QuantityMilli, CostE4: f.CostE4, Sign: f.Sign,
	}
}

// explainBody is a figure's facts, one page of them, and what all of them add
// up to.
type explainBody struct {
	Of    measure    `json:"of" doc:"The sum that the figure is" enum:"minutes,quantity,cost,facts"`
	Sum   sums       `json:"sum" doc:"Of all facts, on every page"`
	AsOf  uint64     `json:"as_of" doc:"Position in the log that the answer is valid for"`
	Facts []factBody `json:"facts"`
	Next  string     `json:"next,omitempty" doc:"Address of the next page, as in the header Link"`

	query reports.Query
	unit  events.Unit // of all facts; empty where they have none or several
}

// explain answers with the facts that a figure is made of.
func (s *site) explain(ctx context.Context, firm, path string, p *params) (explainBody, error) {
	from := p.cursor()
	q, of := explainQuery(p, firm)
	limit := p.limit(pageUsual, pageMost)
	if err := p.done(); err != nil {
		return explainBody{}, err
	}
	if slices.ContainsFunc(q.Where, func(c reports.Condition) bool { return c.Dimension == reports.ByPerson }) {
		if err := forTheOffice(ctx); err != nil {
			return explainBody{}, err
		}
	}
	start, err := from.offset()
	if err != nil {
		return explainBody{}, err
	}
	position, err := s.pin(firm, max(q.AsOf, from.position))
	if err != nil {
		return explainBody{}, err
	}
	q.AsOf = position
	q.By = []reports.Dimension{reports.ByUnit}
	totals, err := s.deps.Store.Sum(ctx, q)
	if err != nil {
		return explainBody{}, fmt.Errorf("sum facts: %w", err)
	}
	q.Offset, q.Limit = start, limit+1
	facts, err := s.deps.Store.Lines(ctx, q)
	if err != nil {
		return explainBody{}, fmt.Errorf("list facts: %w", err)
	}
	body := explainBody{Of: of, Sum: sumsOf(totals), AsOf: position, Facts: []factBody{}, query: q}
	if len(totals) == 1 {
		body.unit = events.Unit(totals[0].By[0])
	}
	if len(facts) > limit {
		facts = facts[:limit]
		body.Next = nextPage(path, p.values, cursor{strconv.Itoa(start + limit), position})
	}
	for _, f := range facts {
		body.Facts = append(body.Facts, newFactBody(f))
	}
	return body, nil
}

// plain turns the facts into a table for CSV.
func (b explainBody) plain() table { return plain(b.table()) }

// table lays the facts out as the table of a report.
func (b explainBody) table() reports.Table {
	var t reports.Table
	for _, key := range []string{"event_id", "job", "job_type", "sequence", "day", "side", "kind", "family", "task",
		"surface", "method", "location", "product", "place", "unit", "grade", "person"} {
		t.Columns = append(t.Columns, reports.Column{Key: key, Form: reports.FormText})
	}
	t.Columns = append(t.Columns, reports.Column{Key: "minutes", Form: reports.FormMinutes},
		reports.Column{Key: "quantity_milli", Form: reports.FormQuantity},
		reports.Column{Key: "cost_e4", Form: reports.FormMoney}, reports.Column{Key: "sign", Form: reports.FormCount})
	for _, f := range b.Facts {
		var row []reports.Cell
		for _, text := range []string{f.EventID, f.Job, f.JobType, strconv.FormatUint(f.Sequence, 10), f.Day, f.Side, f.Kind,
			f.Family, f.Task, f.Surface, f.Method, f.Location, f.Product, f.Place, f.Unit, f.Grade, f.Person} {
			row = append(row, reports.Cell{Text: text})
		}
		for _, n := range []int64{f.Minutes, f.QuantityMilli, f.CostE4, int64(f.Sign)} {
			row = append(row, reports.Cell{Number: n})
		}
		t.Rows = append(t.Rows, row)
	}
	return t
}
