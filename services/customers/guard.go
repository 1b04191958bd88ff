package customers

import (
	"context"

	"daysheet/events"
	"daysheet/services/sealing"
)

// Recorder puts events of one job into the log, all or none.
type Recorder interface {
	Record(ctx context.Context, firm, job, by string, submitted []events.Event) ([]events.Receipt, error)
}

// Guard is a recorder for events that come from elsewhere, an import among them: an
// erasure in them destroys the key here as well. Keys is nil in a process that has
// none; it refuses erasures.
type Guard struct {
	Recorder
	Keys *sealing.Keys
}

// Record records, and then destroys the keys of customers who were erased.
func (g Guard) Record(
	ctx context.Context, firm, job, by string, submitted []events.Event,
) ([]events.Receipt, error) {
	for i := range submitted {
		if g.Keys == nil && submitted[i].Type == events.CustomerErased {
			refusal := events.Refuse("type", string(events.CustomerErased), "this process has no keys of customers: "+
				"send it to the one in which intake and reporting run together")
			refusal.EventID = submitted[i].ID
			return nil, refusal
		}
	}
	receipts, err := g.Recorder.Record(ctx, firm, job, by, submitted)
	if err != nil {
		return nil, err
	}
	for i := range submitted {
		e := &submitted[i]
		if e.Type != events.CustomerErased {
			continue
		}
		payload, err := e.Payload()
		if err != nil {
			return nil, err
		}
		if p, ok := payload.(*events.CustomerErasure); ok {
			day := p.Day
			if day == "" {
				day = e.Day()
			}
			if err := g.Keys.Erase(firm, p.Customer, day); err != nil {
				return nil, err
			}
		}
	}
	return receipts, nil
}
