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
	"daysheet/services/pages"
	"daysheet/services/texts"
	"daysheet/services/wording"
)

// Limits of the board.
const (
	groupMost  = 100 // jobs of one group; the rest is behind a link
	recentDays = 90  // how long a finished job stays on the board
	choiceMost = 200 // jobs offered in a form
)

// boardBody is the page of all jobs.
type boardBody struct {
	Shown            string // which jobs are on the page
	OpenJob          string // address of the form that opens a job; empty for who may not
	States, JobTypes []choice
	UnderWay         bool // the page shows jobs under way, so that alerts belong on it
	Alerts           []alert
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
	w, err := s.teller(v, v.Firm)
	if err != nil {
		return page{}, err
	}
	tell := w.Speaker
	body := boardBody{JobTypes: sortedChoices(w.Names.JobTypes, jobType), States: stateChoices(tell, chosen)}
	all := reports.JobQuery{Firm: v.Firm, JobType: jobType, AsOf: position, Limit: groupMost + 1}
	groups := boardGroups(tell, all, s.today(w.Names))
	body.Shown = tell.Say("board.shown-now", "days", strconv.Itoa(recentDays))
	if len(chosen) > 0 {
		g, err := chosenGroup(tell, all, chosen, from)
		if err != nil {
			return page{}, err
		}
		groups = []group{g}
		body.Shown = tell.Say("board.shown-chosen")
		if g.newest {
			body.Shown = tell.Say("board.shown-finished")
		}
	} else {
		body.UnderWay = true
		if body.Alerts, err = s.alerts(v, jobType, position, w, tell); err != nil {
			return page{}, err
		}
	}
	if s.mayRecord(v) {
		body.OpenJob = pages.RecordPath(events.JobOpened)
	}
	for _, g := range groups {
		shown, err := s.boardGroup(v, g, w, tell)
		if err != nil {
			return page{}, err
		}
		body.Groups = append(body.Groups, shown)
	}
	return page{
		Name: boardPage, Title: tell.Say("nav.jobs"), Watch: "/v1/watch", Redraws: true, AsOf: position, Body: body,
		Texts: tell.Texts,
	}, tell.Err
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
func stateChoices(tell *texts.Speaker, chosen []events.State) []choice {
	finished := slices.Equal(chosen, finishedStates())
	var choices []choice
	for _, state := range events.States() {
		choices = append(choices, choice{Key: string(state), Name: stateName(tell, state),
			Chosen: !finished && slices.Contains(chosen, state)})
	}
	return append(choices, choice{Key: anyFinished, Name: tell.Say("board.finished-all"), Chosen: finished})
}

// chosenGroup is the board where states are chosen: finished jobs by their day,
// the newest first, and others by their key.
func chosenGroup(tell *texts.Speaker, all reports.JobQuery, chosen []events.State, from cursor) (group, error) {
	all.States = chosen
	title := stateNames(chosen, func(state events.State) string { return stateName(tell, state) })
	g := group{id: "chosen", title: title, empty: tell.Say("board.chosen.empty"), query: all}
	g.newest = !slices.ContainsFunc(chosen, func(state events.State) bool { return !state.Finished() })
	if !g.newest {
		g.query.After = from.at
		return g, nil
	}
	if slices.Equal(chosen, finishedStates()) {
		g.title = tell.Say("board.finished")
	}
	g.query.Limit = 0 // sorted by day here
	var err error
	g.skip, err = from.offset()
	return g, err
}

// boardGroups are the parts of the board in the order in which the office asks
// for them.
func boardGroups(tell *texts.Speaker, all reports.JobQuery, today events.Day) []group {
	running, ahead, finished := all, all, all
	running.States = []events.State{events.Running}
	ahead.States = []events.State{events.Opened, events.Estimated, events.Accepted}
	finished.States = finishedStates()
	finished.FinishedFrom = today.Add(-recentDays)
	finished.Limit = 0 // sorted by day here, and bounded by the days
	return []group{
		{id: "running", title: tell.Say("board.running"), query: running, empty: tell.Say("board.running.empty")},
		{id: "ahead", title: tell.Say("board.not-started"), query: ahead, empty: tell.Say("board.not-started.empty")},
		{id: "finished", title: tell.Say("board.finished-lately", "days", strconv.Itoa(recentDays)), query: finished,
			newest: true, empty: tell.Say("board.finished-lately.empty")},
	}
}

func (s *site) boardGroup(v visit, g group, w teller, tell *texts.Speaker) (boardGroup, error) {
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
	links := g.links(tell, rows)
	rows = rows[:min(groupMost, len(rows))]
	hours := map[string]reports.JobHours{}
	if len(rows) > 0 {
		if hours, err = s.hoursOf(v, s.deps.Store, g.query.AsOf, rows); err != nil {
			return boardGroup{}, err
		}
	}
	shown := newTableView("jobs-"+g.id, boardTable(v, g, rows, hours, w, tell), w)
	shown.Cards = true
	for i, r := range rows {
		shown.Rows[i].Key, shown.Rows[i].Cells[0].Word = r.Job, r.Job
		if r.State == events.Running {
			shown.Rows[i].Cells[3].Beside = earnedWord(tell, w, hours[r.Job])
		}
	}
	return boardGroup{shown, links}, nil
}

// links leads from a group to the jobs that are not shown. rows are those from the
// first one shown.
func (g group) links(tell *texts.Speaker, rows []reports.JobRow) []link {
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
			links = append(links, link{Text: tell.Say("board.first-page"), Address: first})
		}
		if more {
			at := rows[groupMost-1].Job
			if g.newest {
				at = strconv.Itoa(g.skip + groupMost)
			}
			next := nextPage("/", question, cursor{at, g.query.AsOf})
			links = append(links, link{Text: tell.Say("board.next-page"), Address: next})
		}
		return links
	case "finished":
		return []link{{Text: tell.Say("board.all-finished"), Address: first}}
	}
	if more {
		return []link{{Text: tell.Say("board.all-of-these"), Address: first}}
	}
	return nil
}

// boardTable sets hours booked beside hours estimated. Both lead to their
// records.
func boardTable(
	v visit, g group, rows []reports.JobRow, hours map[string]reports.JobHours, w teller, tell *texts.Speaker,
) reports.Table {
	t := reports.Table{Title: g.title, Empty: g.empty, Columns: boardColumns(tell)}
	if !slices.ContainsFunc(g.query.States, events.State.Finished) {
		t.Columns = t.Columns[:len(t.Columns)-1] // no job here has a day on which it was finished
	}
	labour := reports.Query{Firm: v.Firm, AsOf: g.query.AsOf}.With(reports.ByKind, string(reports.KindLabour))
	for _, r := range rows {
		of := labour.With(reports.ByJob, r.Job)
		before := of.With(reports.BySide, string(reports.SideEstimate), string(reports.SideVariation))
		actual := of.With(reports.BySide, string(reports.SideActual))
		row := []reports.Cell{
			{Text: cmp.Or(r.Title, r.Job), Job: r.Job}, {Text: stateName(tell, r.State)},
			{Number: hours[r.Job].Planned, Explain: &before}, {Number: hours[r.Job].Booked, Explain: &actual},
			{Text: w.JobType(r.JobType)}, {Text: string(r.Due)}, {Text: string(r.Finished)},
		}
		t.Rows = append(t.Rows, row[:len(t.Columns)])
	}
	return t
}

func boardColumns(tell *texts.Speaker) []reports.Column {
	return []reports.Column{
		{Key: "title", Title: tell.Say("board.job"), Form: reports.FormText},
		{Key: "state", Title: tell.Say("board.state"), Form: reports.FormText},
		{Key: "budget_minutes", Title: tell.Say("board.estimated"), Form: reports.FormMinutes},
		{Key: "actual_minutes", Title: tell.Say("board.booked"), Form: reports.FormMinutes},
		{Key: "job_type", Title: tell.Say("board.job-type"), Form: reports.FormText},
		{Key: "due", Title: tell.Say("board.due"), Form: reports.FormDay},
		{Key: "finished", Title: tell.Say("board.finished"), Form: reports.FormDay},
	}
}

func stateName(tell *texts.Speaker, state events.State) string {
	return tell.Say("state." + string(state))
}

// stateNames writes states as a heading.
func stateNames(chosen []events.State, name func(events.State) string) string {
	names := make([]string, len(chosen))
	for i, state := range chosen {
		names[i] = name(state)
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
