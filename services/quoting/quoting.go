// Package quoting prices work from the firm's history and records what is decided:
// an estimate that is issued, a rate that is taken over or turned down. The
// arithmetic is that of the reports; this package asks, answers and records.
package quoting

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/services/facts"
	"daysheet/services/httpd"
	"daysheet/services/pages"
)

// Deps is what the routes need. Every member is required.
type Deps struct {
	Store facts.Reader
	// Names returns how a firm calls its things, with its settings and rate books.
	Names func(ctx context.Context, firm string) (reports.Names, error)
	// Position returns the position up to which the store holds everything.
	Position func(firm string) uint64
	// Record puts events of one job into the log, all or none.
	Record func(ctx context.Context, firm, job, by string, submitted []events.Event) ([]events.Receipt, error)
	// Clock returns the present.
	Clock func() time.Time
}

type desk struct{ deps Deps }

// Mount adds the routes: quotes, and proposals of rates with what is decided about
// them.
func Mount(server *httpd.Server, deps Deps) error {
	if deps.Store == nil || deps.Names == nil || deps.Position == nil || deps.Record == nil || deps.Clock == nil {
		return errors.New("mount quoting: every member of Deps must be set")
	}
	d := &desk{deps}
	d.mountQuotes(server.API)
	d.mountRates(server.API)
	d.mountForms(server.Engine)
	d.mountTable(server)
	return nil
}

// history is what a firm's quotes are priced from, at one position.
type history struct {
	filter reports.Filter
	answer reports.Answer
}

// history asks for it. position 0 is now.
func (d *desk) history(ctx context.Context, firm string, position uint64) (history, error) {
	now := d.deps.Position(firm)
	if position > now {
		return history{}, events.Refuse("evidence", position, "the history stands at position %d", now)
	}
	if position == 0 {
		position = now
	}
	names, err := d.deps.Names(ctx, firm)
	if err != nil {
		return history{}, fmt.Errorf("read names: %w", err)
	}
	if names.Settings == nil {
		return history{}, events.Refuse("settings", "", "the firm has no settings yet: record them first")
	}
	f := reports.Filter{Firm: firm, AsOf: position, Today: d.today(names)}
	a, err := facts.Ask(ctx, d.deps.Store, reports.RatesQuestion(f))
	if err != nil {
		return history{}, fmt.Errorf("read history: %w", err)
	}
	a.Names = names
	return history{f, a}, nil
}

// today returns the calendar day where the firm works.
func (d *desk) today(names reports.Names) events.Day {
	return events.DayOf(names.Local(d.deps.Clock()))
}

// record records one event and returns its receipt. id is that of a form, which holds
// the time; where it is empty the event is new and happens now.
func (d *desk) record(ctx context.Context, caller httpd.Caller, job, id string, t events.Type,
	payload any) (events.Receipt, error) {
	if id == "" {
		var err error
		if id, err = pages.NewID(d.deps.Clock()); err != nil {
			return events.Receipt{}, err
		}
	}
	at, err := pages.TimeOf(id)
	if err != nil {
		return events.Receipt{}, err
	}
	data, err := json.Marshal(payload)
	if err != nil {
		return events.Receipt{}, fmt.Errorf("write %s: %w", t, err)
	}
	names, err := d.deps.Names(ctx, caller.Firm)
	if err != nil {
		return events.Receipt{}, fmt.Errorf("read names: %w", err)
	}
	e := events.Event{ID: id, Source: "/quoting", Type: t, Subject: job,
		Time: names.Local(at).Format(time.RFC3339), Data: data}
	if err := e.Validate(); err != nil {
		return events.Receipt{}, err
	}
	receipts, err := d.deps.Record(ctx, caller.Firm, job, caller.Name, []events.Event{e})
	if err != nil {
		return events.Receipt{}, err
	}
	return receipts[0], nil
}
