package reporting

import (
	"fmt"
	"net/url"
	"slices"
	"strconv"

	"daysheet/events"
	"daysheet/reports"
)

// jobPageBody is the page of one job.
type jobPageBody struct {
	Job, JobType     string
	State, StateName string
	Header           []fact
	Marks            *tableView // what the office should look at; nil where there is nothing
	Down             tableView
	Open             []string
	More             []link // to reports of this job
	Reports          []jobReport
	Records          []recordView
	Newer, Older     string
}

type jobReport struct {
	Title, Address string
	Report         reportView
}

type recordView struct {
	Day, What, By string
	Voided        bool
}

func (s *site) showJob(v visit) (page, error) {
	p := readParams(v.values)
	before := p.position("before")
	if err := p.done(); err != nil {
		return page{}, err
	}
	key, position := v.param("job"), s.deps.Position(v.firm)
	row, err := s.job(v, v.firm, key, position)
	if err != nil {
		return page{}, err
	}
	h, err := s.readHistory(v, v.firm, key, row.Sequence)
	if err != nil {
		return page{}, err
	}
	names, err := s.deps.Names(v, v.firm)
	if err != nil {
		return page{}, fmt.Errorf("read names: %w", err)
	}
	w := newWords(names)
	body := jobPageBody{
		Job: key, JobType: w.jobType(row.JobType), State: string(row.State), StateName: plainKey(string(row.State)),
		Header: w.header(row), Down: w.down(h, s.today(names)), Open: w.open(h),
	}
	for _, d := range s.definitions {
		if !d.WholeFirm {
			address := "/reports/" + d.Name + "?" + url.Values{"job": {key}}.Encode()
			body.More = append(body.More, link{Text: d.Title, Address: address})
		}
	}
	charts := false
	for _, d := range s.ofJob {
		r, err := s.run(v, d, reports.Filter{Firm: v.firm, Job: key, AsOf: position})
		if err != nil {
			return page{}, err
		}
		body.takeOut(&r, w.format)
		charts = charts || s.drawn(r)
		address := "/reports/" + d.Name + "?" + url.Values{"job": {key}}.Encode()
		body.Reports = append(body.Reports, jobReport{d.Title, address, s.newReportView(d.Name, r)})
	}
	body.timeline(w, h, int(min(before, uint64(len(h.records)))))
	title := row.Title
	if title == "" {
		title = key
	}
	return page{
		name: jobPage, Title: title, Crumbs: []link{{Text: "Jobs", Address: "/"}, {Text: title}},
		Watch: "/v1/watch", Job: key, AsOf: position, Charts: charts, Body: body,
	}, nil
}

// takeOut moves tables of the job summary to where the page has a place for them:
// marks to the top, and what is known of the job into its header.
func (b *jobPageBody) takeOut(r *reports.Report, f format) {
	r.Tables = slices.DeleteFunc(slices.Clone(r.Tables), func(t reports.Table) bool {
		if t.Name == "marks" && len(t.Rows) > 0 {
			view := newTableView("marks", t, f)
			b.Marks = &view
		}
		return t.Name == "marks" || t.Name == "job"
	})
}

// timeline shows the records before the given number, newest first; the newest
// of all where it is 0.
func (b *jobPageBody) timeline(w words, h *history, before int) {
	end := len(h.records)
	if before > 0 {
		end = before
	}
	start := max(0, end-timelineMost)
	for i := end - 1; i >= start; i-- {
		r := h.records[i]
		view := recordView{Day: w.day(r.day()), What: w.says(h, r), Voided: r.voidedBy != ""}
		view.By = "recorded by " + r.recordedBy + " at " + r.recordedAt.UTC().Format("2006-01-02 15:04") + " UTC"
		if view.Voided {
			view.By += ", taken back"
		}
		b.Records = append(b.Records, view)
	}
	page := func(before int) string {
		return "/jobs/" + b.Job + "?before=" + strconv.Itoa(before) + "#records"
	}
	if start > 0 {
		b.Older = page(start)
	}
	if end < len(h.records) {
		b.Newer = page(min(end+timelineMost, len(h.records)))
	}
}

// header says what is known of the job itself.
func (w words) header(r reports.JobRow) []fact {
	var known []fact
	for _, f := range []fact{
		{"Customer", r.Customer}, {"Opened", w.day(r.Opened)}, {"Accepted", w.day(r.Accepted)}, {"Due", w.day(r.Due)},
		{"Finished", w.day(r.Finished)},
	} {
		if f.Value != "" {
			known = append(known, f)
		}
	}
	if r.Built != 0 {
		known = append(known, fact{"Built", strconv.FormatInt(r.Built, 10)})
	}
	return known
}

// down lists the protection that has to be lifted yet.
func (w words) down(h *history, today events.Day) tableView {
	t := reports.Table{
		Title: "Protection still down",
		Empty: "No protection is down. Record protection when it is laid, and its lifting, to see here what is left.",
		Columns: []reports.Column{
			{Key: "task", Title: "Protection", Form: reports.FormText},
			{Key: "location", Title: "Where", Form: reports.FormText},
			{Key: "quantity_milli", Title: "Still down", Form: reports.FormQuantity},
			{Key: "product", Title: "Product", Form: reports.FormText}, {Key: "day", Title: "Laid", Form: reports.FormDay},
			{Key: "remove_by", Title: "Remove by", Form: reports.FormDay},
		},
	}
	for _, d := range h.down {
		p := d.protection
		t.Rows = append(t.Rows, []reports.Cell{
			{Text: w.task(p.Task)}, {Text: list(p.Location, p.Surface)}, {Number: d.leftMilli, Unit: p.Unit},
			{Text: w.product(p.Product)}, {Text: string(d.day())}, {Text: string(p.RemoveBy), Blank: p.RemoveBy == ""},
		})
	}
	v := newTableView("down", t, w.format)
	for i, d := range h.down {
		if by := d.protection.RemoveBy; by != "" && by < today {
			last := &v.Rows[i][len(v.Rows[i])-1]
			last.Word = "past the last day for clean removal"
		}
	}
	return v
}

// open lists snags and damage that wait to be put right.
func (w words) open(h *history) []string {
	var waiting []string
	for _, r := range h.snags {
		waiting = append(waiting, w.says(h, r))
	}
	for _, r := range h.damage {
		waiting = append(waiting, w.says(h, r))
	}
	return waiting
}
