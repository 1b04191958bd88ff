package crew

import (
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"maps"
	"net/http"
	"slices"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/services/httpd"
	"daysheet/services/texts"
	"daysheet/services/wording"
)

// jobsMost bounds how many jobs a phone is given: those due first.
const jobsMost = 200

// dayBody is what a phone needs for a day without a connection.
type dayBody struct {
	Firm     string        `json:"firm" doc:"Key of the firm that the token belongs to"`
	Name     string        `json:"name" doc:"Name of the firm"`
	Device   string        `json:"device" doc:"Name of the token: it stands beside what the phone records"`
	Person   bool          `json:"person,omitempty" doc:"The caller signed in by name and has a password to change"`
	Today    events.Day    `json:"today" doc:"The day where the firm works"`
	Locale   string        `json:"locale,omitempty" doc:"BCP 47 tag of the firm for numbers and dates"`
	AsOf     uint64        `json:"as_of" doc:"Position in the log that the answer is valid for"`
	People   []personBody  `json:"people" doc:"Who books hours"`
	Tasks    []taskBody    `json:"tasks" doc:"Standard tasks and the firm's own"`
	Products []productBody `json:"products" doc:"Products listed now"`
	Units    []events.Unit `json:"units"`
	Jobs     []*jobBody    `json:"jobs" doc:"Accepted and running jobs, those due first"`
	More     int           `json:"more,omitempty" doc:"Jobs that were left out because there are too many"`
}

type personBody struct {
	Person string `json:"person"`
	Name   string `json:"name"`
}

type taskBody struct {
	Task   string        `json:"task"`
	Name   string        `json:"name"`
	Family events.Family `json:"family"`
	Unit   events.Unit   `json:"unit" doc:"What its quantity is usually counted in"`

	Caution string `json:"caution,omitempty" doc:"What to mind while it is covered, in the firm's language"`
}

type productBody struct {
	Product string      `json:"product"`
	Name    string      `json:"name"`
	Unit    events.Unit `json:"unit"`
}

// meBody says for whom a phone records, before it sends what waits.
type meBody struct {
	Firm   string    `json:"firm" doc:"Key of the firm that the token belongs to"`
	Device string    `json:"device" doc:"Name of the token"`
	Now    time.Time `json:"now" doc:"The server's clock, so that a phone can see that its own is wrong"`
}

type dayIn struct {
	Match string `header:"If-None-Match" doc:"ETag of an answer that the caller holds"`
}

type dayOut struct {
	Status       int
	ETag         string `header:"ETag"`
	CacheControl string `header:"Cache-Control"`
	Vary         string `header:"Vary"`
	Body         *dayBody
}

type meOut struct{ Body meBody }

// mountDay adds what the pages ask for.
func (c *crew) mountDay(api huma.API) {
	scope := map[string]any{"scope": httpd.ScopeRecord}
	huma.Register(api, huma.Operation{
		OperationID: "get-crew-day", Method: http.MethodGet, Path: "/v1/crew/day", Tags: []string{"crew"},
		Summary: "What the crew needs today", Metadata: scope,
		Description: "Accepted and running jobs with what is down and open on them, the names to record with, and the " +
			"token's own entries of today and of the last day before. No prices and no hours of others.",
	}, c.day)
	huma.Register(api, huma.Operation{
		OperationID: "get-crew-me", Method: http.MethodGet, Path: "/v1/crew/me", Tags: []string{"crew"},
		Summary: "For whom the token records, and the server's clock", Metadata: scope,
	}, func(ctx context.Context, _ *struct{}) (*meOut, error) {
		caller, _ := httpd.CallerFrom(ctx)
		return &meOut{meBody{caller.Firm, caller.Name, c.deps.Clock().UTC()}}, nil
	})
}

// day answers with the list, or says that the caller's is still good.
func (c *crew) day(ctx context.Context, in *dayIn) (*dayOut, error) {
	caller, _ := httpd.CallerFrom(ctx)
	position := c.deps.Position(caller.Firm)
	names, err := c.deps.Names(ctx, caller.Firm)
	if err != nil {
		return nil, fmt.Errorf("read names: %w", err)
	}
	today := events.DayOf(names.Local(c.deps.Clock()))
	state := sha256.Sum256(fmt.Append(nil, c.filesOf(names).hash, " ", caller.Firm, " ", position, " ", today, " ",
		caller.Name))
	out := &dayOut{ETag: `"` + hex.EncodeToString(state[:16]) + `"`, CacheControl: "private, no-cache",
		Vary: "Authorization, Cookie"}
	if in.Match == out.ETag {
		out.Status = http.StatusNotModified
		return out, nil
	}
	out.Status, out.Body = http.StatusOK, &dayBody{
		Firm: caller.Firm, Name: caller.Firm, Device: caller.Name, Person: caller.Person, Today: today,
		AsOf: position, Locale: names.Locale,
		People: []personBody{}, Products: []productBody{}, Units: events.Units(), Jobs: []*jobBody{},
	}
	language := c.deps.Frame.Texts(names.Locale)
	if names, err = wording.InLanguage(names, language); err != nil {
		return nil, fmt.Errorf("name tasks: %w", err)
	}
	out.Body.learn(names, language)
	return out, c.addJobs(ctx, caller, out.Body)
}

// learn takes in the names that a phone records with.
func (d *dayBody) learn(names reports.Names, language *texts.Texts) {
	for _, t := range events.StandardTasks() {
		d.Tasks = append(d.Tasks, taskBody{t.Task, names.Tasks[t.Task], t.Family, t.Unit,
			httpd.Sentence(language.Translate(reports.CoverCaution(t.Task)))})
	}
	for _, key := range slices.Sorted(maps.Keys(names.Listed)) {
		p := names.Listed[key]
		d.Products = append(d.Products, productBody{p.Product, p.Name, p.Unit})
	}
	if names.Settings == nil {
		return
	}
	d.Name = names.Settings.Name
	for _, t := range names.Settings.Tasks {
		d.Tasks = append(d.Tasks, taskBody{t.Task, t.Name, t.Family, t.Unit, ""})
	}
	for _, p := range names.Settings.People {
		d.People = append(d.People, personBody{p.Person, p.Name})
	}
}

// addJobs reads the jobs that work is done on, those due first.
func (c *crew) addJobs(ctx context.Context, caller httpd.Caller, d *dayBody) error {
	rows, err := c.deps.Jobs(ctx, reports.JobQuery{Firm: caller.Firm, AsOf: d.AsOf,
		States: []events.State{events.Accepted, events.Running}})
	if err != nil {
		return fmt.Errorf("list jobs: %w", err)
	}
	const never = "9999"
	due := func(r reports.JobRow) events.Day { return cmp.Or(r.Due, never) }
	slices.SortFunc(rows, func(a, b reports.JobRow) int {
		return cmp.Or(cmp.Compare(due(a), due(b)), cmp.Compare(a.Job, b.Job))
	})
	if len(rows) > jobsMost {
		d.More = len(rows) - jobsMost
		rows = rows[:jobsMost]
	}
	for _, r := range rows {
		stored, err := c.deps.Commits(ctx, caller.Firm, r.Job, r.Sequence)
		if err != nil {
			return fmt.Errorf("read commits of job %s: %w", r.Job, err)
		}
		j, err := newJobBody(r, stored, caller.Name, d.Today)
		if err != nil {
			return err
		}
		d.Jobs = append(d.Jobs, j)
	}
	return nil
}
