package reporting

import (
	"context"
	"fmt"
	"time"

	"daysheet/events"
)

// record is one event of a job as the log holds it.
type record struct {
	event      events.Event
	payload    events.Payload
	sequence   uint64
	recordedAt time.Time
	recordedBy string
	voidedBy   string // id of the void; empty where the event holds
}

// history is a job's log read for showing: what was recorded, and what is still
// open.
type history struct {
	records []*record // as recorded, oldest first
	byID    map[string]*record
	down    []stillDown // protection not lifted yet, in the order in which it was laid
	snags   []*record   // snags not cleared
	damage  []*record   // damage not made good
}

// stillDown is protection with what is left of it.
type stillDown struct {
	*record
	protection *events.Protection
	leftMilli  int64
}

// readHistory reads a job's log up to a sequence. It fails where the chain of
// commits is broken: then nothing in it can be trusted.
func (s *site) readHistory(ctx context.Context, firm, job string, upTo uint64) (*history, error) {
	commits, err := s.deps.Commits(ctx, firm, job, upTo)
	if err != nil {
		return nil, fmt.Errorf("read commits of job %s: %w", job, err)
	}
	h := &history{byID: map[string]*record{}}
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
			h.add(&record{event: e, payload: payload, sequence: stored.Sequence,
				recordedAt: c.RecordedAt, recordedBy: c.RecordedBy})
		}
	}
	h.settle(fold)
	return h, nil
}

func (h *history) add(r *record) {
	h.records = append(h.records, r)
	h.byID[r.event.ID] = r
	if v, ok := r.payload.(*events.Void); ok && h.byID[v.Event] != nil {
		h.byID[v.Event].voidedBy = r.event.ID
	}
}

// settle finds what is still open. It runs after every void is known, since the
// void of a clearance opens its snag again.
func (h *history) settle(fold *events.Job) {
	settled := map[string]bool{}
	for _, r := range h.records {
		if r.voidedBy != "" {
			continue
		}
		switch p := r.payload.(type) {
		case *events.SnagClearance:
			settled[p.Snag] = true
		case *events.MakingGood:
			settled[p.Damage] = true
		}
	}
	for _, r := range h.records {
		if r.voidedBy != "" || settled[r.event.ID] {
			continue
		}
		switch r.event.Type {
		case events.SnagRaised:
			h.snags = append(h.snags, r)
		case events.DamageFound:
			h.damage = append(h.damage, r)
		}
	}
	ids, left := fold.Down()
	for _, id := range ids {
		if p, ok := h.byID[id].payload.(*events.Protection); ok {
			h.down = append(h.down, stillDown{h.byID[id], p, left[id]})
		}
	}
}

// day returns the day of the work: the one that the payload names, else the day
// of the event.
func (r *record) day() events.Day {
	if d := namedDay(r.payload); d != "" {
		return d
	}
	return r.event.Day()
}

// namedDay returns the day that a payload names; empty where it names none.
func namedDay(payload events.Payload) events.Day {
	switch p := payload.(type) {
	case *events.Purchase:
		return p.Day
	case *events.Move:
		return p.Day
	case *events.Count:
		return p.Day
	case *events.Estimate:
		return p.Day
	case *events.Acceptance:
		return p.Day
	case *events.Variation:
		return p.Day
	case *events.SignOff:
		return p.Day
	case *events.Closing:
		return p.Day
	case *events.Reopening:
		return p.Day
	case *events.Condition:
		return p.Day
	case *events.Hours:
		return p.Day
	case *events.Protection:
		return p.Day
	case *events.ProtectionCheck:
		return p.Day
	case *events.Lifting:
		return p.Day
	case *events.Preparation:
		return p.Day
	case *events.Coat:
		return p.Day
	case *events.Usage:
		return p.Day
	case *events.Return:
		return p.Day
	case *events.Damage:
		return p.Day
	case *events.MakingGood:
		return p.Day
	case *events.Snag:
		return p.Day
	case *events.SnagClearance:
		return p.Day
	case *events.Photo:
		return p.Day
	}
	return ""
}
