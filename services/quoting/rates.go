package quoting

import (
	"cmp"
	"context"
	"fmt"
	"net/http"
	"slices"

	"github.com/danielgtaylor/huma/v2"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/services/httpd"
)

// proposalBody is a rate that the history proposes. Rates are thousandths of a
// minute for one unit.
type proposalBody struct {
	Task        string `json:"task"`
	Surface     string `json:"surface,omitempty"`
	Method      string `json:"method,omitempty"`
	Unit        string `json:"unit"`
	Book        int64  `json:"book_minutes_per_unit_milli" doc:"0 where the book has no rate"`
	Proposed    int64  `json:"proposed_minutes_per_unit_milli"`
	Low         int64  `json:"low_minutes_per_unit_milli"`
	High        int64  `json:"high_minutes_per_unit_milli"`
	Jobs        int64  `json:"jobs" doc:"Finished jobs that it rests on"`
	Credibility int64  `json:"credibility_basis_points"`
	Sentence    string `json:"sentence"`
	Rejected    string `json:"rejected,omitempty" doc:"Why it was not taken before; much the same was proposed then"`
	Facts       string `json:"facts" doc:"Address of the hours behind it"`
}

type proposalsBody struct {
	Evidence  uint64         `json:"evidence" doc:"Position in the log of the history; name it when you accept or reject"`
	RateBook  string         `json:"rate_book" doc:"Revision in force; empty where there is none"`
	Proposals []proposalBody `json:"proposals"`
	Report    string         `json:"report" doc:"Address of rates with excluded rows and entries to check"`
}

type proposalsOutput struct{ Body proposalsBody }

// rateKey names a rate of the book.
type rateKey struct {
	Task    string `json:"task"`
	Surface string `json:"surface,omitempty"`
	Method  string `json:"method,omitempty"`
}

type acceptance struct {
	Evidence      int64     `json:"evidence" doc:"Position that the proposals were made from" minimum:"1"`
	Revision      string    `json:"revision" doc:"Name of the new revision"`
	EffectiveFrom string    `json:"effective_from,omitempty" doc:"First day on which quotes use it; today if not given"`
	Reason        string    `json:"reason,omitempty" doc:"Why the book is revised"`
	Rates         []rateKey `json:"rates,omitempty" doc:"Which to take; all that were not turned down before if not given"`
}

type rejection struct {
	Task     string `json:"task"`
	Surface  string `json:"surface,omitempty"`
	Method   string `json:"method,omitempty"`
	Evidence int64  `json:"evidence" doc:"Position that the proposals were made from" minimum:"1"`
	Reason   string `json:"reason" doc:"Why it is not taken" minLength:"1"`
}

type acceptInput struct{ Body acceptance }
type rejectInput struct{ Body rejection }

type decidedOutput struct {
	Body struct {
		Receipt events.Receipt `json:"receipt"`
		Taken   int            `json:"taken" doc:"Rates that changed"`
	}
}

func (d *desk) mountRates(api huma.API) {
	huma.Register(api, huma.Operation{
		OperationID: "rate-proposals", Method: http.MethodGet, Path: "/v1/rates/proposals", Tags: []string{"rates"},
		Summary:     "Rates that the history proposes",
		Description: "Nothing changes by asking. Name the evidence when you accept or reject.",
		Metadata:    map[string]any{"scope": httpd.ScopeRead}, Errors: refusals,
	}, func(ctx context.Context, _ *struct{}) (*proposalsOutput, error) {
		caller, err := httpd.RequireCaller(ctx)
		if err != nil {
			return nil, err
		}
		body, err := d.proposals(ctx, caller.Firm)
		return &proposalsOutput{body}, err
	})
	huma.Register(api, huma.Operation{
		OperationID: "accept-rates", Method: http.MethodPost, Path: "/v1/rates/proposals/accept", Tags: []string{"rates"},
		Summary: "Take proposals over into a new revision of the book", DefaultStatus: http.StatusCreated,
		Metadata: map[string]any{"scope": httpd.Office}, Errors: refusals,
	}, func(ctx context.Context, in *acceptInput) (*decidedOutput, error) {
		caller, err := httpd.RequireCaller(ctx)
		if err != nil {
			return nil, err
		}
		return d.accept(ctx, caller, in.Body)
	})
	huma.Register(api, huma.Operation{
		OperationID: "reject-rate", Method: http.MethodPost, Path: "/v1/rates/proposals/reject", Tags: []string{"rates"},
		Summary: "Turn a proposal down, with the reason", DefaultStatus: http.StatusCreated,
		Metadata: map[string]any{"scope": httpd.Office}, Errors: refusals,
	}, func(ctx context.Context, in *rejectInput) (*decidedOutput, error) {
		caller, err := httpd.RequireCaller(ctx)
		if err != nil {
			return nil, err
		}
		return d.reject(ctx, caller, in.Body)
	})
}

func (d *desk) proposals(ctx context.Context, firm string) (proposalsBody, error) {
	h, err := d.history(ctx, firm, 0)
	if err != nil {
		return proposalsBody{}, err
	}
	all, err := reports.RateProposals(h.filter, h.answer)
	if err != nil {
		return proposalsBody{}, err
	}
	body := proposalsBody{Evidence: h.filter.AsOf, Proposals: []proposalBody{},
		Report: fmt.Sprintf("/v1/reports/rates?as_of=%d", h.filter.AsOf)}
	if book := h.book(); book != nil {
		body.RateBook = book.Revision
	}
	for _, p := range all {
		b := proposalBody{p.Task, p.Surface, p.Method, string(p.Unit), p.BookMilli, p.ProposedMilli, p.LowMilli, p.HighMilli,
			p.Jobs, p.CredibilityPoints, p.Sentence.String(), "",
			fmt.Sprintf("/v1/explain?task=%s&kind=labour&side=actual&finished_from=1970-01-01&of=minutes&as_of=%d", p.Task,
				h.filter.AsOf)}
		if p.Rejected != nil {
			b.Rejected = p.Rejected.Reason
		}
		body.Proposals = append(body.Proposals, b)
	}
	return body, nil
}

// book returns the revision in force today.
func (h history) book() *events.RateBook { return h.answer.Names.BookOn(h.filter.Today) }

// accept makes the proposals again from their evidence, so that what is taken is
// what was seen, and records them as a revision of the book in force.
func (d *desk) accept(ctx context.Context, caller httpd.Caller, in acceptance) (*decidedOutput, error) {
	h, err := d.history(ctx, caller.Firm, uint64(max(in.Evidence, 0)))
	if err != nil {
		return nil, err
	}
	all, err := reports.RateProposals(h.filter, h.answer)
	if err != nil {
		return nil, err
	}
	var taken []reports.RateProposal
	for _, key := range in.Rates {
		i := slices.IndexFunc(all, func(p reports.RateProposal) bool { return rateKey{p.Task, p.Surface, p.Method} == key })
		if i < 0 {
			return nil, events.Refuse("rates", key.Task, "no such rate is proposed at position %d", h.filter.AsOf)
		}
		taken = append(taken, all[i])
	}
	if len(in.Rates) == 0 {
		taken = slices.DeleteFunc(all, func(p reports.RateProposal) bool { return p.Rejected != nil })
	}
	if len(taken) == 0 {
		return nil, events.Refuse("rates", 0, "nothing is proposed at position %d", h.filter.AsOf)
	}
	for _, b := range h.answer.Names.RateBooks {
		if b.Revision == in.Revision {
			return nil, events.Refuse("revision", in.Revision, "a revision has this name already")
		}
	}
	book := reports.RevisedBook(h.book(), taken)
	book.Revision, book.Evidence = in.Revision, int64(h.filter.AsOf)
	book.EffectiveFrom = cmp.Or(events.Day(in.EffectiveFrom), h.filter.Today)
	book.Reason = cmp.Or(in.Reason, "Taken over from the firm's own jobs")
	out := &decidedOutput{}
	out.Body.Taken = len(taken)
	out.Body.Receipt, err = d.record(ctx, caller, events.FirmJob, "", events.RateBookRevised, &book)
	return out, err
}

// reject records that a proposal is not taken.
func (d *desk) reject(ctx context.Context, caller httpd.Caller, in rejection) (*decidedOutput, error) {
	h, err := d.history(ctx, caller.Firm, uint64(max(in.Evidence, 0)))
	if err != nil {
		return nil, err
	}
	all, err := reports.RateProposals(h.filter, h.answer)
	if err != nil {
		return nil, err
	}
	key := rateKey{in.Task, in.Surface, in.Method}
	i := slices.IndexFunc(all, func(p reports.RateProposal) bool {
		return rateKey{p.Task, p.Surface, p.Method} == key
	})
	if i < 0 {
		return nil, events.Refuse("task", in.Task, "no such rate is proposed at position %d", h.filter.AsOf)
	}
	out := &decidedOutput{}
	out.Body.Receipt, err = d.record(ctx, caller, events.FirmJob, "", events.RateRejected, &events.RateRejection{
		Task: in.Task, Surface: in.Surface, Method: in.Method, MinutesMilli: all[i].ProposedMilli,
		Evidence: int64(h.filter.AsOf), Reason: in.Reason,
	})
	return out, err
}
