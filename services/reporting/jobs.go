package reporting

import (
	"context"
	"encoding/json"
	"fmt"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/services/wording"
)

// Pages of jobs and of events.
const (
	pageUsual = 50
	pageMost  = 500
)

// jobBody is a job as it stands.
type jobBody struct {
	Job      string `json:"job" doc:"Key of the job"`
	Title    string `json:"title"`
	JobType  string `json:"job_type"`
	State    string `json:"state" enum:"opened,estimated,accepted,running,signed-off,closed"`
	Customer string `json:"customer,omitempty" doc:"Reference to the customer, not a name"`
	Built    int64  `json:"built,omitempty" doc:"Year the building was built"`
	Opened   string `json:"opened"`
	Due      string `json:"due,omitempty"`
	Accepted string `json:"accepted,omitempty"`
	Finished string `json:"finished,omitempty" doc:"Day of sign-off, else of closing"`
	Sequence uint64 `json:"sequence" doc:"Position in the log of the job's last commit"`
}

func newJobBody(r reports.JobRow) jobBody {
	return jobBody{r.Job, r.Title, r.JobType, string(r.State), r.Customer, r.Built,
		string(r.Opened), string(r.Due), string(r.Accepted), string(r.Finished), r.Sequence}
}

// jobsBody is a page of jobs.
type jobsBody struct {
	Jobs []jobBody `json:"jobs"`
	AsOf uint64    `json:"as_of" doc:"Position in the log that the answer is valid for"`
	Next string    `json:"next,omitempty" doc:"Address of the next page, as in the header Link"`
}

// listJobs answers for a page of jobs in the order of their keys. Later pages
// are answered for the position of the first, so that no job is missed.
func (s *site) listJobs(ctx context.Context, firm string, values url.Values) (jobsBody, error) {
	p := readParams(values)
	from := p.cursor()
	q := reports.JobQuery{Firm: firm, JobType: p.token("job_type"), After: from.at, Limit: p.limit(pageUsual, pageMost)}
	q.States = p.states()
	asked := p.position("as_of")
	if err := p.done(); err != nil {
		return jobsBody{}, err
	}
	position, err := s.pin(firm, max(asked, from.position))
	if err != nil {
		return jobsBody{}, err
	}
	q.AsOf = position
	limit := q.Limit
	q.Limit++ // one more says whether there is a next page
	rows, err := s.deps.Store.Jobs(ctx, q)
	if err != nil {
		return jobsBody{}, fmt.Errorf("list jobs: %w", err)
	}
	body := jobsBody{Jobs: []jobBody{}, AsOf: position}
	if len(rows) > limit {
		rows = rows[:limit]
		body.Next = nextPage("/v1/jobs", values, cursor{rows[limit-1].Job, position})
	}
	for _, r := range rows {
		body.Jobs = append(body.Jobs, newJobBody(r))
	}
	return body, nil
}

// states reads the parameter "state", which may be given several times; nil
// where it is not.
func (p *params) states() []events.State {
	var chosen []events.State
	for _, given := range p.list("state") {
		state := events.State(given)
		switch {
		case given == "": // a form that leaves the choice open
		case slices.Contains(events.States(), state):
			chosen = append(chosen, state)
		default:
			p.refuse("state", given, "use one of %s", strings.Join(stateKeys(), ", "))
		}
	}
	return chosen
}

func stateKeys() []string {
	keys := make([]string, 0, len(events.States()))
	for _, s := range events.States() {
		keys = append(keys, string(s))
	}
	return keys
}

// jobDetailBody is a job with what is still open on it.
type jobDetailBody struct {
	jobBody
	ProtectionDown []downBody `json:"protection_down" doc:"Protection that was laid and not lifted yet"`
	OpenSnags      int        `json:"open_snags" doc:"Snags raised and not cleared"`
	OpenDamage     int        `json:"open_damage" doc:"Damage found and not made good"`
}

type downBody struct {
	Laid          string `json:"laid" doc:"Id of the protection laid event"`
	Task          string `json:"task"`
	Surface       string `json:"surface,omitempty"`
	Location      string `json:"location,omitempty"`
	Product       string `json:"product,omitempty"`
	QuantityMilli int64  `json:"quantity_milli" doc:"Still down, in thousandths of the unit"`
	Unit          string `json:"unit"`
	Day           string `json:"day" doc:"Day it was laid"`
	RemoveBy      string `json:"remove_by,omitempty" doc:"Last day for clean removal"`
}

// jobDetail answers for one job, by its own commits.
func (s *site) jobDetail(ctx context.Context, firm, job string) (jobDetailBody, error) {
	read, err := s.job(ctx, firm, job, 0)
	if err != nil {
		return jobDetailBody{}, err
	}
	h, err := readHistory(ctx, read)
	if err != nil {
		return jobDetailBody{}, err
	}
	body := jobDetailBody{
		jobBody: newJobBody(read.Row), ProtectionDown: []downBody{}, OpenSnags: len(h.Snags), OpenDamage: len(h.Damage),
	}
	for _, d := range h.Down {
		p := d.Protection
		body.ProtectionDown = append(body.ProtectionDown, downBody{d.Event.ID, p.Task, p.Surface, p.Location, p.Product,
			d.LeftMilli, string(p.Unit), string(d.Day()), string(p.RemoveBy)})
	}
	return body, nil
}

// recordBody is an event with what the ledger knows about it.
type recordBody struct {
	Sequence   uint64          `json:"sequence" doc:"Position in the log"`
	RecordedAt time.Time       `json:"recorded_at" doc:"When the ledger took it"`
	RecordedBy string          `json:"recorded_by" doc:"The credential that sent it"`
	Voided     bool            `json:"voided" doc:"True where it was taken back"`
	VoidedBy   string          `json:"voided_by,omitempty" doc:"Id of the event that took it back"`
	Event      json.RawMessage `json:"event" doc:"The event in the JSON format of CloudEvents 1.0"`
}

// recordsBody is a page of a job's events, oldest first.
type recordsBody struct {
	Job    string       `json:"job"`
	AsOf   uint64       `json:"as_of" doc:"Position in the log that the answer is valid for"`
	Events []recordBody `json:"events"`
	Next   string       `json:"next,omitempty" doc:"Address of the next page, as in the header Link"`
}

// listRecords answers for a page of a job's events. The reserved job "firm"
// holds the firm's own.
func (s *site) listRecords(ctx context.Context, firm, job string, values url.Values) (recordsBody, error) {
	p := readParams(values)
	from := p.cursor()
	limit := p.limit(pageUsual, pageMost)
	asked := p.position("as_of")
	if err := p.done(); err != nil {
		return recordsBody{}, err
	}
	start, err := from.offset()
	if err != nil {
		return recordsBody{}, err
	}
	position, err := s.pin(firm, max(asked, from.position))
	if err != nil {
		return recordsBody{}, err
	}
	if job != events.FirmJob {
		if _, err := s.job(ctx, firm, job, position); err != nil {
			return recordsBody{}, err
		}
	}
	h, err := wording.ReadHistory(ctx, s.deps.Commits, firm, job, position)
	if err != nil {
		return recordsBody{}, err
	}
	body := recordsBody{Job: job, AsOf: position, Events: []recordBody{}}
	end := min(start+limit, len(h.Records))
	for _, r := range h.Records[min(start, end):end] {
		raw, err := r.Event.MarshalJSON()
		if err != nil {
			return recordsBody{}, fmt.Errorf("write event of job %s: %w", job, err)
		}
		body.Events = append(body.Events,
			recordBody{r.Sequence, r.RecordedAt, r.RecordedBy, r.VoidedBy != "", r.VoidedBy, raw})
	}
	if end < len(h.Records) {
		body.Next = nextPage("/v1/jobs/"+job+"/events", values, cursor{strconv.Itoa(end), position})
	}
	return body, nil
}
