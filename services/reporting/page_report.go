package reporting

import (
	"cmp"
	"fmt"
	"maps"
	"net/url"
	"slices"
	"strconv"

	"daysheet/events"
	"daysheet/reports"
)

// reportPageBody is the page of a report: what to choose, and the report.
type reportPageBody struct {
	About, Action string
	NeedsJob      bool
	WholeFirm     bool
	Job           string
	Jobs          []choice
	Pick          []link // jobs to choose from, where one has to be chosen first
	JobTypes      []choice
	From, To      string
	Asked         string // position that was asked for; empty for now
	Report        *reportView
	Downloads     []download
	Decide        *decision // where proposals can be taken or turned down
	Empty         string
}

// filterValues writes a filter as the query of an address.
func filterValues(f reports.Filter) url.Values {
	v := url.Values{}
	for name, value := range map[string]string{
		"job": f.Job, "job_type": f.JobType, "from": string(f.From), "to": string(f.To),
	} {
		if value != "" {
			v.Set(name, value)
		}
	}
	if f.AsOf > 0 {
		v.Set("as_of", strconv.FormatUint(f.AsOf, 10))
	}
	return v
}

// showReport returns the builder of a report's page.
func (s *site) showReport(d reports.Definition) func(visit) (page, error) {
	return func(v visit) (page, error) {
		w, err := s.teller(v, v.Firm)
		if err != nil {
			return page{}, err
		}
		p := readParams(v.Values)
		f := p.filter(v.Firm)
		if err := p.done(); err != nil {
			return page{}, err
		}
		if d.NeedsJob && f.Job == "" {
			return s.reportPage(v, d, f, nil, w)
		}
		r, err := s.run(v, d, f, w.Texts)
		if err != nil {
			return page{}, err
		}
		return s.reportPage(v, d, f, &r, w)
	}
}

// reportPage puts a report and its form on a page; r is nil where a job has to
// be chosen first.
func (s *site) reportPage(v visit, d reports.Definition, asked reports.Filter, r *reports.Report, w teller,
) (page, error) {
	rows, err := s.jobsAbout(v, s.today(w.Names))
	if err != nil {
		return page{}, err
	}
	body := reportPageBody{
		About: w.Say("report." + d.Name + ".about"), Action: "/reports/" + d.Name, NeedsJob: d.NeedsJob,
		WholeFirm: d.WholeFirm,
		Job:       asked.Job,
		JobTypes:  sortedChoices(w.Names.JobTypes, asked.JobType), From: string(asked.From), To: string(asked.To),
		Empty: w.Say("report-page.choose"),
	}
	if asked.AsOf > 0 {
		body.Asked = strconv.FormatUint(asked.AsOf, 10)
	}
	for _, row := range rows {
		body.Jobs = append(body.Jobs, choice{Key: row.Job, Name: cmp.Or(row.Title, row.Job)})
	}
	if r == nil {
		body.Pick = w.picks(rows, body.Action)
	}
	title := w.Say("report." + d.Name)
	shown := page{
		Name: reportPage, Title: title, Texts: w.Texts, Watch: "/v1/watch",
		Crumbs: []link{{Text: w.Say("nav.reports"), Address: "/reports"}, {Text: title}},
	}
	if r != nil {
		view := s.newReportView(d.Name, *r, w)
		if err := s.nameCustomers(v, &view, *r); err != nil {
			return page{}, err
		}
		body.Report = &view
		body.Downloads = w.downloads(*r)
		if d.Name == "rate-proposals" && asked.AsOf == 0 {
			body.Decide = newDecision(*r, w)
		}
		shown.Title, shown.AsOf, shown.Charts = r.Title.In(w.Translate), r.Filter.AsOf, s.drawn(*r)
	}
	if asked.Job != "" {
		of, err := s.titleOf(v, asked.Job)
		if err != nil {
			return page{}, err
		}
		shown.Crumbs = []link{{Text: w.Say("nav.jobs"), Address: "/"},
			{Text: cmp.Or(of, asked.Job), Address: "/jobs/" + asked.Job}, {Text: title}}
	}
	shown.Body = body
	return shown, w.Err
}

// pickMost is how many jobs a page offers as links; others can be typed.
const pickMost = 20

// jobsAbout lists the jobs that somebody may ask for: those not finished and those
// finished lately, the newest first.
func (s *site) jobsAbout(v visit, today events.Day) ([]reports.JobRow, error) {
	open := reports.JobQuery{Firm: v.Firm, Limit: choiceMost,
		States: slices.DeleteFunc(slices.Clone(events.States()), events.State.Finished)}
	lately := reports.JobQuery{Firm: v.Firm, Limit: choiceMost, States: finishedStates(),
		FinishedFrom: today.Add(-recentDays)}
	var all []reports.JobRow
	for _, q := range []reports.JobQuery{open, lately} {
		rows, err := s.deps.Store.Jobs(v, q)
		if err != nil {
			return nil, fmt.Errorf("list jobs: %w", err)
		}
		all = append(all, rows...)
	}
	all = slices.DeleteFunc(all, func(r reports.JobRow) bool { return r.Job == events.FirmJob })
	slices.SortStableFunc(all, func(a, b reports.JobRow) int {
		return cmp.Or(cmp.Compare(b.Opened, a.Opened), cmp.Compare(b.Job, a.Job))
	})
	return all, nil
}

// picks leads to the report of each of the first jobs.
func (w teller) picks(rows []reports.JobRow, action string) []link {
	var all []link
	for _, r := range rows[:min(len(rows), pickMost)] {
		address := action + "?" + url.Values{"job": {r.Job}}.Encode()
		beside := r.Job + ", " + w.State(r.State)
		all = append(all, link{Text: cmp.Or(r.Title, r.Job), Address: address, Beside: beside})
	}
	return all
}

// download is what a report, or a table of it, can be saved as.
type download struct {
	Of    string
	Links []link
}

// downloads leads to the same report for programs and spreadsheets: the whole as
// JSON, and every table as CSV, exact or in decimals.
func (w teller) downloads(r reports.Report) []download {
	v := filterValues(r.Filter)
	at := "/v1/reports/" + r.Name
	all := []download{{w.Say("report-page.whole"), []link{{Text: "JSON", Address: at + ".json?" + v.Encode()}}}}
	for _, t := range r.Tables {
		v.Set("table", t.Name)
		sheet := maps.Clone(v)
		sheet.Set("values", valuesFor(w.Format))
		sheet.Set("bom", "1")
		all = append(all, download{w.Translate(t.Title), []link{
			{Text: w.Say("report-page.csv"), Address: at + ".csv?" + sheet.Encode()},
			{Text: w.Say("report-page.csv-whole"), Address: at + ".csv?" + v.Encode()},
		}})
	}
	return all
}

// drawn reports whether the page of a report draws charts.
func (s *site) drawn(r reports.Report) bool { return len(r.Figures) > 0 && s.frame.Has(chartLibrary) }
