package customers

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/services/httpd"
	"daysheet/services/pages"
	"daysheet/services/sealing"
	"daysheet/services/wording"
)

// Deps is what the routes need. Every member is required.
type Deps struct {
	Frame *pages.Frame
	Keys  *sealing.Keys
	// Customers returns every customer that a firm's events know, and Customer one.
	Customers func(ctx context.Context, firm string) ([]events.Customer, error)
	Customer  func(ctx context.Context, firm, key string) (c events.Customer, ok bool, err error)
	// Jobs returns the jobs of a firm as they stand.
	Jobs    func(ctx context.Context, q reports.JobQuery) ([]reports.JobRow, error)
	Commits wording.Commits
	// Names returns how a firm calls its things, with its settings.
	Names func(ctx context.Context, firm string) (reports.Names, error)
	// Position waits for what was acknowledged before, and returns where the firm stands.
	Position func(firm string) uint64
	// Record puts events of one job into the log, all or none.
	Record func(ctx context.Context, firm, job, by string, submitted []events.Event) ([]events.Receipt, error)
	// Clock returns the present.
	Clock func() time.Time
}

// Desk answers about customers. It is made by [Mount].
type Desk struct{ deps Deps }

// Mount adds the routes and the pages, and makes good what an erasure elsewhere left
// to do, see [Desk.honour].
func Mount(ctx context.Context, server *httpd.Server, deps Deps) (*Desk, error) {
	if deps.Frame == nil || deps.Keys == nil || deps.Customers == nil || deps.Customer == nil || deps.Jobs == nil ||
		deps.Commits == nil || deps.Names == nil || deps.Position == nil || deps.Record == nil || deps.Clock == nil {
		return nil, errors.New("mount customers: every member of Deps must be set")
	}
	d := &Desk{deps}
	if err := deps.Frame.AddBodies(templates, "templates/*.html"); err != nil {
		return nil, fmt.Errorf("mount customers: %w", err)
	}
	d.mountAPI(server.API)
	d.mountTableAPI(server)
	d.mountPages(server)
	return d, d.honour(ctx)
}

// now returns the present where the firm works.
func (d *Desk) now(ctx context.Context, firm string) (time.Time, error) {
	names, err := d.deps.Names(ctx, firm)
	if err != nil {
		return time.Time{}, fmt.Errorf("read names: %w", err)
	}
	return names.Local(d.deps.Clock()), nil
}

// newEvent makes an event of the firm with a new id and without its data.
func (d *Desk) newEvent(ctx context.Context, firm string, kind events.Type) (events.Event, error) {
	id, err := uuid.NewV7()
	if err != nil {
		return events.Event{}, fmt.Errorf("make an id: %w", err)
	}
	now, err := d.now(ctx, firm)
	return events.Event{ID: id.String(), Source: "/customers", Type: kind, Subject: events.FirmJob,
		Time: now.Format(time.RFC3339)}, err
}

// complete puts its data into an event.
func complete(e events.Event, payload any) (events.Event, error) {
	data, err := json.Marshal(payload)
	if err != nil {
		return e, fmt.Errorf("write %s: %w", e.Type, err)
	}
	e.Data = data
	return e, e.Validate()
}

// record records one event of the firm.
func (d *Desk) record(ctx context.Context, firm, by string, e events.Event, payload any) (events.Receipt, error) {
	e, err := complete(e, payload)
	if err != nil {
		return events.Receipt{}, err
	}
	receipts, err := d.deps.Record(ctx, firm, events.FirmJob, by, []events.Event{e})
	if err != nil {
		return events.Receipt{}, err
	}
	return receipts[0], nil
}
