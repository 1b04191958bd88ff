package intake

import (
	"context"
	"fmt"
	"net/http"

	"github.com/danielgtaylor/huma/v2"
	"github.com/prometheus/client_golang/prometheus"

	"daysheet/events"
	"daysheet/services/httpd"
)

// path is where events are sent to.
const path = "/v1/events"

// intake is the handler's state.
type intake struct {
	recorder Recorder
	commits  Commits
	appended *prometheus.CounterVec
}

// submission is the request. The body is read by [decode], once.
type submission struct {
	ContentType string `header:"Content-Type" hidden:"true"`
	RawBody     []byte
}

// answer is what a request that was taken whole is answered with.
type answer struct {
	Status int
	Body   receiptList
}

type receiptList struct {
	Receipts []events.Receipt `json:"receipts" doc:"One for each event, in the order of the request"`
}

// ContentType is the same whatever the request accepts: receipts are no events.
func (receiptList) ContentType(string) string { return "application/json" }

// Mount adds the intake to the server. It fails if it was added before.
func Mount(server *httpd.Server, recorder Recorder, commits Commits) error {
	in := &intake{recorder: recorder, commits: commits, appended: prometheus.NewCounterVec(prometheus.CounterOpts{
		Name: "ledger_events_appended_total",
		Help: "Events recorded, without those that were recorded before.",
	}, []string{"type"})}
	if err := server.Registry.Register(in.appended); err != nil {
		return fmt.Errorf("mount intake: %w", err)
	}
	for _, t := range events.Types() {
		in.appended.WithLabelValues(string(t)) // so that each is there from the start, at 0
	}
	op := operation(server.API.OpenAPI().Components.Schemas)
	huma.Register(server.API, op, in.take)
	// huma documents a raw body as bytes of its own; ours are events.
	delete(op.RequestBody.Content, "application/octet-stream")
	op.Responses["201"].Content["application/json"].Example = receiptExample()
	op.Responses["200"] = &huma.Response{
		Description: "Every event was recorded before; nothing was added", Content: op.Responses["201"].Content,
	}
	return nil
}

// take is the handler.
func (in *intake) take(ctx context.Context, s *submission) (*answer, error) {
	caller, err := httpd.RequireCaller(ctx)
	if err != nil {
		return nil, err
	}
	list, err := decode(s.ContentType, s.RawBody)
	if err != nil {
		return nil, err
	}
	if err := in.mayRecord(ctx, caller, list); err != nil {
		return nil, err
	}
	receipts, err := in.record(ctx, caller, list)
	if err != nil {
		return nil, err
	}
	status := http.StatusOK
	for _, r := range receipts {
		if !r.Duplicate {
			status = http.StatusCreated
		}
	}
	return &answer{Status: status, Body: receiptList{receipts}}, nil
}
