package quoting

import (
	"context"
	"net/http"

	"github.com/danielgtaylor/huma/v2"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/services/httpd"
)

// quoteBody is a priced take-off.
type quoteBody struct {
	AsOf         uint64            `json:"as_of" doc:"Position in the log of the history that it is priced from"`
	RateBook     string            `json:"rate_book" doc:"Revision of the rate book; empty where there is none"`
	Jobs         int               `json:"jobs" doc:"Finished jobs that its rates rest on"`
	MeasuredBy   string            `json:"measured_by" doc:"Rule that openings were measured by"`
	Minutes      minutesBody       `json:"minutes" doc:"Of the whole job; safe minutes are not a sum of safe lines"`
	Cost         costBody          `json:"cost"`
	Lines        []lineBody        `json:"lines"`
	Consumables  []useBody         `json:"consumables"`
	Alternatives []alternativeBody `json:"alternatives" doc:"What was asked under what_if"`
	Estimate     events.Estimate   `json:"estimate" doc:"The data of the estimate issued event that this quote makes"`
}

type minutesBody struct {
	Typical  int64 `json:"typical" doc:"Half of such jobs take less"`
	Expected int64 `json:"expected" doc:"Breaks even over many jobs; the price is made from it"`
	Safe80   int64 `json:"safe80" doc:"Four of five take less"`
	Safe90   int64 `json:"safe90" doc:"Nine of ten take less"`
}

type costBody struct {
	LabourE4   int64 `json:"labour_e4"`
	MaterialE4 int64 `json:"material_e4"`
	OverheadE4 int64 `json:"overhead_e4"`
	CostE4     int64 `json:"cost_e4"`
	PriceE4    int64 `json:"price_e4" doc:"By the firm's pricing, before add-ons"`
	NetE4      int64 `json:"net_e4" doc:"With add-ons, net of tax"`
	VATE4      int64 `json:"vat_e4"`
	GrossE4    int64 `json:"gross_e4"`
	SafeNetE4  int64 `json:"safe_net_e4" doc:"The net price at the safe minutes (P80)"`
}

type lineBody struct {
	Task          string `json:"task"`
	Surface       string `json:"surface,omitempty"`
	Method        string `json:"method,omitempty"`
	Location      string `json:"location,omitempty"`
	QuantityMilli int64  `json:"quantity_milli"`
	Unit          string `json:"unit"`
	BookMilli     int64  `json:"book_minutes_per_unit_milli" doc:"0 where the book has no rate"`
	RateMilli     int64  `json:"rate_minutes_per_unit_milli"`
	Typical       int64  `json:"typical_minutes"`
	Expected      int64  `json:"expected_minutes"`
	Safe80        int64  `json:"safe80_minutes"`
	LabourE4      int64  `json:"labour_e4"`
}

type useBody struct {
	Product     string `json:"product"`
	Task        string `json:"task"`
	Unit        string `json:"unit"`
	UsedMilli   int64  `json:"used_milli" doc:"Waste included; what the job is costed at"`
	Packs       int64  `json:"packs" doc:"Whole packs to buy; 0 where it is sold by any amount"`
	BoughtMilli int64  `json:"bought_milli"`
	CostE4      int64  `json:"cost_e4" doc:"Of what is used"`
	BuyE4       int64  `json:"buy_e4" doc:"Of what is bought"`
}

type alternativeBody struct {
	Name    string      `json:"name"`
	Minutes minutesBody `json:"minutes"`
	CostE4  int64       `json:"cost_e4"`
	NetE4   int64       `json:"net_e4"`
}

func minutesOf(q reports.Quote) minutesBody {
	return minutesBody{q.Typical, q.Expected, q.Safe80, q.Safe90}
}

func newQuoteBody(h history, q reports.Quote, alternatives []reports.Quote) quoteBody {
	body := quoteBody{AsOf: h.filter.AsOf, RateBook: q.Revision, Jobs: q.Jobs, MeasuredBy: q.Rule, Minutes: minutesOf(q),
		Cost: costBody{q.LabourE4, q.MaterialE4, q.OverheadE4, q.CostE4, q.PriceE4, q.NetE4, q.VATE4, q.GrossE4,
			q.SafeNetE4},
		Lines: []lineBody{}, Consumables: []useBody{}, Alternatives: []alternativeBody{},
		Estimate: q.Estimate(h.filter.Today)}
	for _, l := range q.Lines {
		body.Lines = append(body.Lines, lineBody{l.Task, l.Surface, l.Method, l.Location, l.QuantityMilli, string(l.Unit),
			l.BookMilli, l.RateMilli, l.Typical, l.Expected, l.Safe80, l.LabourE4})
	}
	for _, u := range q.Uses {
		body.Consumables = append(body.Consumables, useBody{u.Product, u.Task, string(u.Unit), u.UsedMilli, u.Packs,
			u.BoughtMilli, u.CostE4, u.BuyE4})
	}
	for i, o := range alternatives {
		body.Alternatives = append(body.Alternatives, alternativeBody{q.TakeOff.WhatIf[i].Name, minutesOf(o), o.CostE4,
			o.NetE4})
	}
	return body
}

type quoteInput struct{ Body reports.TakeOff }

type quoteOutput struct{ Body quoteBody }

type issueInput struct {
	Body struct {
		Job     string          `json:"job" doc:"Key of the job; it must be opened"`
		TakeOff reports.TakeOff `json:"take_off"`
	}
}

type issueOutput struct {
	Body struct {
		Receipt events.Receipt `json:"receipt"`
		Quote   quoteBody      `json:"quote"`
	}
}

// refusals are the problems that the routes answer with.
var refusals = []int{http.StatusBadRequest, http.StatusUnauthorized, http.StatusForbidden,
	http.StatusUnprocessableEntity,
	http.StatusTooManyRequests, http.StatusServiceUnavailable}

func (d *desk) mountQuotes(api huma.API) {
	huma.Register(api, huma.Operation{
		OperationID: "quote", Method: http.MethodPost, Path: "/v1/quotes", Summary: "Price a take-off",
		Tags: []string{"quotes"},
		Description: "Prices work from the firm's history and rate book: typical, expected and safe hours, consumables in " +
			"whole packs, cost, price and tax. Nothing is recorded.",
		Metadata: map[string]any{"scope": httpd.ScopeRead}, Errors: refusals,
	}, func(ctx context.Context, in *quoteInput) (*quoteOutput, error) {
		caller, err := httpd.RequireCaller(ctx)
		if err != nil {
			return nil, err
		}
		body, _, err := d.quote(ctx, caller.Firm, in.Body)
		return &quoteOutput{body}, err
	})
	huma.Register(api, huma.Operation{
		OperationID: "issue-quote", Method: http.MethodPost, Path: "/v1/quotes/issue", Summary: "Price a take-off and " +
			"issue it",
		Tags: []string{"quotes"}, DefaultStatus: http.StatusCreated,
		Description: "Prices the work and records it on the job as an estimate issued, in one step.",
		Metadata:    map[string]any{"scope": httpd.Office}, Errors: append(refusals, http.StatusNotFound),
	}, func(ctx context.Context, in *issueInput) (*issueOutput, error) {
		caller, err := httpd.RequireCaller(ctx)
		if err != nil {
			return nil, err
		}
		receipt, body, err := d.issue(ctx, caller, in.Body.Job, "", in.Body.TakeOff)
		if err != nil {
			return nil, err
		}
		out := &issueOutput{}
		out.Body.Receipt, out.Body.Quote = receipt, body
		return out, nil
	})
}

func (d *desk) quote(ctx context.Context, firm string, t reports.TakeOff) (quoteBody, reports.Quote, error) {
	h, err := d.history(ctx, firm, 0)
	if err != nil {
		return quoteBody{}, reports.Quote{}, err
	}
	q, err := reports.NewQuote(h.filter, h.answer, t)
	if err != nil {
		return quoteBody{}, q, err
	}
	alternatives, err := reports.Alternatives(h.filter, h.answer, t)
	if err != nil {
		return quoteBody{}, q, err
	}
	return newQuoteBody(h, q, alternatives), q, nil
}

// issue records the estimate that a quote makes, under the id of the form that it
// comes from; under a new one where id is empty.
func (d *desk) issue(ctx context.Context, caller httpd.Caller, job, id string, t reports.TakeOff) (events.Receipt,
	quoteBody, error) {
	if !events.ValidToken(job) || job == events.FirmJob {
		return events.Receipt{}, quoteBody{}, events.Refuse("job", job, events.TokenRule)
	}
	body, _, err := d.quote(ctx, caller.Firm, t)
	if err != nil {
		return events.Receipt{}, quoteBody{}, err
	}
	receipt, err := d.record(ctx, caller, job, id, events.EstimateIssued, body.Estimate)
	return receipt, body, err
}
