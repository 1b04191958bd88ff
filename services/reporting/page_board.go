package reporting

import (
	"cmp"
	"fmt"
	"maps"
	"net/url"
	"slices"
	"strings"

	"daysheet/events"
	"daysheet/reports"
)

// Limits of the board.
const (
	groupMost    = 100 // jobs of one group; the rest is behind a link
	recentDays   = 90  // how long a finished job stays on the board
	choiceMost   = 200 // jobs offered in a form
	timelineMost = 100 // records of a job on one page
)

// boardBody is the page of all jobs.
type boardBody struct {
	States, JobTypes []choice
	Groups           []boardGroup
}

type boardGroup struct {
	Table tableView
	More  *link
}

// group is a part of the board: what to ask for, and what to say.
type group struct {
	id, title, empty string
	query            reports.JobQuery
	newest           bool // newest finished first, else in the order of keys
}

func (s *site) showBoard(v visit) (page, error) {
	p := readParams(v.values)
	from := p.cursor()
	jobType := p.token("job_type")
	chosen := p.states()
	if err := p.done(); err != nil {
		return page{}, err
	}
	position, err := s.pin(v.firm, from.position)
	if err != nil {
		return page{}, err
	}
	names, err := s.deps.Names(v, v.firm)
	if err != nil {
		return page{}, fmt.Errorf("read names: %w", err)
	}
	w := newWords(names)
	body := boardBody{JobTypes: sortedChoices(names.JobTypes, jobType)}
	for _, st := range events.States() {
		body.States = append(body.States, choice{string(st), plainKey(string(st)), slices.Contains(chosen, st)})
	}
	all := reports.JobQuery{Firm: v.firm, JobType: jobType, AsOf: position, Limit: groupMost + 1}
	groups := s.boardGroups(all, s.today(w.names))
	if len(chosen) > 0 {
		all.States, all.After = chosen, from.at
		groups = []group{{id: "chosen", title: stateNames(chosen), empty: "No job is in this state.", query: all}}
	}
	for _, g := range groups {
		shown, err := s.boardGroup(v, g, w)
		if err != nil {
			return page{}, err
		}
		body.Groups = append(body.Groups, shown)
	}
	return page{name: boardPage, Title: "Jobs", Watch: "/v1/watch", AsOf: position, Body: body}, nil
}

// boardGroups are the parts of the board in the order in which the office asks
// for them.
func (s *site) boardGroups(all reports.JobQuery, today events.Day) []group {
	running, ahead, finished := all, all, all
	running.States = []events.State{events.Running}
	ahead.States = []events.State{events.Opened, events.Estimated, events.Accepted}
	finished.States = []events.State{events.SignedOff, events.Closed}
	finished.FinishedFrom = today.Add(-recentDays)
	finished.Limit = 0 // sorted by day here, and bounded by the days
	return []group{
		{id: "running", title: "Running", query: running,
			empty: "No job is running. A job runs from its first record of work: hours booked, protection laid, " +
				"a surface prepared or a coat applied."},
		{id: "ahead", title: "Not started", query: ahead,
			empty: "No job is waiting. Open a job and issue its estimate to see it here."},
		{id: "finished", title: fmt.Sprintf("Finished in the last %d days", recentDays), query: finished, newest: true,
			empty: "No job was finished lately. A job is finished when its sign-off is recorded, or its closing."},
	}
}

func (s *site) boardGroup(v visit, g group, w words) (boardGroup, error) {
	rows, err := s.deps.Store.Jobs(v, g.query)
	if err != nil {
		return boardGroup{}, fmt.Errorf("list jobs: %w", err)
	}
	if g.newest {
		slices.SortFunc(rows, func(a, b reports.JobRow) int {
			return cmp.Or(cmp.Compare(b.Finished, a.Finished), cmp.Compare(a.Job, b.Job))
		})
	}
	var more *link
	if len(rows) > groupMost {
		rows = rows[:groupMost]
		question := url.Values{}
		for _, state := range g.query.States {
			question.Add("state", string(state))
		}
		if g.query.JobType != "" {
			question.Set("job_type", g.query.JobType)
		}
		more = &link{Text: "All of these jobs", Address: "/?" + question.Encode()}
		if g.id == "chosen" {
			more = &link{Text: "Next page", Address: nextPage("/", question, cursor{rows[groupMost-1].Job, g.query.AsOf})}
		}
	}
	t, err := s.boardTable(v, g, rows, w)
	if err != nil {
		return boardGroup{}, err
	}
	shown := newTableView("jobs-"+g.id, t, w.format)
	for i := range shown.Rows {
		shown.Rows[i][0].Word = rows[i].Job
	}
	return boardGroup{shown, more}, nil
}

// boardTable sets hours booked beside hours estimated. Both lead to their
// records.
func (s *site) boardTable(v visit, g group, rows []reports.JobRow, w words) (reports.Table, error) {
	t := reports.Table{Title: g.title, Empty: g.empty, Columns: []reports.Column{
		{Key: "title", Title: "Job", Form: reports.FormText}, {Key: "state", Title: "State", Form: reports.FormText},
		{Key: "budget_minutes", Title: "Estimated", Form: reports.FormMinutes},
		{Key: "actual_minutes", Title: "Booked", Form: reports.FormMinutes},
		{Key: "job_type", Title: "Job type", Form: reports.FormText}, {Key: "due", Title: "Due", Form: reports.FormDay},
		{Key: "finished", Title: "Finished", Form: reports.FormDay},
	}}
	if len(rows) == 0 {
		return t, nil
	}
	keys := make([]string, len(rows))
	for i, r := range rows {
		keys[i] = r.Job
	}
	labour := reports.Query{Firm: v.firm, AsOf: g.query.AsOf}.With(reports.ByKind, string(reports.KindLabour))
	q := labour.With(reports.ByJob, keys...)
	q.By = []reports.Dimension{reports.ByJob, reports.BySide}
	totals, err := s.deps.Store.Sum(v, q)
	if err != nil {
		return t, fmt.Errorf("sum hours: %w", err)
	}
	planned, booked := map[string]int64{}, map[string]int64{}
	for _, sum := range totals {
		if reports.Side(sum.By[1]) == reports.SideActual {
			booked[sum.By[0]] += sum.Minutes
		} else {
			planned[sum.By[0]] += sum.Minutes
		}
	}
	for _, r := range rows {
		of := labour.With(reports.ByJob, r.Job)
		before := of.With(reports.BySide, string(reports.SideEstimate), string(reports.SideVariation))
		actual := of.With(reports.BySide, string(reports.SideActual))
		t.Rows = append(t.Rows, []reports.Cell{
			{Text: cmp.Or(r.Title, r.Job), Job: r.Job}, {Text: plainKey(string(r.State))},
			{Number: planned[r.Job], Explain: &before}, {Number: booked[r.Job], Explain: &actual},
			{Text: w.jobType(r.JobType)}, {Text: string(r.Due)}, {Text: string(r.Finished)},
		})
	}
	return t, nil
}

// stateNames writes states as a heading.
func stateNames(chosen []events.State) string {
	names := make([]string, len(chosen))
	for i, state := range chosen {
		names[i] = plainKey(string(state))
	}
	return strings.Join(names, ", ")
}

// sortedChoices lists names to choose from in the order of the names.
func sortedChoices(names map[string]string, chosen string) []choice {
	keys := slices.SortedFunc(maps.Keys(names), func(a, b string) int {
		return cmp.Or(cmp.Compare(names[a], names[b]), cmp.Compare(a, b))
	})
	choices := make([]choice, len(keys))
	for i, key := range keys {
		choices[i] = choice{key, named(names, key), key == chosen}
	}
	return choices
}
