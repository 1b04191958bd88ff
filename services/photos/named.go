package photos

import (
	"context"
	"errors"
	"fmt"
	"net/http"

	"github.com/danielgtaylor/huma/v2"

	"daysheet/events"
	"daysheet/services/httpd"
)

// The states of a photo that an event names.
const (
	present = "present"
	missing = "missing" // not sent yet, or lost
	damaged = "damaged"
)

// named is a photo that an event of a job names. What is known from its own bytes is
// left out where it is not there.
type named struct {
	Photo  string `json:"photo" doc:"SHA-256 of the photo: its name"`
	State  string `json:"state" enum:"present,missing,damaged" doc:"missing: not sent yet, or lost"`
	Event  string `json:"event" doc:"Id of the event that names it"`
	Type   string `json:"event_type" doc:"Type of that event"`
	Of     string `json:"of,omitempty" doc:"Id of the event that the photo belongs to, where another than the one that names it"`
	Day    string `json:"day,omitempty" doc:"Day of that event"`
	Voided bool   `json:"voided,omitempty" doc:"True where the event was taken back"`
	Media  string `json:"type,omitempty" doc:"Media type"`
	Bytes  int64  `json:"bytes,omitempty" doc:"Size of the file"`
	Width  int    `json:"width,omitempty" doc:"Pixels from left to right, as it is shown"`
	Height int    `json:"height,omitempty" doc:"Pixels from top to bottom, as it is shown"`
}

type listIn struct {
	Job   string `path:"job" doc:"Key of the job"`
	After int    `query:"after" minimum:"0" doc:"How many photos were listed before"`
	Limit int    `query:"limit" minimum:"1" maximum:"500" default:"100" doc:"Photos on a page"`
}

// listBody is a page of the list.
type listBody struct {
	Photos []named `json:"photos" doc:"One for each time that an event names a photo, in the order of the log"`
	Total  int     `json:"total" doc:"Photos named on all pages"`
	Next   int     `json:"next,omitempty" doc:"after of the next page; left out on the last"`
}

type listOut struct{ Body listBody }

func listOperation() huma.Operation {
	return huma.Operation{
		OperationID: "list-job-photos", Method: http.MethodGet, Path: "/v1/jobs/{job}/photos", Tags: []string{"photos"},
		Summary: "List a job's photos",
		Description: "Every photo that an event of the job names, and whether it is there. An event can arrive before its " +
			"photo, and a photo that is missing is shown here until it is sent.",
		Metadata: map[string]any{"scope": []httpd.Scope{httpd.ScopeRead, httpd.ScopeRecord}},
		Errors: []int{http.StatusUnauthorized, http.StatusForbidden, http.StatusNotFound,
			http.StatusUnprocessableEntity, http.StatusTooManyRequests, http.StatusServiceUnavailable},
	}
}

func (r *routes) list(ctx context.Context, in *listIn) (*listOut, error) {
	caller, _ := httpd.CallerFrom(ctx)
	if !events.ValidToken(in.Job) || in.Job == events.FirmJob {
		return nil, events.Refuse("job", in.Job, "the key of a job")
	}
	stored, err := r.Commits(ctx, caller.Firm, in.Job, 0)
	if err != nil {
		return nil, fmt.Errorf("read commits of job %s: %w", in.Job, err)
	}
	if len(stored) == 0 {
		return nil, noJob(in.Job)
	}
	all, err := namedIn(stored)
	if err != nil {
		return nil, err
	}
	out := &listOut{}
	out.Body.Total = len(all)
	from := min(in.After, len(all))
	end := min(from+in.Limit, len(all))
	if end < len(all) {
		out.Body.Next = end
	}
	out.Body.Photos = all[from:end]
	for i := range out.Body.Photos {
		if err := r.lookAt(ctx, caller.Firm, &out.Body.Photos[i]); err != nil {
			return nil, err
		}
	}
	return out, nil
}

func noJob(key string) error {
	return &events.Error{Code: events.NotFound, Field: "job", Value: key, Rule: "the firm has no job of this key"}
}

// namedIn finds the photos that the events of a job name.
func namedIn(stored []events.Stored) ([]named, error) {
	all := []named{}
	voided := map[string]bool{}
	for _, s := range stored {
		c, err := events.DecodeCommit(s.Raw)
		if err != nil {
			return nil, fmt.Errorf("sequence %d: %w", s.Sequence, err)
		}
		for _, e := range c.Events {
			payload, err := e.Payload()
			if err != nil {
				return nil, fmt.Errorf("sequence %d: event %s: %w", s.Sequence, e.ID, err)
			}
			n := named{Event: e.ID, Type: string(e.Type), Day: string(e.Day())}
			switch p := payload.(type) {
			case *events.Void:
				voided[p.Event] = true
			case *events.Photo:
				n.Of = p.Of
			}
			for _, n.Photo = range events.PhotosOf(payload) {
				all = append(all, n)
			}
		}
	}
	for i := range all {
		all[i].Voided = voided[all[i].Event]
	}
	return all, nil
}

// lookAt fills in what the photo itself says.
func (r *routes) lookAt(ctx context.Context, firm string, n *named) error {
	info, err := r.Store.Stat(ctx, firm, n.Photo)
	switch {
	case events.CodeOf(err) == events.NotFound:
		n.State = missing
	case errors.Is(err, ErrDamaged):
		n.State = damaged
	case err != nil:
		return err
	default:
		n.State = present
		n.Media, n.Bytes, n.Width, n.Height = info.Type, info.Bytes, info.Width, info.Height
	}
	return nil
}
