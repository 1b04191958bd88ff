package reporting

import (
	"cmp"
	"context"
	"net/http"
	"reflect"
	"strconv"

	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/adapters/humagin"
)

// listOutput is a page of a list.
type listOutput[T any] struct {
	Link string `header:"Link" doc:"Address of the next page, rel=next (RFC 8288)"`
	Body T
}

// jobAsk is the input of an operation on one job.
type jobAsk struct {
	address
	Job   string `path:"job" doc:"Key of the job"`
	Match string `header:"If-None-Match" doc:"ETag of an answer that the caller holds"`
}

// recordsAsk is the input of the list of a job's events.
type recordsAsk struct {
	address
	Job string `path:"job" doc:"Key of the job, or firm"`
}

// jobOutput is one job. ETag is the position of its last commit, which commands
// on the job can name in If-Match.
type jobOutput struct {
	Status int
	ETag   string `header:"ETag"`
	Body   jobDetailBody
}

// stateParam is a parameter that may be given once for each state.
func stateParam(description string) *huma.Param {
	states := &huma.Schema{Type: huma.TypeArray, Items: oneOf(stateKeys()...)}
	explode := true
	return &huma.Param{Name: "state", In: "query", Schema: states, Explode: &explode, Description: description}
}

func (s *site) mountJobs(api huma.API) {
	jobs := operation("list-jobs", "/v1/jobs", "jobs", "List jobs", "Jobs as they stand, in the order of their keys.",
		append([]*huma.Param{
			stateParam("Only jobs in one of these states"),
			queryParam("job_type", "Only jobs of this type", text()), asOfParam(),
		}, pageParams()...)...)
	huma.Register(api, jobs, func(ctx context.Context, in *address) (*listOutput[jobsBody], error) {
		body, err := s.listJobs(ctx, firmOf(ctx), in.url.Query())
		if err != nil {
			return nil, err
		}
		return &listOutput[jobsBody]{linkNext(body.Next), body}, nil
	})

	job := operation("get-job", "/v1/jobs/{job}", "jobs", "Read a job",
		"A job as it stands, with what is still open on it.")
	job.Errors = append(job.Errors, http.StatusNotFound)
	huma.Register(api, job, func(ctx context.Context, in *jobAsk) (*jobOutput, error) {
		if err := in.params().done(); err != nil {
			return nil, err
		}
		body, err := s.jobDetail(ctx, firmOf(ctx), in.Job)
		if err != nil {
			return nil, err
		}
		tag := strconv.Quote(strconv.FormatUint(body.Sequence, 10))
		if in.Match != "" && matches(in.Match, tag) {
			return &jobOutput{Status: http.StatusNotModified, ETag: tag}, nil
		}
		return &jobOutput{http.StatusOK, tag, body}, nil
	})

	records := operation("list-job-events", "/v1/jobs/{job}/events", "jobs", "List a job's events",
		"Everything that was recorded on a job, oldest first, with what was taken back. The reserved job \"firm\" holds "+
			"the firm's own events.", append([]*huma.Param{asOfParam()}, pageParams()...)...)
	records.Errors = append(records.Errors, http.StatusNotFound)
	huma.Register(api, records, func(ctx context.Context, in *recordsAsk) (*listOutput[recordsBody], error) {
		body, err := s.listRecords(ctx, firmOf(ctx), in.Job, in.url.Query())
		if err != nil {
			return nil, err
		}
		return &listOutput[recordsBody]{linkNext(body.Next), body}, nil
	})
}

// mountWatch adds the stream of changes.
func (s *site) mountWatch(api huma.API) {
	op := operation("watch", "/v1/watch", "jobs", "Watch for changes",
		"Server-sent events. job.changed says that the reports hold a new commit of a job; its id is the position in "+
			"the log. Send Last-Event-ID, or after, to be told what changed since; reset says that too much did, or that "+
			"the position is not known: read everything again.",
		queryParam("after", "Position that the caller knows; Last-Event-ID beats it", text()))
	op.Responses = map[string]*huma.Response{"200": {Description: "The stream", Content: map[string]*huma.MediaType{
		"text/event-stream": {Schema: &huma.Schema{OneOf: []*huma.Schema{
			api.OpenAPI().Components.Schemas.Schema(reflect.TypeOf(changedBody{}), true, "JobChanged"),
			api.OpenAPI().Components.Schemas.Schema(reflect.TypeOf(resetBody{}), true, "Reset"),
		}}},
	}}}
	huma.Register(api, op, func(_ context.Context, in *watchAsk) (*huma.StreamResponse, error) {
		p := in.params()
		resume := cmp.Or(in.LastEventID, p.text("after"))
		if err := p.done(); err != nil {
			return nil, err
		}
		return &huma.StreamResponse{Body: func(ctx huma.Context) {
			ctx.SetHeader("Content-Type", "text/event-stream")
			ctx.SetHeader("X-Accel-Buffering", "no")
			ctx.SetStatus(http.StatusOK)
			c := humagin.Unwrap(ctx)
			st := &stream{out: c.Writer, control: http.NewResponseController(c.Writer)}
			err := s.watch(ctx.Context(), firmOf(ctx.Context()), resume, st)
			if err != nil && ctx.Context().Err() == nil {
				_ = c.Error(err) // hands it to the access log and returns it again
			}
		}}, nil
	})
}

// watchAsk is the input of the stream of changes.
type watchAsk struct {
	address
	LastEventID string `header:"Last-Event-ID" doc:"Id of the last event that the caller was told"`
}
