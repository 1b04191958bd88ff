package reporting

import (
	"cmp"
	"fmt"
	"net/url"
	"slices"
	"strconv"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/services/httpd"
	"daysheet/services/pages"
	"daysheet/services/projector"
	"daysheet/services/wording"
)

// signoffAt is where links for the customer are made, if this process serves it.
const signoffAt = "/jobs/:job/links"

// jobPageBody is the page of one job.
type jobPageBody struct {
	Job, JobType     string
	State, StateName string
	Header           []fact
	Marks            *tableView // what the office should look at; nil where there is nothing
	Down             tableView
	Open             []string
	Papers           []link // for the customer; none where this process makes none
	Others           []link // to reports of this job
	Alerts           []string
	Reports          []jobReport
	Photos           *photosView // nil where there are none
	Do               []doGroup   // what can be recorded; nil for who may not
	Records          timelineView
}

type jobReport struct {
	Title, Address string
	Report         reportView
}

// shownJob is the job that a page is about, as of now.
type shownJob struct {
	position uint64
	read     projector.Job
	history  *wording.History
	tell     teller
	hours    reports.JobHours // once its header is made
}

// shownJob reads the job that the address of a page names.
func (s *site) shownJob(v visit) (j shownJob, err error) {
	reached := s.deps.Reached(v.Firm) // before the job: what is recorded on it later comes after this position
	if j.read, err = s.job(v, v.Firm, v.Param("job"), 0); err != nil {
		return j, err
	}
	j.position = max(reached, j.read.Row.Sequence)
	if j.history, err = readHistory(v, j.read); err != nil {
		return j, err
	}
	j.tell, err = s.teller(v, v.Firm)
	return j, err
}

func (s *site) showJob(v visit) (page, error) {
	p := readParams(v.Values)
	after, recorded := p.position("photos"), p.text("recorded")
	if err := p.done(); err != nil {
		return page{}, err
	}
	j, err := s.shownJob(v)
	if err != nil {
		return page{}, err
	}
	key, position, row, h, w := j.read.Row.Job, j.position, j.read.Row, j.history, j.tell
	header, err := s.header(v, w, &j)
	if err != nil {
		return page{}, err
	}
	body := jobPageBody{
		Job: key, JobType: w.JobType(row.JobType), State: string(row.State), StateName: w.State(row.State),
		Header: header, Down: w.down(h, s.today(w.Names)), Open: w.open(h),
	}
	body.Papers = s.papersOf(key, w)
	for _, d := range s.definitions {
		if !d.WholeFirm && !d.Compares && (!d.Personal || v.Caller.May(httpd.Office)) {
			address := "/reports/" + d.Name + "?" + url.Values{"job": {key}}.Encode()
			body.Others = append(body.Others, link{Text: w.Say("report." + d.Name), Address: address})
		}
	}
	if s.frame.Serves(signoffAt) && v.Caller.May(httpd.Office) {
		body.Papers = append(body.Papers, link{Text: w.Say("job.links"), Address: "/jobs/" + key + "/links"})
	}
	if body.Alerts, err = s.alertsOf(v, &j); err != nil {
		return page{}, err
	}
	charts, err := s.jobReports(v, &body, &j)
	if err != nil {
		return page{}, err
	}
	if body.Photos, err = s.photosOf(v, w, h, after); err != nil {
		return page{}, err
	}
	body.Records = w.timeline(key, h, 0, lastRecords, s.mayRecord(v))
	if body.Records.Older != "" {
		body.Records.All = "/jobs/" + key + "/records"
	}
	if s.mayRecord(v) {
		body.Do = w.doable(row, h)
	}
	title := row.Title
	if title == "" {
		title = key
	}
	return page{
		Name: jobPage, Title: title, Crumbs: []link{{Text: w.Say("nav.jobs"), Address: "/"}, {Text: title}},
		Watch: "/v1/watch", Redraws: true, Job: key, AsOf: position, Charts: charts, Said: w.said(h, recorded),
		Body: body, Texts: w.Texts,
	}, w.Err
}

// jobReports puts the reports into the page of a job, and says whether they draw.
func (s *site) jobReports(v visit, b *jobPageBody, j *shownJob) (charts bool, err error) {
	w := j.tell
	for _, d := range s.ofJob {
		r, err := s.make(v, d, reports.Filter{Firm: v.Firm, Job: b.Job, AsOf: j.position}, w.Names, &j.read)
		if err != nil {
			return false, err
		}
		b.takeOut(&r, w)
		charts = charts || s.drawn(r)
		address := "/reports/" + d.Name + "?" + url.Values{"job": {b.Job}}.Encode()
		b.Reports = append(b.Reports, jobReport{w.Say("report." + d.Name), address, s.newReportView(d.Name, r, w)})
	}
	return charts, nil
}

// said says what was recorded under an id; nothing where it was not.
func (w teller) said(h *wording.History, id string) string {
	if r := h.ByID[id]; r != nil {
		return w.Say("job.recorded", "what", w.Says(h, r))
	}
	return ""
}

// mayRecord reports whether forms are served here, and the caller may use them.
func (s *site) mayRecord(v visit) bool {
	return s.frame.Serves(pages.RecordPath(events.EventVoided)) && v.Caller.May(httpd.Office)
}

// papersOf links to the papers of a job, of those that this process makes.
func (s *site) papersOf(job string, w teller) (links []link) {
	for _, p := range []link{{Text: w.Say("job.handover"), Address: "handover"}, {Text: w.Say("job.condition"),
		Address: "condition"}, {Text: w.Say("job.quote"), Address: "quote"}, {Text: w.Say("job.snags"), Address: "snags"}} {
		if s.frame.Serves("/jobs/:job/" + p.Address) {
			links = append(links, link{Text: p.Text, Address: "/jobs/" + job + "/" + p.Address})
		}
	}
	return links
}

// takeOut moves tables of the job summary to where the page has a place for them:
// marks to the top, and what is known of the job into its header.
func (b *jobPageBody) takeOut(r *reports.Report, w teller) {
	r.Tables = slices.DeleteFunc(slices.Clone(r.Tables), func(t reports.Table) bool {
		if t.Name == "marks" && len(t.Rows) > 0 {
			view := newTableView("marks", t, w)
			b.Marks = &view
		}
		return t.Name == "marks" || t.Name == "job"
	})
}

// header says what is known of the job itself, and who the customer is.
func (s *site) header(v visit, w teller, j *shownJob) ([]fact, error) {
	r := j.read.Row
	customer := fact{Text: w.Say("job.customer"), Value: r.Customer}
	if s.deps.Customer != nil && r.Customer != "" {
		name, err := s.deps.Customer(v, v.Firm, r.Customer)
		if err != nil {
			return nil, fmt.Errorf("read customer %s: %w", r.Customer, err)
		}
		if name != "" {
			customer.Value, customer.Address = wording.List(name, r.Customer), "/customers/"+r.Customer
		}
	}
	var known []fact
	for _, f := range []fact{
		customer, {Text: w.Say("job.opened"), Value: w.Day(r.Opened)}, {Text: w.Say("job.accepted"),
			Value: w.Day(r.Accepted)}, {Text: w.Say("board.due"), Value: w.Day(r.Due)},
		{Text: w.Say("board.finished"), Value: w.Day(r.Finished)},
	} {
		if f.Value != "" {
			known = append(known, f)
		}
	}
	if r.Built != 0 {
		known = append(known, fact{Text: w.Say("job.built"), Value: strconv.FormatInt(r.Built, 10)})
	}
	hours, err := s.hoursOf(v, jobReader{&j.read, s.deps.Store}, j.position, []reports.JobRow{r})
	j.hours = hours[r.Job]
	return append(w.hoursFact(j.hours), known...), err
}

// down lists the protection that has to be lifted yet.
func (w teller) down(h *wording.History, today events.Day) tableView {
	t := reports.Table{
		Title: w.Say("job.down"),
		Empty: w.Say("job.down.none"),
		Columns: []reports.Column{
			{Key: "task", Title: w.Say("job.do.protection"), Form: reports.FormText},
			{Key: "location", Title: w.Say("job.where"), Form: reports.FormText},
			{Key: "quantity_milli", Title: w.Say("job.left"), Form: reports.FormQuantity},
			{Key: "product", Title: w.Dimension(reports.ByProduct), Form: reports.FormText}, {Key: "day",
				Title: w.Say("job.laid"), Form: reports.FormDay},
			{Key: "remove_by", Title: w.Say("job.remove-by"), Form: reports.FormDay},
		},
	}
	// What can hurt somebody comes first, as in the report on protection.
	down := slices.SortedStableFunc(slices.Values(h.Down), func(a, b wording.StillDown) int {
		return cmp.Compare(reports.CoverRank(a.Protection.Task), reports.CoverRank(b.Protection.Task))
	})
	for _, d := range down {
		p := d.Protection
		t.Rows = append(t.Rows, []reports.Cell{
			{Text: w.Task(p.Task)}, {Text: wording.List(p.Location, reports.Spoken(p.Surface))}, {Number: d.LeftMilli,
				Unit: p.Unit},
			{Text: w.Product(p.Product)}, {Text: string(d.Day())}, {Text: string(p.RemoveBy), Blank: p.RemoveBy == ""},
		})
	}
	v := newTableView("down", t, w)
	for i, d := range down {
		if by := d.Protection.RemoveBy; by != "" && by < today {
			cells := v.Rows[i].Cells
			last := &cells[len(cells)-1]
			last.Word = w.Say("job.past")
		}
		if caution := reports.CoverCaution(d.Protection.Task); caution != "" {
			v.Rows[i].Remarks = []pages.Remark{{Title: w.Translate("What to do"), Text: w.Translate(caution)}}
		}
	}
	return v
}

// open lists snags and damage that wait to be put right.
func (w teller) open(h *wording.History) []string {
	var waiting []string
	for _, r := range h.Snags {
		waiting = append(waiting, w.Says(h, r))
	}
	for _, r := range h.Damage {
		waiting = append(waiting, w.Says(h, r))
	}
	return waiting
}
