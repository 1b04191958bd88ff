package customers

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"slices"

	"github.com/danielgtaylor/huma/v2"

	"daysheet/events"
	"daysheet/services/httpd"
	"daysheet/services/sealing"
	"daysheet/services/wording"
)

// exportBody is everything that the ledger has about one customer.
type exportBody struct {
	Customer customerBody `json:"customer" doc:"As it is known now"`
	Records  []exported   `json:"records" doc:"The firm's events about the customer, oldest first"`
	Jobs     []jobExport  `json:"jobs" doc:"Jobs that name the customer"`
}

// jobExport is a job of the customer.
type jobExport struct {
	Job    string     `json:"job"`
	Title  string     `json:"title"`
	State  string     `json:"state"`
	Events []exported `json:"events" doc:"Everything that was recorded on the job, oldest first"`
	Photos []string   `json:"photos" doc:"SHA-256 of each photo of the job"`
}

// exported is an event with what was sealed in it.
type exported struct {
	Sequence   uint64          `json:"sequence" doc:"Position in the log"`
	RecordedAt string          `json:"recorded_at"`
	RecordedBy string          `json:"recorded_by"`
	VoidedBy   string          `json:"voided_by,omitempty" doc:"Id of the event that took it back"`
	Event      json.RawMessage `json:"event" doc:"The event in the JSON format of CloudEvents 1.0"`
	Opened     json.RawMessage `json:"opened,omitempty" doc:"What is sealed in it"`
	Says       string          `json:"says,omitempty" doc:"Why what is sealed in it cannot be read"`
}

type exportOut struct {
	Disposition string `header:"Content-Disposition"`
	Body        exportBody
}

func (d *Desk) mountExport(api huma.API) {
	huma.Register(api, operation("export-customer", http.MethodGet, "/v1/customers/{customer}/export",
		"Everything about a customer", "What is known of the customer now and was before, every event of the customer's "+
			"jobs with what is sealed in it, and the digests of their photos: for the customer who asks what the firm has.",
		httpd.ScopeRead), func(ctx context.Context, in *customerAsk) (*exportOut, error) {
		caller, err := httpd.RequireCaller(ctx)
		if err != nil {
			return nil, err
		}
		body, err := d.export(ctx, caller.Firm, in.Customer)
		return &exportOut{fmt.Sprintf(`attachment; filename="customer-%s.json"`, in.Customer), body}, err
	})
}

func (d *Desk) export(ctx context.Context, firm, customer string) (exportBody, error) {
	known, err := d.find(ctx, firm, customer)
	if err != nil {
		return exportBody{}, err
	}
	body := exportBody{Customer: known, Records: []exported{}, Jobs: []jobExport{}}
	own, err := wording.ReadHistory(ctx, d.deps.Commits, firm, events.FirmJob, 0)
	if err != nil {
		return exportBody{}, err
	}
	for _, r := range own.Records {
		if about(r.Payload) != customer {
			continue
		}
		e, err := d.exported(firm, r)
		if err != nil {
			return exportBody{}, err
		}
		body.Records = append(body.Records, e)
	}
	jobs, err := d.jobsOf(ctx, firm, customer)
	if err != nil {
		return exportBody{}, err
	}
	for _, row := range jobs {
		h, err := wording.ReadHistory(ctx, d.deps.Commits, firm, row.Job, row.Sequence)
		if err != nil {
			return exportBody{}, err
		}
		job := jobExport{Job: row.Job, Title: row.Title, State: string(row.State), Photos: photosOf(h)}
		for _, r := range h.Records {
			e, err := d.exported(firm, r)
			if err != nil {
				return exportBody{}, err
			}
			job.Events = append(job.Events, e)
		}
		body.Jobs = append(body.Jobs, job)
	}
	return body, nil
}

// about returns the customer whom one of the firm's own events is about.
func about(payload events.Payload) string {
	switch p := payload.(type) {
	case *events.CustomerRecord:
		return p.Customer
	case *events.CustomerErasure:
		return p.Customer
	}
	return ""
}

// exported writes one event and opens what is sealed in it.
func (d *Desk) exported(firm string, r *wording.Record) (exported, error) {
	raw, err := r.Event.MarshalJSON()
	if err != nil {
		return exported{}, fmt.Errorf("write event %s: %w", r.Event.ID, err)
	}
	e := exported{Sequence: r.Sequence, RecordedAt: r.RecordedAt.UTC().Format("2006-01-02T15:04:05Z"),
		RecordedBy: r.RecordedBy, VoidedBy: r.VoidedBy, Event: raw}
	place := sealing.Place{Firm: firm, Job: r.Event.Subject, Event: r.Event.ID}
	var sealed events.Sealed
	switch p := r.Payload.(type) {
	case *events.CustomerRecord:
		place.Customer, place.Part, sealed = p.Customer, sealing.PartCustomer, p.Sealed
	case *events.SignOff:
		if p.Sealed == nil {
			return e, nil
		}
		place.Customer, place.Part, sealed = p.Customer, sealing.PartSignature, *p.Sealed
	default:
		return e, nil
	}
	var opened json.RawMessage
	err = d.deps.Keys.Open(place, sealed, &opened)
	if sentence, ok := sealing.Unreadable(err); ok {
		e.Says = sentence
		return e, nil
	}
	e.Opened = bytes.TrimSpace(opened)
	return e, err
}

// photosOf returns the digests of every photo that a job's events name, each once and
// in the order in which they come.
func photosOf(h *wording.History) []string {
	photos := []string{}
	for _, r := range h.Records {
		for _, digest := range events.PhotosOf(r.Payload) {
			if !slices.Contains(photos, digest) {
				photos = append(photos, digest)
			}
		}
	}
	return photos
}
