package reporting

import (
	"cmp"
	"fmt"
	"maps"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/services/wording"
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
	Shown            string // which jobs are on the page
	States, JobTypes []choice
	Groups           []boardGroup
}

type boardGroup struct {
	Table tableView
	Links []link
}

// anyFinished stands in the address of the board for every state of a finished job.
const anyFinished = "finished"

// group is a part of the board: what to ask for, and what to say.
type group struct {
	id, title, empty string
	query            reports.JobQuery
	newest           bool // newest finished first, else in the order of keys
	skip             int  // jobs on pages before this one, where newest comes first
}

func (s *site) showBoard(v visit) (page, error) {
	p := readParams(v.Values)
	from := p.cursor()
	jobType := p.token("job_type")
	chosen := p.boardStates()
	if err := p.done(); err != nil {
		return page{}, err
	}
	position, err := s.pin(v.Firm, from.position)
	if err != nil {
		return page{}, err
	}
	names, err := s.deps.Names(v, v.Firm)
	if err != nil {
		return page{}, fmt.Errorf("read names: %w", err)
	}
	w := newTeller(names)
	body := boardBody{JobTypes: sortedChoices(names.JobTypes, jobType), States: stateChoices(chosen)}
	all := reports.JobQuery{Firm: v.Firm, JobType: jobType, AsOf: position, Limit: groupMost + 1}
	groups := s.boardGroups(all, s.today(w.Names))
	body.Shown = fmt.Sprintf("Jobs that run or wait, and those finished in the last %d days", recentDays)
	if len(chosen) > 0 {
		g, err := chosenGroup(all, chosen, from)
		if err != nil {
			return page{}, err
		}
		groups = []group{g}
		body.Shown = "Every job in this state, in the order of the keys"
		if g.newest {
			body.Shown = "Every finished job, the last finished first"
		}
	}
	for _, g := range groups {
		shown, err := s.boardGroup(v, g, w)
		if err != nil {
			return page{}, err
		}
		body.Groups = append(body.Groups, shown)
	}
	return page{Name: boardPage, Title: "Jobs", Watch: "/v1/watch", AsOf: position, Body: body}, nil
}

// boardStates reads the states that the board is asked for; nil for all.
func (p *params) boardStates() []events.State {
	if given := p.list("state"); len(given) == 1 && given[0] == anyFinished {
		return finishedStates()
	}
	return p.states()
}

func finishedStates() []events.State {
	return slices.DeleteFunc(slices.Clone(events.States()), func(state events.State) bool { return !state.Finished() })
}

// stateChoices lists what the board can be asked for.
func stateChoices(chosen []events.State) []choice {
	finished := slices.Equal(chosen, finishedStates())
	var choices []choice
	for _, state := range events.States() {
		choices = append(choices, choice{Key: string(state), Name: wording.PlainKey(string(state)),
			Chosen: !finished && slices.Contains(chosen, state)})
	}
	return append(choices, choice{Key: anyFinished, Name: "Finished (all)", Chosen: finished})
}

// chosenGroup is the board where states are chosen: finished jobs by their day,
// the newest first, and others by their key.
func chosenGroup(all reports.JobQuery, chosen []events.State, from cursor) (group, error) {
	all.States = chosen
	g := group{id: "chosen", title: stateNames(chosen), empty: "No job is in this state.", query: all}
	g.newest = !slices.ContainsFunc(chosen, func(state events.State) bool { return !state.Finished() })
	if !g.newest {
		g.query.After = from.at
		return g, nil
	}
	if slices.Equal(chosen, finishedStates()) {
		g.title = "Finished"
	}
	g.query.Limit = 0 // sorted by day here
	var err error
	g.skip, err = from.offset()
	return g, err
}

// boardGroups are the parts of the board in the order in which the office asks
// for them.
func (s *site) boardGroups(all reports.JobQuery, today events.Day) []group {
	running, ahead, finished := all, all, all
	running.States = []events.State{events.Running}
	ahead.States = []events.State{events.Opened, events.Estimated, events.Accepted}
	finished.States = finishedStates()
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

func (s *site) boardGroup(v visit, g group, w teller) (boardGroup, error) {
	rows, err := s.deps.Store.Jobs(v, g.query)
	if err != nil {
		return boardGroup{}, fmt.Errorf("list jobs: %w", err)
	}
	if g.newest {
		slices.SortFunc(rows, func(a, b reports.JobRow) int {
			return cmp.Or(cmp.Compare(b.Finished, a.Finished), cmp.Compare(a.Job, b.Job))
		})
		rows = rows[min(g.skip, len(rows)):]
	}
	links := g.links(rows)
	rows = rows[:min(groupMost, len(rows))]
	t, err := s.boardTable(v, g, rows, w)
	if err != nil {
		return boardGroup{}, err
	}
	shown := newTableView("jobs-"+g.id, t, w.Format)
	for i := range shown.Rows {
		shown.Rows[i].Cells[0].Word = rows[i].Job
	}
	return boardGroup{shown, links}, nil
}

// links leads from a group to the jobs that are not shown. rows are those from the
// first one shown.
func (g group) links(rows []reports.JobRow) []link {
	question := url.Values{}
	if slices.Equal(g.query.States, finishedStates()) {
		question.Set("state", anyFinished)
	} else {
		for _, state := range g.query.States {
			question.Add("state", string(state))
		}
	}
	if g.query.JobType != "" {
		question.Set("job_type", g.query.JobType)
	}
	first, more := "/?"+question.Encode(), len(rows) > groupMost
	switch g.id {
	case "chosen":
		var links []link
		if g.skip > 0 || g.query.After != "" {
			links = append(links, link{Text: "First page", Address: first})
		}
		if more {
			at := rows[groupMost-1].Job
			if g.newest {
				at = strconv.Itoa(g.skip + groupMost)
			}
			links = append(links, link{Text: "Next page", Address: nextPage("/", question, cursor{at, g.query.AsOf})})
		}
		return links
	case "finished":
		return []link{{Text: "All finished jobs", Address: first}}
	}
	if more {
		return []link{{Text: "All of these jobs", Address: first}}
	}
	return nil
}

// boardTable sets hours booked beside hours estimated. Both lead to their
// records.
func (s *site) boardTable(v visit, g group, rows []reports.JobRow, w teller) (reports.Table, error) {
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
	labour := reports.Query{Firm: v.Firm, AsOf: g.query.AsOf}.With(reports.ByKind, string(reports.KindLabour))
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
			{Text: cmp.Or(r.Title, r.Job), Job: r.Job}, {Text: wording.PlainKey(string(r.State))},
			{Number: planned[r.Job], Explain: &before}, {Number: booked[r.Job], Explain: &actual},
			{Text: w.JobType(r.JobType)}, {Text: string(r.Due)}, {Text: string(r.Finished)},
		})
	}
	return t, nil
}

// stateNames writes states as a heading.
func stateNames(chosen []events.State) string {
	names := make([]string, len(chosen))
	for i, state := range chosen {
		names[i] = wording.PlainKey(string(state))
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
		choices[i] = choice{Key: key, Name: wording.Named(names, key), Chosen: key == chosen}
	}
	return choices
}
