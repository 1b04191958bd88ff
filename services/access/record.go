package access

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"github.com/google/uuid"

	"daysheet/events"
	"daysheet/services/httpd"
)

// Record puts events of one job into the log, all or none.
type Record func(ctx context.Context, firm, job, by string, submitted []events.Event) ([]events.Receipt, error)

// NewAuditor returns an auditor that records into the log.
func NewAuditor(record Record, now func() time.Time) httpd.Auditor {
	return func(ctx context.Context, firm, by string, change events.AccessChange) error {
		e, err := newEvent(change, now())
		if err == nil {
			_, err = record(ctx, firm, events.FirmJob, by, []events.Event{e})
		}
		return err
	}
}

// newEvent makes the event of a change.
func newEvent(change events.AccessChange, now time.Time) (events.Event, error) {
	id, err := uuid.NewV7()
	if err != nil {
		return events.Event{}, fmt.Errorf("make an id: %w", err)
	}
	data, err := json.Marshal(change)
	if err != nil {
		return events.Event{}, fmt.Errorf("write a change of access: %w", err)
	}
	e := events.Event{ID: id.String(), Source: "/access", Type: events.AccessChanged, Subject: events.FirmJob,
		Time: now.UTC().Format(time.RFC3339), Data: data}
	return e, e.Validate()
}
