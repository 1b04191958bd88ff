package intake

import (
	"context"
	"fmt"
	"net/http"
	"slices"

	"daysheet/events"
	"daysheet/services/httpd"
)

// Recorder puts the events of one job into the log, all or none. A receipt for
// each event comes back in their order once they are on disk.
type Recorder interface {
	Record(ctx context.Context, firm, job, by string, submitted []events.Event) ([]events.Receipt, error)
}

// share is the part of a request that belongs to one job.
type share struct {
	job    string
	events []events.Event
	places []int // where each stood in the request
}

// shares groups events by job in the order in which the jobs appear. The firm's
// own events go first: the jobs may need what they say.
func shares(list []events.Event) []share {
	var all []share
	at := map[string]int{}
	for i, e := range list {
		n, ok := at[e.Subject]
		if !ok {
			n = len(all)
			at[e.Subject] = n
			all = append(all, share{job: e.Subject})
		}
		all[n].events = append(all[n].events, e)
		all[n].places = append(all[n].places, i)
	}
	slices.SortStableFunc(all, func(a, b share) int { return firmFirst(a) - firmFirst(b) })
	return all
}

func firmFirst(s share) int {
	if s.job == events.FirmJob {
		return 0
	}
	return 1
}

// record hands each share to the log and stops at the first that is not taken.
func (in *intake) record(ctx context.Context, caller httpd.Caller, list []events.Event) ([]events.Receipt, error) {
	all := shares(list)
	receipts := make([]events.Receipt, len(list))
	for n, s := range all {
		got, err := in.recorder.Record(ctx, caller.Firm, s.job, caller.Name, s.events)
		if err == nil && len(got) != len(s.events) {
			err = fmt.Errorf("record %d events on %s: the log gave %d receipts", len(s.events), s.job, len(got))
		}
		if err != nil {
			return nil, stopped(err, all[:n], all[n], all[n+1:], receipts)
		}
		for i, place := range s.places {
			receipts[place] = got[i]
			if !got[i].Duplicate {
				in.appended.WithLabelValues(string(s.events[i].Type)).Inc()
			}
		}
	}
	return receipts, nil
}

// stopped says truthfully what became of a request of which one share was not
// taken: the shares before it are on disk, those after it were not tried. Where
// the log could not answer, nobody knows of the share itself.
func stopped(err error, before []share, failing share, after []share, receipts []events.Receipt) *httpd.ProblemDetails {
	p := *httpd.Problem(err) // a copy: the problem may be shared
	if p.Status >= http.StatusInternalServerError {
		p.Unknown = ids(failing)
	} else if len(before)+len(after) > 0 {
		p.NotRecorded = ids(failing)
	}
	p.NotRecorded = append(p.NotRecorded, ids(after...)...)
	if len(before) == 0 {
		return &p
	}
	var places []int
	for _, s := range before {
		places = append(places, s.places...)
	}
	slices.Sort(places)
	for _, place := range places {
		p.Recorded = append(p.Recorded, receipts[place])
	}
	p.Detail += fmt.Sprintf("; %d of the request's events are recorded all the same, see recorded. "+
		"Sending the request again records none of them twice", len(p.Recorded))
	return &p
}

func ids(all ...share) []string {
	var found []string
	for _, s := range all {
		for _, e := range s.events {
			found = append(found, e.ID)
		}
	}
	return found
}
