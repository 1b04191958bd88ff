package reports

import (
	"cmp"
	"encoding/json"
	"fmt"
	"reflect"
	"time"

	"daysheet/events"
)

// history records events as the ledger does: it validates them, refuses what
// cannot be true, seals them in commits, and projects each commit into memory.
type history struct {
	memory
	firm        *events.Firm
	folds       map[string]*events.Job
	projections map[string]*JobProjection
	sequence    uint64
	stored      map[string][]events.Stored // by job
	log         []happened
}

// happened is one recorded event.
type happened struct {
	job, id  string
	day      events.Day
	recorded events.Day
	time     string // of the day, like 14:30; empty is four in the afternoon
	payload  events.Payload
}

const testFirm = "gable-and-son" // invented

func newHistory() *history {
	return &history{firm: new(events.Firm), folds: map[string]*events.Job{}, projections: map[string]*JobProjection{},
		stored: map[string][]events.Stored{}}
}

// typeOf returns the event type of a payload.
func typeOf(payload events.Payload) events.Type {
	for _, t := range events.Types() {
		if reflect.TypeOf(events.NewPayload(t)) == reflect.TypeOf(payload) {
			return t
		}
	}
	return ""
}

// eventOf puts a payload into its envelope.
func eventOf(w happened) (events.Event, error) {
	data, err := json.Marshal(w.payload)
	if err != nil {
		return events.Event{}, fmt.Errorf("write payload of %s: %w", w.id, err)
	}
	return events.Event{ID: w.id, Source: "/tests", Type: typeOf(w.payload), Subject: w.job,
		Time: string(w.day) + "T" + cmp.Or(w.time, "16:00") + ":00Z", Data: data}, nil
}

// record takes one event in as a commit of its own, or refuses it and changes
// nothing.
func (h *history) record(w happened) error {
	e, err := eventOf(w)
	if err != nil {
		return err
	}
	if err := e.Validate(); err != nil {
		return err
	}
	fold := h.folds[w.job]
	if fold == nil {
		fold = events.NewJob(testFirm, w.job)
		h.folds[w.job] = fold
		h.projections[w.job] = NewJobProjection(h.firm, testFirm, w.job, 3)
	}
	if _, _, err := fold.Plan([]events.Event{e}); err != nil {
		return err
	}
	c := &events.Commit{Firm: testFirm, Job: w.job, Version: fold.Version + 1, Previous: fold.Head,
		RecordedAt: w.recorded.Time().Add(17 * time.Hour), RecordedBy: "office", Events: []events.Event{e}}
	raw, err := c.Encode()
	if err != nil {
		return err
	}
	if err := h.apply(events.Stored{Partition: 3, Sequence: h.sequence + 1, Raw: raw}); err != nil {
		return err
	}
	h.log = append(h.log, w)
	return nil
}

// apply folds and projects a commit as it stands in the log.
func (h *history) apply(stored events.Stored) error {
	c, err := events.DecodeCommit(stored.Raw)
	if err != nil {
		return err
	}
	if err := h.folds[c.Job].Apply(c, stored.Sequence, stored.Raw); err != nil {
		return err
	}
	if c.Job == events.FirmJob {
		if err := h.firm.Apply(c, stored.Sequence); err != nil {
			return err
		}
	}
	made, err := h.projections[c.Job].Apply(stored, c)
	if err != nil {
		return err
	}
	h.facts = append(h.facts, made.Facts...)
	if made.Job != nil {
		h.rows = append(h.rows, *made.Job)
	}
	h.sequence = stored.Sequence
	h.stored[c.Job] = append(h.stored[c.Job], stored)
	return nil
}

// commitsOf returns the commits of a job up to a position; 0 is all.
func (h *history) commitsOf(job string, asOf uint64) (found []events.Stored) {
	for _, s := range h.stored[job] {
		if asOf == 0 || s.Sequence <= asOf {
			found = append(found, s)
		}
	}
	return found
}

// names returns how the firm calls its things now.
func (h *history) names() Names {
	var products []events.Product
	for _, p := range h.firm.Products() {
		products = append(products, *h.firm.Product(p, 0))
	}
	names := NamesOf(h.firm.Settings(0), products)
	names.RateBooks, names.RateRejections = h.firm.RateBooks(0), h.firm.RateRejections(0)
	names.Prices = h.firm.Prices(0)
	return names
}

// report asks for a report by name.
func (h *history) report(name string, f Filter) (Report, error) {
	d, ok := DefinitionOf(name)
	if !ok {
		return Report{}, fmt.Errorf("no report is called %q", name)
	}
	f.Firm = testFirm
	q := d.Ask(f)
	a := h.answer(q, h.names())
	if q.Log {
		a.Log = h.commitsOf(f.Job, f.AsOf)
	}
	return d.Make(f, a), nil
}
