package access

import (
	"context"
	"strconv"
	"time"

	"daysheet/events"
	"daysheet/services/wording"
)

// changed is one change as it is shown.
type changed struct {
	ID   string    `json:"id" doc:"Id of the event"`
	Time time.Time `json:"time" doc:"When it was done"`
	By   string    `json:"by" doc:"Who did it: a person, a token, set-up, command line, a link, or daysheet itself"`
	events.AccessChange
}

// pageMost bounds the changes on one page.
const (
	pageMost  = 500
	pageUsual = 50
)

// read returns up to limit changes of a firm, newest first, that were recorded before the
// event before; all, where it is empty. next is the id to go on from; empty at the end.
func read(ctx context.Context, commits wording.Commits, firm, before string, limit int) (list []changed, next string,
	err error) {
	if limit < 1 || limit > pageMost {
		return nil, "", events.Refuse("limit", limit, "1 to %d", pageMost)
	}
	h, err := wording.ReadHistory(ctx, commits, firm, events.FirmJob, 0)
	if err != nil {
		return nil, "", err
	}
	if before != "" && h.ByID[before] == nil {
		return nil, "", &events.Error{Code: events.NotFound, Field: "before", Value: strconv.Quote(before),
			Rule: "no such change was recorded: begin again without it"}
	}
	passed := before == ""
	for i := len(h.Records) - 1; i >= 0; i-- {
		r := h.Records[i]
		if p, ok := r.Payload.(*events.AccessChange); ok && passed {
			if len(list) == limit {
				return list, list[limit-1].ID, nil
			}
			list = append(list, changed{r.Event.ID, r.Event.OccurredAt(), r.RecordedBy, *p})
		}
		passed = passed || r.Event.ID == before
	}
	return list, "", nil
}
