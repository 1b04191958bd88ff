package reporting

import (
	"bufio"
	"context"
	"net/http"

	"github.com/danielgtaylor/huma/v2"

	"daysheet/events"
	"daysheet/services/httpd"
)

// Ledger is what the routes about the whole of a firm need.
type Ledger struct {
	// Firm returns a firm's settings (nil before the first) and listed products.
	Firm func(ctx context.Context, firm string) (*events.Settings, []events.Product, error)
	// Each calls visit with every commit of the firm after the sequence, in the
	// order of the log, up to the last one there was when it was called.
	Each func(ctx context.Context, firm string, after uint64, visit func(*events.Commit) error) error
}

type firmOut struct {
	Body struct {
		Firm     string           `json:"firm" doc:"Key of the firm that the token belongs to"`
		Settings *events.Settings `json:"settings" doc:"In force now; null before the first"`
		Products []events.Product `json:"products" doc:"Listed now"`
	}
}

type exportIn struct {
	After uint64 `query:"after" doc:"Only events recorded after this position"`
}

// MountLedger adds the firm's settings and the export of every event.
func MountLedger(server *httpd.Server, ledger Ledger) {
	firm := operation("get-firm", "/v1/firm", "firm", "The firm's settings and products",
		"The settings in force and the products that are listed now, by the firm's own events.")
	firm.Responses = map[string]*huma.Response{}
	huma.Register(server.API, firm, func(ctx context.Context, _ *struct{}) (*firmOut, error) {
		caller, _ := httpd.CallerFrom(ctx)
		settings, products, err := ledger.Firm(ctx, caller.Firm)
		if err != nil {
			return nil, err
		}
		out := &firmOut{}
		out.Body.Firm, out.Body.Settings, out.Body.Products = caller.Firm, settings, products
		return out, nil
	})
	firm.Responses["200"].Content[inJSON.mediaType()].Example = firmExample()

	export := operation("export-events", "/v1/events", "events", "Every event of the firm",
		"JSON lines of CloudEvents in the order of the log. Everything is there only where the answer ends without an "+
			"error: a connection that breaks off means that the end is missing.")
	export.Metadata["scope"] = httpd.Office // it tells of every person what reports tell nobody else of
	export.Errors = append(export.Errors, http.StatusServiceUnavailable)
	export.Responses = map[string]*huma.Response{"200": {
		Description: "One event on each line, in the JSON format of CloudEvents 1.0; nothing where there is no event",
		Content:     map[string]*huma.MediaType{typeLines: {Schema: text(), Example: linesExample}},
	}}
	huma.Register(server.API, export, func(ctx context.Context, in *exportIn) (*huma.StreamResponse, error) {
		caller, _ := httpd.CallerFrom(ctx)
		return &huma.StreamResponse{Body: func(h huma.Context) {
			h.SetHeader("Content-Type", typeLines)
			if err := writeEvents(h, ledger, caller.Firm, in.After); err != nil {
				// The status is out: only a broken connection can say that the end is missing.
				panic(http.ErrAbortHandler)
			}
		}}, nil
	})
}

// typeLines is what JSON lines are called in Content-Type.
const typeLines = "application/x-ndjson"

// linesExample shows an export. All of it is invented.
const linesExample = `{"data":{"job_type":"stairwell","title":"Stairwell, three floors"},"id":"invented-0001",` +
	`"source":"/phones/van-2","specversion":"1.0","subject":"stair-12","time":"2026-03-02T07:30:00+01:00",` +
	`"type":"daysheet.job.opened.v1"}
{"data":{"grade":"painter","minutes":90,"person":"anna","task":"protect-floor"},"id":"invented-0002",` +
	`"source":"/phones/van-2","specversion":"1.0","subject":"stair-12","time":"2026-03-02T09:00:00+01:00",` +
	`"type":"daysheet.hours.booked.v1"}
`

// firmExample shows a firm. All of it is invented.
func firmExample() any {
	var out firmOut
	out.Body.Firm = "north-yard"
	out.Body.Settings = &events.Settings{
		Name: "Invented Decorators", Currency: "EUR", TimeZone: "Europe/Vienna",
		JobTypes: []events.JobType{{JobType: "stairwell", Name: "Stairwell and joinery"}},
		Grades:   []events.Grade{{Grade: "painter", CostPerHourE4: 240_000}},
	}
	out.Body.Products = []events.Product{
		{Product: "wall-matt", Name: "Wall paint, matt", Unit: events.Litre, PriceE4: 97_300},
	}
	return out.Body
}

// writeEvents writes every event of a firm after the position, one on each line.
func writeEvents(h huma.Context, ledger Ledger, firm string, after uint64) error {
	out := bufio.NewWriterSize(h.BodyWriter(), 64<<10)
	err := ledger.Each(h.Context(), firm, after, func(c *events.Commit) error {
		for i := range c.Events {
			line, err := c.Events[i].MarshalJSON()
			if err != nil {
				return err
			}
			if _, err := out.Write(append(line, '\n')); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return err
	}
	return out.Flush()
}
