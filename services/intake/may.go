package intake

import (
	"context"
	"fmt"
	"net/http"

	"daysheet/events"
	"daysheet/services/httpd"
)

// Commits reads the commits of a job, in their order, up to a sequence; 0 is all.
type Commits func(ctx context.Context, firm, job string, upTo uint64) ([]events.Stored, error)

// mayRecord refuses what is not the caller's to record. What the ledger itself witnesses
// it takes from nobody. Only who may do everything destroys something. Who records and
// may not read is the crew: a phone that was lost neither changes what work costs nor
// takes back what the office agreed.
func (in *intake) mayRecord(ctx context.Context, caller httpd.Caller, list []events.Event) error {
	for i := range list {
		e := &list[i]
		switch {
		case e.Type == events.AccessChanged:
			refusal := events.Refuse("type", string(e.Type), "the ledger alone records who was given access, when it does so")
			refusal.EventID = e.ID
			return refusal
		case e.Type == events.CustomerErased && !caller.May():
			return forbidden(e, "only a token with the scope admin may erase a customer", httpd.ScopeAdmin)
		case !caller.May(httpd.Office) && !e.Type.OfSite():
			return forbidden(e, "it is for the office to record, and this token is the crew's", httpd.Office)
		}
	}
	if caller.May(httpd.Office) {
		return nil
	}
	return in.mayVoid(ctx, caller, list)
}

// mayVoid refuses to take back, for the crew, what the crew does not record. It refuses to
// take back what is not known, as the log would: otherwise an event that is recorded
// between this look and the recording would be taken back unseen.
func (in *intake) mayVoid(ctx context.Context, caller httpd.Caller, list []events.Event) error {
	known := map[string]map[string]events.Type{} // by job and id; a job is read where something on it is voided
	for i := range list {
		e := &list[i]
		if e.Type != events.EventVoided {
			continue
		}
		if known[e.Subject] == nil {
			var err error
			if known[e.Subject], err = in.types(ctx, caller.Firm, e.Subject); err != nil {
				return err
			}
			for j := range list {
				if list[j].Subject == e.Subject {
					known[e.Subject][list[j].ID] = list[j].Type
				}
			}
		}
		payload, err := e.Payload()
		if err != nil {
			return err
		}
		void, ok := payload.(*events.Void)
		if !ok {
			return fmt.Errorf("read void %s: it has another payload", e.ID)
		}
		kind, ok := known[e.Subject][void.Event]
		if !ok {
			refusal := events.Refuse("data.event", void.Event, "no event with this id was recorded on this job")
			refusal.EventID = e.ID
			return refusal
		}
		if !kind.OfSite() || e.Subject == events.FirmJob {
			return forbidden(e, "what the office recorded is the office's to take back, and this token is the crew's",
				httpd.Office)
		}
	}
	return nil
}

// types returns the type of every event of a job by its id.
func (in *intake) types(ctx context.Context, firm, job string) (map[string]events.Type, error) {
	stored, err := in.commits(ctx, firm, job, 0)
	if err != nil {
		return nil, fmt.Errorf("read what was recorded on %s: %w", job, err)
	}
	types := map[string]events.Type{}
	for _, s := range stored {
		c, err := events.DecodeCommit(s.Raw)
		if err != nil {
			return nil, fmt.Errorf("read what was recorded on %s: %w", job, err)
		}
		for i := range c.Events {
			types[c.Events[i].ID] = c.Events[i].Type
		}
	}
	return types, nil
}

func forbidden(e *events.Event, rule string, needed httpd.Scope) error {
	p := httpd.NewProblem(http.StatusForbidden, "event "+e.ID+": "+rule)
	return p.About("type", string(e.Type), "a token with the scope "+string(needed))
}
