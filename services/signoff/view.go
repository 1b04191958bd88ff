package signoff

import (
	"slices"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/services/wording"
)

// newJobView tells of a job what was agreed, and how it stands.
func newJobView(j job, w wording.Words) jobView {
	v := jobView{Key: j.key, Title: j.opening.Title, Type: w.JobType(j.opening.JobType)}
	if e := j.agreed(); e != nil {
		v.Work = lines(e.Lines, w)
	}
	for _, r := range j.history.Records {
		if r.VoidedBy != "" {
			continue
		}
		switch p := r.Payload.(type) {
		case *events.Variation:
			v.Changes = append(v.Changes, wording.List(p.Reason, wording.List(lines(p.Lines, w)...)))
		case *events.SnagClearance:
			v.Good = append(v.Good, wording.List(j.about(p.Snag), p.Work))
		case *events.MakingGood:
			v.Good = append(v.Good, wording.List(j.about(p.Damage), p.Work))
		}
	}
	for _, down := range j.history.Down {
		if p, ok := down.Record.Payload.(*events.Protection); ok {
			v.Down = append(v.Down, wording.List(w.Task(p.Task), reports.Spoken(p.Surface), p.Location))
		}
	}
	for _, r := range j.history.Damage {
		v.Damage = append(v.Damage, j.about(r.Event.ID))
	}
	for _, r := range j.history.Snags {
		if p, ok := r.Payload.(*events.Snag); ok {
			v.Snags = append(v.Snags, snagView{ID: r.Event.ID, Text: wording.List(p.Location, p.Finding)})
		}
	}
	return v
}

// about says which damage or snag an event found, and where.
func (j job) about(id string) string {
	if r := j.history.ByID[id]; r != nil {
		switch p := r.Payload.(type) {
		case *events.Damage:
			return wording.List(p.Location, p.Item, p.Finding)
		case *events.Snag:
			return wording.List(p.Location, p.Finding)
		}
	}
	return ""
}

// tick ticks the snags that were sent.
func (v *jobView) tick(ids []string) {
	for i := range v.Snags {
		v.Snags[i].Ticked = slices.Contains(ids, v.Snags[i].ID)
	}
}

// agreed returns the estimate in force: the accepted one, else the last issued.
func (j job) agreed() *events.Estimate {
	var last, accepted *events.Estimate
	for _, r := range j.history.Records {
		if r.VoidedBy != "" {
			continue
		}
		switch p := r.Payload.(type) {
		case *events.Estimate:
			last = p
		case *events.Acceptance:
			if issued := j.history.ByID[p.Estimate]; issued != nil {
				accepted, _ = issued.Payload.(*events.Estimate)
			}
		}
	}
	if accepted != nil {
		return accepted
	}
	return last
}

// lines says what work was planned, each once.
func lines(planned []events.EstimateLine, w wording.Words) []string {
	var said []string
	for _, l := range planned {
		quantity := ""
		if l.QuantityMilli > 0 {
			quantity = w.Quantity(l.QuantityMilli, l.Unit)
		}
		if text := wording.List(w.Task(l.Task), l.Location, reports.Spoken(l.Surface), quantity); !slices.Contains(said,
			text) {
			said = append(said, text)
		}
	}
	return said
}
