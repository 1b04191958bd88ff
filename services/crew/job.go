package crew

import (
	"cmp"
	"encoding/json"
	"fmt"
	"slices"

	"daysheet/events"
	"daysheet/reports"
)

// What a phone is given of one job at most. The rest is for the office's pages.
const (
	placesMost  = 40
	entriesMost = 200
)

// jobBody is a job as the crew sees it.
type jobBody struct {
	Job      string       `json:"job" doc:"Key of the job"`
	Title    string       `json:"title"`
	State    events.State `json:"state" enum:"accepted,running"`
	Start    events.Day   `json:"start,omitempty" doc:"Day on which the work is planned to begin"`
	Due      events.Day   `json:"due,omitempty" doc:"Day agreed for handover"`
	Places   []string     `json:"places" doc:"Rooms and parts that were named on the job"`
	Surfaces []string     `json:"surfaces" doc:"Keys of surfaces that were named on the job"`
	Methods  []string     `json:"methods" doc:"Keys of methods that were named on the job"`
	Tasks    []string     `json:"tasks" doc:"Keys of tasks that were estimated or done"`
	Products []string     `json:"products" doc:"Keys of products that were estimated or used"`
	Down     []downBody   `json:"down" doc:"Protection that was laid and not lifted yet, what has to come off first"`
	Damage   []openBody   `json:"damage" doc:"Damage found and not made good"`
	Snags    []openBody   `json:"snags" doc:"Snags raised and not cleared"`
	Today    []entryBody  `json:"today" doc:"What this token recorded of today"`
	Last     []entryBody  `json:"last" doc:"What this token recorded of the last day before today"`
}

type downBody struct {
	Laid          string      `json:"laid" doc:"Id of the protection laid event"`
	Task          string      `json:"task"`
	Location      string      `json:"location,omitempty"`
	QuantityMilli int64       `json:"quantity_milli" doc:"Still down, in thousandths of the unit"`
	Unit          events.Unit `json:"unit"`
	RemoveBy      events.Day  `json:"remove_by,omitempty" doc:"Last day for clean removal"`
}

type openBody struct {
	ID       string `json:"id" doc:"Id of the event"`
	Location string `json:"location"`
	Item     string `json:"item,omitempty"`
	Finding  string `json:"finding"`
}

type entryBody struct {
	ID   string          `json:"id" doc:"Id of the event"`
	Type events.Type     `json:"type"`
	Time string          `json:"time" doc:"When it happened"`
	Day  events.Day      `json:"day" doc:"Day of the work"`
	Data json.RawMessage `json:"data" doc:"Payload of the event"`
}

// mentioned is what several payloads have in common. What a payload does not have
// stays empty.
type mentioned struct {
	Day      events.Day  `json:"day"`
	Location string      `json:"location"`
	Surface  string      `json:"surface"`
	Method   string      `json:"method"`
	Task     string      `json:"task"`
	Product  string      `json:"product"`
	Lines    []mentioned `json:"lines"`
	Material []mentioned `json:"materials"`
}

// reading is a job's log while it is read.
type reading struct {
	job      *jobBody
	by       string // the token whose entries are wanted
	today    events.Day
	payloads map[string]events.Payload // of what holds, by event id
	order    []string
	entries  []entryBody
}

// newJobBody reads a job's log. It fails where the chain of commits is broken: then
// nothing in it can be trusted.
func newJobBody(row reports.JobRow, stored []events.Stored, by string, today events.Day) (*jobBody, error) {
	r := &reading{by: by, today: today, payloads: map[string]events.Payload{}, job: &jobBody{
		Job: row.Job, Title: row.Title, State: row.State, Start: row.Start, Due: row.Due,
		Places: []string{}, Surfaces: []string{}, Methods: []string{}, Tasks: []string{},
		Products: []string{},
		Down:     []downBody{}, Damage: []openBody{}, Snags: []openBody{}, Today: []entryBody{}, Last: []entryBody{},
	}}
	fold := events.NewJob(row.Firm, row.Job)
	for _, s := range stored {
		commit, err := events.DecodeCommit(s.Raw)
		if err == nil {
			err = fold.Apply(commit, s.Sequence, s.Raw)
		}
		if err != nil {
			return nil, fmt.Errorf("sequence %d: %w", s.Sequence, err)
		}
		for i := range commit.Events {
			if err := r.add(&commit.Events[i], commit.RecordedBy); err != nil {
				return nil, fmt.Errorf("sequence %d: event %s: %w", s.Sequence, commit.Events[i].ID, err)
			}
		}
	}
	r.settle(fold)
	r.sortEntries()
	return r.job, nil
}

// add takes one event in.
func (r *reading) add(e *events.Event, recordedBy string) error {
	payload, err := e.Payload()
	if err != nil {
		return err
	}
	if v, ok := payload.(*events.Void); ok {
		delete(r.payloads, v.Event)
		return nil
	}
	r.payloads[e.ID] = payload
	r.order = append(r.order, e.ID)
	var m mentioned
	if err := json.Unmarshal(e.Data, &m); err != nil {
		return fmt.Errorf("read payload: %w", err)
	}
	r.mention(m)
	for _, line := range slices.Concat(m.Lines, m.Material) {
		r.mention(line)
	}
	if recordedBy == r.by && e.Type.OfSite() {
		r.entries = append(r.entries, entryBody{e.ID, e.Type, e.Time, cmp.Or(m.Day, e.Day()), e.Data})
	}
	return nil
}

// mention remembers what was named, so that it can be chosen instead of typed.
func (r *reading) mention(m mentioned) {
	for _, named := range []struct {
		list *[]string
		text string
	}{{&r.job.Places, m.Location}, {&r.job.Surfaces, m.Surface}, {&r.job.Methods, m.Method}, {&r.job.Tasks, m.Task},
		{&r.job.Products, m.Product}} {
		if named.text != "" && len(*named.list) < placesMost && !slices.Contains(*named.list, named.text) {
			*named.list = append(*named.list, named.text)
		}
	}
}

// settle finds what is still open. It runs after every void is known, since the
// void of a clearance opens its snag again.
func (r *reading) settle(fold *events.Job) {
	settled := map[string]bool{}
	for _, payload := range r.payloads {
		switch p := payload.(type) {
		case *events.SnagClearance:
			settled[p.Snag] = true
		case *events.MakingGood:
			settled[p.Damage] = true
		}
	}
	for _, id := range r.order {
		if settled[id] {
			continue
		}
		switch p := r.payloads[id].(type) {
		case *events.Snag:
			r.job.Snags = append(r.job.Snags, openBody{id, p.Location, "", p.Finding})
		case *events.Damage:
			r.job.Damage = append(r.job.Damage, openBody{id, p.Location, p.Item, p.Finding})
		}
	}
	ids, left := fold.Down()
	for _, id := range ids {
		if p, ok := r.payloads[id].(*events.Protection); ok {
			r.job.Down = append(r.job.Down, downBody{id, p.Task, p.Location, left[id], p.Unit, p.RemoveBy})
		}
	}
	const never = "9999"
	slices.SortStableFunc(r.job.Down, func(a, b downBody) int {
		return cmp.Or(cmp.Compare(reports.CoverRank(a.Task), reports.CoverRank(b.Task)),
			cmp.Compare(cmp.Or(a.RemoveBy, never), cmp.Or(b.RemoveBy, never)))
	})
}

// sortEntries finds the entries of today, and of the last day before it.
func (r *reading) sortEntries() {
	r.entries = slices.DeleteFunc(r.entries, func(e entryBody) bool { return r.payloads[e.ID] == nil })
	var last events.Day
	for _, e := range r.entries {
		if e.Day < r.today {
			last = max(last, e.Day)
		}
	}
	for _, e := range r.entries {
		switch {
		case e.Day >= r.today && len(r.job.Today) < entriesMost:
			r.job.Today = append(r.job.Today, e)
		case e.Day == last && len(r.job.Last) < entriesMost:
			r.job.Last = append(r.job.Last, e)
		}
	}
}
