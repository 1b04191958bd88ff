package reporting

import (
	"cmp"
	"strconv"

	"daysheet/events"
	"daysheet/services/pages"
	"daysheet/services/wording"
)

// Records of a job on one page: the last ones on the page of the job, and all of them on
// a page of their own.
const (
	lastRecords  = 20
	timelineMost = 100
)

// timelineView is some of a job's records, newest first.
type timelineView struct {
	Job          string
	Shown        []recordView
	Total        int
	All          string // address of all of them; empty where they are all shown, or on the page of all
	Newer, Older string
}

type recordView struct {
	ID            string
	Day, What, By string
	Voided        bool
	TakeBack      string // address of the form that takes it back; empty where there is none
}

// timeline shows up to most records before the given number; the newest of all where it
// is 0.
func (w teller) timeline(job string, h *wording.History, before, most int, mayRecord bool) timelineView {
	view := timelineView{Job: job, Total: len(h.Records)}
	end := len(h.Records)
	if before > 0 {
		end = before
	}
	start := max(0, end-most)
	for i := end - 1; i >= start; i-- {
		r := h.Records[i]
		shown := recordView{ID: r.Event.ID, Day: w.Day(r.Day()), What: w.Says(h, r), By: w.RecordedBy(r),
			Voided: r.VoidedBy != ""}
		if mayRecord && r.CanBeVoided() {
			shown.TakeBack = pages.RecordAt(events.EventVoided, job, "event", r.Event.ID)
		}
		view.Shown = append(view.Shown, shown)
	}
	page := func(before int) string { return "/jobs/" + job + "/records?before=" + strconv.Itoa(before) }
	if start > 0 {
		view.Older = page(start)
	}
	if end < len(h.Records) {
		view.Newer = page(min(end+most, len(h.Records)))
	}
	return view
}

// showRecords shows every record of a job, page by page.
func (s *site) showRecords(v visit) (page, error) {
	p := readParams(v.Values)
	before := p.position("before")
	if err := p.done(); err != nil {
		return page{}, err
	}
	j, err := s.shownJob(v)
	if err != nil {
		return page{}, err
	}
	key, h, w := j.read.Row.Job, j.history, j.tell
	title := w.Say("job.all-records")
	return page{
		Name: recordsPage, Title: title, AsOf: j.position, Texts: w.Texts,
		Crumbs: []link{{Text: w.Say("nav.jobs"), Address: "/"},
			{Text: cmp.Or(j.read.Row.Title, key), Address: "/jobs/" + key}, {Text: title}},
		Body: w.timeline(key, h, int(min(before, uint64(len(h.Records)))), timelineMost, s.mayRecord(v)),
	}, w.Err
}
