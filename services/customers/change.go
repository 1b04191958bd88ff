package customers

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"net/http"
	"strings"

	"daysheet/events"
	"daysheet/services/httpd"
	"daysheet/services/sealing"
)

// put records what is known of a customer now. seen is the id of the record that the
// change is based on; empty where the sender did not say. What is recorded already is
// not recorded again.
func (d *Desk) put(ctx context.Context, caller httpd.Caller, key string, details Details,
	seen string) (recordedBody, error) {
	if !events.ValidToken(key) {
		return recordedBody{}, events.Refuse("customer", key, "%s", events.TokenRule)
	}
	if err := details.check(); err != nil {
		return recordedBody{}, err
	}
	c, ok, err := d.lookUp(ctx, caller.Firm, key)
	if err != nil {
		return recordedBody{}, err
	}
	if seen != "" && seen != c.Event {
		return recordedBody{}, httpd.NewProblem(http.StatusPreconditionFailed,
			"the customer was recorded again since it was read: read it, and send the change again")
	}
	if ok && c.Event != "" {
		current, err := d.show(caller.Firm, c)
		if err != nil {
			return recordedBody{}, err
		}
		if current.Details == nil { // a new key would make the old values unreadable for good
			return recordedBody{}, cannot(key, current.Says)
		}
		if current.Details.same(details) {
			return recordedBody{Customer: key, Event: c.Event}, nil
		}
	}
	e, err := d.sealed(ctx, caller.Firm, key, details)
	if err != nil {
		return recordedBody{}, err
	}
	receipts, err := d.deps.Record(ctx, caller.Firm, events.FirmJob, caller.Name, []events.Event{e})
	if err != nil {
		return recordedBody{}, err
	}
	return recordedBody{key, e.ID, receipts[0].Sequence, true}, nil
}

// sealed makes the event of what is known of a customer now.
func (d *Desk) sealed(ctx context.Context, firm, key string, details Details) (events.Event, error) {
	e, err := d.newEvent(ctx, firm, events.CustomerRecorded)
	if err != nil {
		return e, err
	}
	sealed, err := d.deps.Keys.Seal(placeOf(firm, events.Customer{Customer: key, Event: e.ID}), details)
	if sentence, ok := sealing.Unreadable(err); ok {
		return e, cannot(key, sentence)
	}
	if err != nil {
		return e, err
	}
	return complete(e, events.CustomerRecord{Customer: key, Sealed: sealed})
}

// cannot refuses a change of a customer who cannot be read.
func cannot(key, sentence string) error {
	return &events.Error{Code: events.Conflict, Field: "customer", Value: fmt.Sprintf("%q", key), Rule: sentence}
}

// newKey makes the key of a customer who has none yet.
func newKey() string { return "c-" + strings.ToLower(rand.Text()[:10]) }

// erase destroys the key of a customer and records that. The key goes first: once this
// has begun, nothing brings the customer back. Where the log cannot take the event the
// caller is told so, and erasing again records it.
func (d *Desk) erase(ctx context.Context, caller httpd.Caller, key, reason string) (erasedBody, error) {
	body, err := d.find(ctx, caller.Firm, key)
	if err != nil {
		return erasedBody{}, err
	}
	e, err := d.newEvent(ctx, caller.Firm, events.CustomerErased)
	if err != nil {
		return erasedBody{}, err
	}
	payload := events.CustomerErasure{Customer: key, Reason: strings.TrimSpace(reason), Day: e.Day()}
	if body.Erased != "" {
		payload.Day = events.Day(body.Erased) // by the list, or by the log
	}
	if c, ok, err := d.lookUp(ctx, caller.Firm, key); err != nil || ok && c.Erased != "" {
		return erasedBody{Customer: key, Day: string(c.Erased), Reason: c.Reason}, err
	}
	if err := checkErasure(e, payload); err != nil {
		return erasedBody{}, err
	}
	if err := d.deps.Keys.Erase(caller.Firm, key, payload.Day); err != nil {
		return erasedBody{}, err
	}
	receipt, err := d.record(ctx, caller.Firm, caller.Name, e, payload)
	if err != nil {
		return erasedBody{}, fmt.Errorf("the key of customer %s is destroyed, and this is not recorded yet: %w", key, err)
	}
	return erasedBody{key, string(payload.Day), payload.Reason, receipt.Sequence}, nil
}

// checkErasure refuses before anything is destroyed what could not be recorded.
func checkErasure(e events.Event, payload events.CustomerErasure) error {
	if payload.Reason == "" {
		return events.Refuse("reason", "", "say why, without personal data")
	}
	if err := checkText("reason", payload.Reason, 2000); err != nil {
		return err
	}
	if e.ID == "" || !payload.Day.Valid() {
		return errors.New("erase customer: the event has no id or no day")
	}
	return nil
}

// honour makes list and log agree about who was erased. A customer on the list of whom
// the log does not know, because an older copy of the log was restored, is recorded as
// erased again; of one whom only the log knows, the key is destroyed.
func (d *Desk) honour(ctx context.Context) error {
	firms, err := d.deps.Keys.Firms()
	if err != nil {
		return err
	}
	for _, firm := range firms {
		all, err := d.deps.Customers(ctx, firm)
		if err != nil {
			return fmt.Errorf("read customers of %s: %w", firm, err)
		}
		known := map[string]bool{}
		for _, c := range all {
			known[c.Customer] = c.Erased != ""
			if erased := (*sealing.ErasedError)(nil); !errors.As(d.erasedError(firm, c), &erased) && c.Erased != "" {
				return fmt.Errorf("the key of customer %s could not be destroyed", c.Customer)
			}
		}
		if err := d.recordAgain(ctx, firm, known); err != nil {
			return err
		}
	}
	return nil
}

// recordAgain records erasures that are on the list and not in the log.
func (d *Desk) recordAgain(ctx context.Context, firm string, known map[string]bool) error {
	list, err := d.deps.Keys.Erased()
	if err != nil {
		return err
	}
	for _, erased := range list {
		if erased.Firm != firm || known[erased.Customer] {
			continue
		}
		e, err := d.newEvent(ctx, firm, events.CustomerErased)
		if err != nil {
			return err
		}
		_, err = d.record(ctx, firm, "daysheet", e, events.CustomerErasure{Customer: erased.Customer, Day: erased.Day,
			Reason: "Erased before this copy of the ledger was restored"})
		if err != nil && events.CodeOf(err) != events.Conflict { // another process was faster
			return fmt.Errorf("record the erasure of customer %s: %w", erased.Customer, err)
		}
	}
	return nil
}
