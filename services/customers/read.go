package customers

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/services/sealing"
)

// The states of a customer.
const (
	stateKnown  = "known"  // recorded, and can be read
	stateErased = "erased" // the key was destroyed
	stateSealed = "sealed" // recorded, and cannot be read: the key is lost, or the record damaged
	stateSigner = "signer" // never recorded; somebody signed, and that is sealed
)

// customerBody is a customer as somebody may see it who may read.
type customerBody struct {
	Customer string   `json:"customer" doc:"Key of the customer"`
	State    string   `json:"state" enum:"known,erased,sealed,signer" doc:"known can be read; of an erased one the key was destroyed; of a sealed one it is lost; a signer was never recorded and has only signed"`
	Details  *Details `json:"details,omitempty" doc:"Where the state is known"`
	Recorded string   `json:"recorded,omitempty" doc:"Day of the last record"`
	Erased   string   `json:"erased,omitempty" doc:"Day on which the key was destroyed"`
	Reason   string   `json:"reason,omitempty" doc:"Of the erasure"`
	Says     string   `json:"says,omitempty" doc:"Why nothing can be read, for people"`
	Event    string   `json:"event,omitempty" doc:"Id of the last record; the ETag"`
}

// show opens a customer. Of what cannot be opened it says why.
func (d *Desk) show(firm string, c events.Customer) (customerBody, error) {
	body := customerBody{Customer: c.Customer, Recorded: string(c.Recorded), Event: c.Event, Reason: c.Reason}
	err := d.erasedError(firm, c)
	if err == nil {
		details := &Details{}
		if err = d.deps.Keys.Open(placeOf(firm, c), c.Sealed, details); err == nil {
			body.State, body.Details = stateKnown, details
			return body, nil
		}
	}
	sentence, ok := sealing.Unreadable(err)
	if !ok {
		return body, err
	}
	body.State, body.Says = stateSealed, sentence
	if erased := (*sealing.ErasedError)(nil); errors.As(err, &erased) {
		body.State, body.Erased = stateErased, string(erased.Day)
	}
	return body, nil
}

// erasedError returns that the log says of a customer that the key was destroyed; nil
// where it does not. A key that is there all the same is destroyed first.
func (d *Desk) erasedError(firm string, c events.Customer) error {
	if c.Erased == "" {
		return nil
	}
	if has, err := d.deps.Keys.Has(firm, c.Customer); err != nil || has {
		if err = cmp.Or(err, d.deps.Keys.Erase(firm, c.Customer, c.Erased)); err != nil {
			return err
		}
	}
	return &sealing.ErasedError{Customer: c.Customer, Day: c.Erased}
}

func placeOf(firm string, c events.Customer) sealing.Place {
	return sealing.Place{Firm: firm, Customer: c.Customer, Job: events.FirmJob, Event: c.Event, Part: sealing.PartCustomer}
}

// lookUp returns a customer as the log has it, with what was just recorded.
func (d *Desk) lookUp(ctx context.Context, firm, key string) (events.Customer, bool, error) {
	d.deps.Position(firm)
	c, ok, err := d.deps.Customer(ctx, firm, key)
	if err != nil {
		return c, false, fmt.Errorf("read customer %s: %w", key, err)
	}
	return c, ok, nil
}

// find returns one customer. Who has only signed is one too.
func (d *Desk) find(ctx context.Context, firm, key string) (customerBody, error) {
	if !events.ValidToken(key) {
		return customerBody{}, events.Refuse("customer", key, "%s", events.TokenRule)
	}
	c, ok, err := d.lookUp(ctx, firm, key)
	if err != nil {
		return customerBody{}, err
	}
	if ok {
		return d.show(firm, c)
	}
	erased, err := d.deps.Keys.ErasureOf(firm, key)
	if err != nil {
		return customerBody{}, err
	}
	if erased != nil { // and not recorded yet
		return d.show(firm, events.Customer{Customer: key, Erased: erased.Day})
	}
	has, err := d.deps.Keys.Has(firm, key)
	if err != nil {
		return customerBody{}, err
	}
	if !has {
		return customerBody{}, &events.Error{Code: events.NotFound, Field: "customer", Value: fmt.Sprintf("%q", key),
			Rule: "no customer was recorded under this key"}
	}
	return customerBody{Customer: key, State: stateSigner,
		Says: "nothing is recorded of this customer; a name and a signature are sealed with the key"}, nil
}

// all returns every customer, in the order of their keys.
func (d *Desk) all(ctx context.Context, firm string) ([]events.Customer, error) {
	d.deps.Position(firm)
	all, err := d.deps.Customers(ctx, firm)
	if err != nil {
		return nil, fmt.Errorf("read customers: %w", err)
	}
	slices.SortFunc(all, func(a, b events.Customer) int { return cmp.Compare(a.Customer, b.Customer) })
	return all, nil
}

// Names returns the customers whose names can be read, by their keys.
func (d *Desk) Names(ctx context.Context, firm string) (map[string]string, error) {
	all, err := d.all(ctx, firm)
	if err != nil {
		return nil, err
	}
	names := map[string]string{}
	for _, c := range all {
		body, err := d.show(firm, c)
		if err != nil {
			return nil, err
		}
		if body.Details != nil {
			names[c.Customer] = body.Details.Name
		}
	}
	return names, nil
}

// Name returns what to show of a customer beside the key: the name, or a sentence
// where it cannot be read. It is empty where nothing is recorded.
func (d *Desk) Name(ctx context.Context, firm, key string) (string, error) {
	c, ok, err := d.deps.Customer(ctx, firm, key)
	if err != nil || !ok {
		return "", err
	}
	body, err := d.show(firm, c)
	if err != nil {
		return "", err
	}
	if body.Details != nil {
		return body.Details.Name, nil
	}
	return body.Says, nil
}

// Opened is a customer who was opened, or what stands in the way.
type Opened struct {
	Details
	Erased events.Day // day on which the key was destroyed; empty where it was not
	Says   string     // why nothing can be read; empty where something can
}

// Open opens a customer as the firm's events had it at some position in the log. An
// erasure counts from when it was made, whatever the position.
func (d *Desk) Open(firm string, c events.Customer) (Opened, error) {
	body, err := d.show(firm, c)
	if err != nil {
		return Opened{}, fmt.Errorf("open customer %s: %w", c.Customer, err)
	}
	opened := Opened{Erased: events.Day(body.Erased), Says: body.Says}
	if body.Details != nil {
		opened.Details = *body.Details
	}
	return opened, nil
}

// jobsOf returns the jobs that name a customer, in the order of their keys.
func (d *Desk) jobsOf(ctx context.Context, firm, customer string) ([]reports.JobRow, error) {
	const step = 500
	position := d.deps.Position(firm)
	var found []reports.JobRow
	for after := ""; ; {
		rows, err := d.deps.Jobs(ctx, reports.JobQuery{Firm: firm, AsOf: position, After: after, Limit: step})
		if err != nil {
			return nil, fmt.Errorf("list jobs of customer %s: %w", customer, err)
		}
		for _, r := range rows {
			if r.Customer == customer || SignerOf(r.Job) == customer {
				found = append(found, r)
			}
		}
		if len(rows) < step {
			return found, nil
		}
		after = rows[len(rows)-1].Job
	}
}

// SignerOf returns the key that a signature on a job is sealed under where the job
// names no customer.
func SignerOf(job string) string {
	const before = "signer-"
	const most = 64 // of a key
	return before + strings.TrimRight(job[:min(len(job), most-len(before))], "-")
}
