package reporting

import (
	"context"
	"fmt"
	"net/http"
	"net/url"
	"reflect"
	"strings"

	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/adapters/humagin"

	"daysheet/services/httpd"
)

// address is the address of a request. The query is read by params, so that
// pages and API refuse alike.
type address struct{ url url.URL }

// Resolve keeps the address.
func (a *address) Resolve(ctx huma.Context) []error {
	a.url = ctx.URL()
	return nil
}

func (a *address) params() *params { return readParams(a.url.Query()) }

// ask is the input of an operation that can answer in several media.
type ask struct {
	address
	Accept string `header:"Accept" hidden:"true"`
	Match  string `header:"If-None-Match" doc:"ETag of an answer that the caller holds"`
}

func firmOf(ctx context.Context) string {
	caller, _ := httpd.CallerFrom(ctx)
	return caller.Firm
}

// operation describes a route that reads.
func operation(id, path, tag, summary, about string, parameters ...*huma.Param) huma.Operation {
	return huma.Operation{
		OperationID: id, Method: http.MethodGet, Path: path, Tags: []string{tag}, Summary: summary, Description: about,
		Parameters: parameters, Metadata: map[string]any{"scope": httpd.ScopeRead},
		Errors: []int{http.StatusUnauthorized, http.StatusForbidden, http.StatusUnprocessableEntity,
			http.StatusTooManyRequests},
	}
}

// hide makes another way to reach an operation, which is described once.
func hide(op huma.Operation, suffix medium) huma.Operation {
	op.OperationID += "-" + string(suffix)
	op.Path += "." + string(suffix)
	op.Hidden = true
	return op
}

// queryParam describes a parameter of an address.
func queryParam(name, about string, schema *huma.Schema) *huma.Param {
	return &huma.Param{Name: name, In: "query", Description: about, Schema: schema}
}

func text() *huma.Schema  { return &huma.Schema{Type: huma.TypeString} }
func day() *huma.Schema   { return &huma.Schema{Type: huma.TypeString, Format: "date"} }
func whole() *huma.Schema { return &huma.Schema{Type: huma.TypeInteger, Format: "int64"} }

func oneOf(values ...string) *huma.Schema {
	s := text()
	for _, v := range values {
		s.Enum = append(s.Enum, v)
	}
	return s
}

// Parameters that several operations take.
func asOfParam() *huma.Param {
	return queryParam("as_of", "Answer as it was known at this position in the log; 0 or nothing for now", whole())
}

func pageParams() []*huma.Param {
	least, most := 1.0, float64(pageMost)
	limit := &huma.Schema{Type: huma.TypeInteger, Minimum: &least, Maximum: &most, Default: pageUsual}
	return []*huma.Param{
		queryParam("after", "Where the page starts, from the link to the next page", text()),
		queryParam("limit", "Items on a page", limit),
	}
}

func formatParams() []*huma.Param {
	return []*huma.Param{
		queryParam("format", "How to answer, instead of Accept", oneOf(media...)),
		queryParam("bom", "1 puts a byte order mark before CSV, for spreadsheets", oneOf("1")),
	}
}

// valuesParam describes how CSV of reports writes its numbers.
func valuesParam() *huma.Param {
	return queryParam("values", "decimal writes the numbers of CSV for spreadsheets, with a point: hours with up to four "+
		"places (columns _hours instead of _minutes), money in whole units (_eur, or what the currency is, instead of "+
		"_e4), quantities in whole units (without _milli), shares in per cent (_percent instead of _basis_points). "+
		"comma does the same with a comma before decimals, and semicolons between the columns. "+
		"Without it numbers are whole and exact, as in JSON", oneOf(valuesDecimal, valuesComma))
}

// orPage answers a refusal with a page where the request accepts one.
func orPage(handle answerer) answerer {
	return func(ctx context.Context, in *ask) (*huma.StreamResponse, error) {
		answer, err := handle(ctx, in)
		if err == nil || !strings.Contains(in.Accept, inHTML.mediaType()) {
			return answer, err
		}
		return &huma.StreamResponse{Body: func(ctx huma.Context) { httpd.Abort(humagin.Unwrap(ctx), err) }}, nil
	}
}

// answers describes an answer that can be had in several media.
func answers(api huma.API, op *huma.Operation, body any) {
	schema := api.OpenAPI().Components.Schemas.Schema(reflect.TypeOf(body), true, op.OperationID+"Answer")
	op.Responses = map[string]*huma.Response{
		"200": {
			Description: "The answer",
			Content: map[string]*huma.MediaType{
				inJSON.mediaType(): {Schema: schema},
				inCSV.mediaType():  {Schema: text()},
				inHTML.mediaType(): {Schema: text()},
			},
			Headers: map[string]*huma.Param{
				"ETag":                {Schema: text(), Description: "Names this answer"},
				"Content-Disposition": {Schema: text(), Description: "With CSV: a name to save it under"},
			},
		},
		"304": {Description: "The answer that the caller holds is still good"},
	}
}

// output is a whole answer on its way out.
type output struct {
	medium medium
	body   []byte
	tag    string // ETag; empty for none
	next   string // address of the next page
	file   string // what CSV is saved as, without its ending
}

// stream hands the output to huma, or says that the caller has it already.
func (o output) stream(match string) *huma.StreamResponse {
	return &huma.StreamResponse{Body: func(ctx huma.Context) {
		ctx.SetHeader("Vary", "Accept")
		ctx.SetHeader("Cache-Control", "private, no-cache")
		if link := linkNext(o.next); link != "" {
			ctx.SetHeader("Link", link)
		}
		if o.tag != "" {
			ctx.SetHeader("ETag", o.tag)
			if matches(match, o.tag) {
				ctx.SetStatus(http.StatusNotModified)
				return
			}
		}
		ctx.SetHeader("Content-Type", o.medium.contentType())
		if o.medium == inCSV {
			ctx.SetHeader("Content-Disposition", `attachment; filename="`+o.file+`.csv"`)
		}
		ctx.SetStatus(http.StatusOK)
		if _, err := ctx.BodyWriter().Write(o.body); err != nil {
			_ = humagin.Unwrap(ctx).Error(fmt.Errorf("write answer: %w", err)) // hands it to the access log and returns it again
		}
	}}
}

// matches reports whether a header If-None-Match names the tag (RFC 9110
// section 13.1.2: compared weakly).
func matches(header, tag string) bool {
	for _, candidate := range strings.Split(header, ",") {
		candidate = strings.TrimSpace(candidate)
		if candidate == "*" || strings.TrimPrefix(candidate, "W/") == tag {
			return true
		}
	}
	return false
}
