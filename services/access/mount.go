package access

import (
	"context"
	"embed"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/services/httpd"
	"daysheet/services/pages"
	"daysheet/services/texts"
	"daysheet/services/wording"
)

// Deps is what the routes need. Every member is required.
type Deps struct {
	Frame *pages.Frame
	// Commits returns a job's commits up to a sequence, oldest first; 0 is all.
	Commits wording.Commits
	// Names returns how a firm calls its things, with its settings.
	Names func(ctx context.Context, firm string) (reports.Names, error)
}

// pagePath is where the owner reads the changes.
const pagePath = "/office/access"

//go:embed templates
var templates embed.FS

// Mount adds the page and the route of the API. Both are the owner's alone.
func Mount(server *httpd.Server, deps Deps) error {
	if deps.Frame == nil || deps.Commits == nil || deps.Names == nil {
		return errors.New("mount access: every member of Deps must be set")
	}
	if err := deps.Frame.AddBodies(templates, "templates/*.html"); err != nil {
		return fmt.Errorf("mount access: %w", err)
	}
	owner := server.Engine.Group("", httpd.Require(httpd.ScopeAdmin))
	owner.GET(pagePath, deps.Frame.Handler(deps.page))
	huma.Register(server.API, huma.Operation{
		OperationID: "list-access-changes", Method: http.MethodGet, Path: "/v1/access-changes", Tags: []string{"access"},
		Summary: "List changes of access", Description: "Who was given access, who lost it, and who did either, newest " +
			"first.",
		Metadata: map[string]any{"scope": []httpd.Scope{httpd.ScopeAdmin}},
		Errors: []int{http.StatusUnauthorized, http.StatusForbidden, http.StatusNotFound, http.StatusUnprocessableEntity,
			http.StatusTooManyRequests, http.StatusServiceUnavailable},
	}, deps.list)
	return nil
}

type listIn struct {
	Before string `query:"before" doc:"Go on behind this change: next of the answer before"`
	Limit  int    `query:"limit" default:"50" minimum:"1" maximum:"500" doc:"At most so many"`
}

type listOut struct{ Body changesBody }

type changesBody struct {
	Changes []changed `json:"changes" doc:"Newest first"`
	Next    string    `json:"next,omitempty" doc:"For before, to go on; left out at the end"`
}

func (d Deps) list(ctx context.Context, in *listIn) (*listOut, error) {
	caller, err := httpd.RequireCaller(ctx)
	if err != nil {
		return nil, err
	}
	out := &listOut{}
	out.Body.Changes, out.Body.Next, err = read(ctx, d.Commits, caller.Firm, in.Before, in.Limit)
	if out.Body.Changes == nil {
		out.Body.Changes = []changed{} // an empty list, not a missing one
	}
	return out, err
}

// pageBody is the page.
type pageBody struct {
	Table pages.Table
	Next  string // address of the next page; empty on the last
	Back  bool   // this is not the first page
}

func (d Deps) page(v pages.Visit) (pages.Page, error) {
	names, err := d.Names(v, v.Firm)
	if err != nil {
		return pages.Page{}, fmt.Errorf("read names: %w", err)
	}
	say := &texts.Speaker{Texts: d.Frame.Texts(names.Locale)}
	before := v.Values.Get("before")
	list, next, err := read(v, d.Commits, v.Firm, before, pageUsual)
	if err != nil {
		return pages.Page{}, err
	}
	title, format := say.Say("access.title"), wording.NewFormat(names)
	body := pageBody{Back: before != "", Table: pages.Table{ID: "changes", Title: title, Empty: say.Say("access.none"),
		Columns: []pages.Column{{Title: say.Say("access.when")}, {Title: say.Say("access.what")},
			{Title: say.Say("access.by")}}}}
	for _, c := range list {
		body.Table.Rows = append(body.Table.Rows, rowOf(say, format, names, c))
	}
	if next != "" {
		body.Next = pagePath + "?" + url.Values{"before": {next}}.Encode()
	}
	return pages.Page{Name: "access.html", Title: title, Body: body, Texts: say.Texts,
		Crumbs: []pages.Link{{Text: say.Say("nav.office"), Address: "/office"}, {Text: title}}}, say.Err
}

// rowOf says a change in the language of the firm.
func rowOf(say *texts.Speaker, format wording.Format, names reports.Names, c changed) pages.Row {
	day := func(at time.Time) string { return format.Day(events.DayOf(names.Local(at))) }
	var more []string
	if c.Role != "" {
		more = append(more, say.Say("access.role."+c.Role))
	}
	for _, s := range c.Scopes {
		more = append(more, say.Say("tokens.may."+s))
	}
	if c.Purpose != "" {
		more = append(more, say.Say("access.purpose."+c.Purpose))
	}
	if c.Job != "" {
		more = append(more, say.Say("access.job", "job", c.Job))
	}
	if end, err := time.Parse(time.RFC3339, c.Expires); err == nil {
		more = append(more, say.Say("access.ends", "day", day(end)))
	}
	return pages.Row{Cells: []pages.Cell{{Text: day(c.Time) + " " + names.Local(c.Time).Format("15:04"), Head: true},
		{Text: say.Say("access.what."+c.What, "name", c.Name), Word: strings.Join(more, " · ")}, {Text: c.By}}}
}
