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
	huma.Register(server.API, huma.Operation{
		OperationID: "get-firm", Method: http.MethodGet, Path: "/v1/firm", Summary: "The firm's settings and products",
		Metadata: map[string]any{"scope": httpd.ScopeRead},
	}, func(ctx context.Context, _ *struct{}) (*firmOut, error) {
		caller, _ := httpd.CallerFrom(ctx)
		settings, products, err := ledger.Firm(ctx, caller.Firm)
		if err != nil {
			return nil, err
		}
		out := &firmOut{}
		out.Body.Firm, out.Body.Settings, out.Body.Products = caller.Firm, settings, products
		return out, nil
	})
	huma.Register(server.API, huma.Operation{
		OperationID: "export-events", Method: http.MethodGet, Path: "/v1/events", Summary: "Every event of the firm",
		Description: "JSON lines of CloudEvents in the order of the log. " +
			"Everything is there only where the answer ends without an error.",
		Metadata: map[string]any{"scope": httpd.ScopeRead},
	}, func(ctx context.Context, in *exportIn) (*huma.StreamResponse, error) {
		caller, _ := httpd.CallerFrom(ctx)
		return &huma.StreamResponse{Body: func(h huma.Context) {
			h.SetHeader("Content-Type", "application/x-ndjson")
			if err := export(h, ledger, caller.Firm, in.After); err != nil {
				// The status is out: only a broken connection can say that the end is missing.
				panic(http.ErrAbortHandler)
			}
		}}, nil
	})
}

func export(h huma.Context, ledger Ledger, firm string, after uint64) error {
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
