package wording

import (
	"context"
	"fmt"
	"time"

	"daysheet/events"
)

// Record is one event of a job as the log holds it.
type Record struct {
	Event      events.Event
	Payload    events.Payload
	Sequence   uint64
	RecordedAt time.Time
	RecordedBy string
	VoidedBy   string // id of the void; empty where the event holds
}

// History is a job's log read for showing: what was recorded, and what is still
// open.
type History struct {
	Records []*Record // as recorded, oldest first
	ByID    map[string]*Record
	Down    []StillDown // protection not lifted yet, in the order in which it was laid
	Snags   []*Record   // snags not cleared
	Damage  []*Record   // damage not made good
}

// StillDown is protection with what is left of it.
type StillDown struct {
	*Record
	Protection *events.Protection
	LeftMilli  int64 // in the unit of the protection
}

// Commits returns a job's commits up to a sequence, oldest first; 0 is all.
type Commits func(ctx context.Context, firm, job string, upTo uint64) ([]events.Stored, error)

// ReadHistory reads a job's log up to a sequence. It fails where the chain of
// commits is broken: then nothing in it can be trusted.
func ReadHistory(ctx context.Context, read Commits, firm, job string, upTo uint64) (*History, error) {
	commits, err := read(ctx, firm, job, upTo)
	if err != nil {
		return nil, fmt.Errorf("read commits of job %s: %w", job, err)
	}
	h := &History{ByID: map[string]*Record{}}
	fold := events.NewJob(firm, job)
	for _, stored := range commits {
		c, err := events.DecodeCommit(stored.Raw)
		if err != nil {
			return nil, fmt.Errorf("sequence %d: %w", stored.Sequence, err)
		}
		if err := fold.Apply(c, stored.Sequence, stored.Raw); err != nil {
			return nil, err
		}
		for _, e := range c.Events {
			payload, err := e.Payload()
			if err != nil {
				return nil, fmt.Errorf("sequence %d: event %s: %w", stored.Sequence, e.ID, err)
			}
			h.add(&Record{Event: e, Payload: payload, Sequence: stored.Sequence,
				RecordedAt: c.RecordedAt, RecordedBy: c.RecordedBy})
		}
	}
	h.settle(fold)
	return h, nil
}

func (h *History) add(r *Record) {
	h.Records = append(h.Records, r)
	h.ByID[r.Event.ID] = r
	if v, ok := r.Payload.(*events.Void); ok && h.ByID[v.Event] != nil {
		h.ByID[v.Event].VoidedBy = r.Event.ID
	}
}

// settle finds what is still open. It runs after every void is known, since the
// void of a clearance opens its snag again.
func (h *History) settle(fold *events.Job) {
	settled := map[string]bool{}
	for _, r := range h.Records {
		if r.VoidedBy != "" {
			continue
		}
		switch p := r.Payload.(type) {
		case *events.SnagClearance:
			settled[p.Snag] = true
		case *events.MakingGood:
			settled[p.Damage] = true
		}
	}
	for _, r := range h.Records {
		if r.VoidedBy != "" || settled[r.Event.ID] {
			continue
		}
		switch r.Event.Type {
		case events.SnagRaised:
			h.Snags = append(h.Snags, r)
		case events.DamageFound:
			h.Damage = append(h.Damage, r)
		}
	}
	ids, left := fold.Down()
	for _, id := range ids {
		if p, ok := h.ByID[id].Payload.(*events.Protection); ok {
			h.Down = append(h.Down, StillDown{h.ByID[id], p, left[id]})
		}
	}
}

// Day returns the day of the work: the one that the payload names, else the day
// of the event.
func (r *Record) Day() events.Day {
	if d := events.NamedDay(r.Payload); d != "" {
		return d
	}
	return r.Event.Day()
}

// CanBeVoided reports whether the record can be taken back as far as it itself goes:
// it holds, is no void, and is not put right by saying it again.
func (r *Record) CanBeVoided() bool {
	t := r.Event.Type
	return r.VoidedBy == "" && t != events.EventVoided && t != events.CustomerErased && t != events.AccessChanged &&
		!t.Restated()
}

// lateDays is how many days after the work a record may come without being late, as
// reports count it.
const lateDays = 7

// RecordedBy says who recorded a record and when, where the firm works; whether that
// was late, and whether it was taken back.
func (w Words) RecordedBy(r *Record) string {
	at := w.Names.Local(r.RecordedAt)
	said := w.Say("history.recorded-by", "who", r.RecordedBy, "day", w.Day(events.DayOf(at)), "time", at.Format("15:04"))
	late := ""
	if days := int(events.DayOf(at).Time().Sub(r.Day().Time()).Hours() / 24); days > lateDays {
		late = w.Say("history.late", "days", w.Count(int64(days)))
	}
	if r.VoidedBy != "" {
		return List(said, late, w.Say("history.is-taken-back"))
	}
	return List(said, late)
}
