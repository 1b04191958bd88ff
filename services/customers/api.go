package customers

import (
	"context"
	"net/http"
	"strconv"
	"strings"

	"github.com/danielgtaylor/huma/v2"

	"daysheet/events"
	"daysheet/services/httpd"
)

type customerAsk struct {
	Customer string `path:"customer" doc:"Key of the customer"`
}

type listAsk struct {
	After string `query:"after" doc:"Only customers whose key is greater, for the next page"`
	Limit int    `query:"limit" minimum:"1" maximum:"500" default:"50" doc:"Customers on a page"`
}

type listOut struct {
	Body struct {
		Customers []customerBody `json:"customers" doc:"In the order of their keys"`
		Next      string         `json:"next,omitempty" doc:"Address of the next page"`
	}
}

type customerOut struct {
	ETag string `header:"ETag" doc:"Id of the last record"`
	Body customerBody
}

type putIn struct {
	Customer string `path:"customer" doc:"Key of the customer"`

	Match string `header:"If-Match" doc:"ETag of the answer that the change is based on; left out, the last one who sends wins"`
	Body  Details
}

// recordedBody says what became of a record.
type recordedBody struct {
	Customer string `json:"customer"`
	Event    string `json:"event" doc:"Id of the record that holds"`
	Sequence uint64 `json:"sequence,omitempty" doc:"Position in the log; left out where nothing changed"`
	Recorded bool   `json:"recorded" doc:"False where the same was recorded before"`
}

type putOut struct {
	Status int
	Body   recordedBody
}

type eraseIn struct {
	Customer string `path:"customer" doc:"Key of the customer"`

	Body struct {
		Reason string `json:"reason" minLength:"1" maxLength:"2000" doc:"Why, without personal data"`
	}
}

// erasedBody says that a customer is erased.
type erasedBody struct {
	Customer string `json:"customer"`
	Day      string `json:"day" doc:"Day on which the key was destroyed"`
	Reason   string `json:"reason"`
	Sequence uint64 `json:"sequence,omitempty" doc:"Position in the log; left out where the customer was erased before"`
}

type eraseOut struct{ Body erasedBody }

func operation(id, method, path, summary, about string, scope httpd.Scope) huma.Operation {
	return huma.Operation{
		OperationID: id, Method: method, Path: path, Tags: []string{"customers"}, Summary: summary, Description: about,
		Metadata: map[string]any{"scope": scope},
		Errors: []int{http.StatusUnauthorized, http.StatusForbidden, http.StatusNotFound, http.StatusConflict,
			http.StatusUnprocessableEntity, http.StatusTooManyRequests, http.StatusServiceUnavailable},
	}
}

func (d *Desk) mountAPI(api huma.API) {
	huma.Register(api, operation("list-customers", http.MethodGet, "/v1/customers", "List customers",
		"Every customer whom the firm has recorded or erased.", httpd.ScopeRead), d.list)
	huma.Register(api, operation("get-customer", http.MethodGet, "/v1/customers/{customer}", "Read a customer",
		"What is known of a customer, or why it cannot be read.", httpd.ScopeRead),
		func(ctx context.Context, in *customerAsk) (*customerOut, error) {
			caller, err := httpd.RequireCaller(ctx)
			if err != nil {
				return nil, err
			}
			body, err := d.find(ctx, caller.Firm, in.Customer)
			return &customerOut{strconv.Quote(body.Event), body}, err
		})
	put := operation("put-customer", http.MethodPut, "/v1/customers/{customer}", "Record a customer",
		"Records the whole of what is known now, sealed with the customer's key. The key of the customer stays readable "+
			"for ever: use a number, not a name.", httpd.Office)
	put.Errors = append(put.Errors, http.StatusPreconditionFailed)
	huma.Register(api, put, func(ctx context.Context, in *putIn) (*putOut, error) {
		caller, err := httpd.RequireCaller(ctx)
		if err != nil {
			return nil, err
		}
		body, err := d.put(ctx, caller, in.Customer, in.Body, strings.Trim(in.Match, `"`))
		status := http.StatusOK
		if body.Recorded {
			status = http.StatusCreated
		}
		return &putOut{status, body}, err
	})
	huma.Register(api, operation("erase-customer", http.MethodPost, "/v1/customers/{customer}/erase", "Erase a customer",
		"Destroys the key of the customer for good. Everything that was sealed with it is unreadable from then on, in "+
			"every copy of the log; jobs and figures stay as they are. It cannot be undone.", httpd.ScopeAdmin),
		func(ctx context.Context, in *eraseIn) (*eraseOut, error) {
			caller, err := httpd.RequireCaller(ctx)
			if err != nil {
				return nil, err
			}
			body, err := d.erase(ctx, caller, in.Customer, in.Body.Reason)
			return &eraseOut{body}, err
		})
	d.mountExport(api)
}

// list answers for a page of customers.
func (d *Desk) list(ctx context.Context, in *listAsk) (*listOut, error) {
	caller, err := httpd.RequireCaller(ctx)
	if err != nil {
		return nil, err
	}
	if in.After != "" && !events.ValidToken(in.After) {
		return nil, events.Refuse("after", in.After, "%s", events.TokenRule)
	}
	all, err := d.all(ctx, caller.Firm)
	if err != nil {
		return nil, err
	}
	out := &listOut{}
	out.Body.Customers = []customerBody{}
	for _, c := range all {
		if c.Customer <= in.After {
			continue
		}
		if n := len(out.Body.Customers); n == in.Limit {
			out.Body.Next = "/v1/customers?after=" + out.Body.Customers[n-1].Customer + "&limit=" + strconv.Itoa(in.Limit)
			break
		}
		body, err := d.show(caller.Firm, c)
		if err != nil {
			return nil, err
		}
		out.Body.Customers = append(out.Body.Customers, body)
	}
	return out, nil
}
