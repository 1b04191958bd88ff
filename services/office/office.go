package office

import (
	"context"
	"embed"
	"errors"
	"fmt"
	"time"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/services/httpd"
	"daysheet/services/pages"
	"daysheet/services/texts"
	"daysheet/services/wording"
)

// Store is what is asked of a store of facts: the firm's jobs.
type Store interface {
	Jobs(ctx context.Context, q reports.JobQuery) ([]reports.JobRow, error)
}

// Deps is what the pages need. Every member but the last two is required.
type Deps struct {
	Frame  *pages.Frame
	Store  Store
	Tokens *httpd.Tokens
	// Names returns how a firm calls its things, with its settings, as of now.
	Names func(ctx context.Context, firm string) (reports.Names, error)
	// Commits returns a job's commits up to a sequence, oldest first; 0 is all.
	Commits wording.Commits
	// Record puts events of one job into the log, all or none.
	Record func(ctx context.Context, firm, job, by string, submitted []events.Event) ([]events.Receipt, error)
	// Position returns the position up to which the store holds everything. It waits a
	// moment for what was just recorded.
	Position func(firm string) uint64
	// Clock returns the present.
	Clock func() time.Time
	// Customers returns the keys of the firm's customers with their names. Nil
	// where this process serves none.
	Customers func(ctx context.Context, firm string) (map[string]string, error)
	// People are those who sign in by name. Nil where nobody does: there is no page then.
	People *httpd.People
	// Backups returns when the last good backup of the ledger was made, and when one
	// failed since; zero times where there is none. Nil where this process does not know.
	Backups func() (last, failed time.Time, err error)
}

// desk is the pages with what they stand on.
type desk struct {
	deps  Deps
	forms []form
}

//go:embed templates
var own embed.FS

// Mount adds the pages to the server. It fails where something is missing from deps.
func Mount(server *httpd.Server, deps Deps) error {
	if deps.Frame == nil || deps.Store == nil || deps.Tokens == nil || deps.Names == nil || deps.Commits == nil ||
		deps.Record == nil || deps.Position == nil || deps.Clock == nil {
		return errors.New("mount office: every member of Deps but Customers and People must be set")
	}
	d := &desk{deps: deps, forms: append(newForms(), newDaySheet())}
	if err := deps.Frame.AddParts(own, "templates/parts/*.html"); err != nil {
		return fmt.Errorf("mount office: %w", err)
	}
	if err := deps.Frame.AddBodies(own, "templates/*.html"); err != nil {
		return fmt.Errorf("mount office: %w", err)
	}
	d.mount(server)
	return nil
}

func (d *desk) mount(server *httpd.Server) {
	record := server.Engine.Group("", httpd.Require(httpd.Office))
	show := func(path string, build func(pages.Visit) (pages.Page, error)) {
		record.GET(path, d.deps.Frame.Handler(build))
	}
	show("/office", d.showIndex)
	show("/office/firm", d.showFirm)
	d.mountSettings(record)
	d.mountTokens(server.Engine)
	d.mountImport(server, record)
	d.mountTables(server)
	if d.deps.People != nil {
		d.mountPeople(server.Engine)
	}
	for i := range d.forms {
		f := &d.forms[i]
		show(f.path, func(v pages.Visit) (pages.Page, error) { return d.showForm(v, f) })
		record.POST(f.path, d.deps.Frame.Handler(func(v pages.Visit) (pages.Page, error) { return d.sendForm(v, f) }))
	}
}

// names returns how the caller's firm calls its things, with what was just recorded, and
// who says what the firm's pages say.
func (d *desk) names(v pages.Visit) (reports.Names, *texts.Speaker, error) {
	d.deps.Position(v.Firm) // waits for it
	names, err := d.deps.Names(v, v.Firm)
	if err != nil {
		return names, nil, fmt.Errorf("read names: %w", err)
	}
	say := &texts.Speaker{Texts: d.deps.Frame.Texts(names.Locale)}
	names, err = wording.InLanguage(names, say.Texts)
	return names, say, err
}

// spoken returns a page in the language of its speaker.
func spoken(say *texts.Speaker, p pages.Page) (pages.Page, error) {
	p.Texts = say.Texts
	return p, say.Err
}

// history reads the log of a job, or the firm's own under [events.FirmJob].
func (d *desk) history(v pages.Visit, job string) (*wording.History, error) {
	return wording.ReadHistory(v, d.deps.Commits, v.Firm, job, 0)
}

// today returns the calendar day where the firm works.
func (d *desk) today(names reports.Names) events.Day {
	return events.DayOf(names.Local(d.deps.Clock()))
}

// crumbs leads from the desk to a page.
func crumbs(say *texts.Speaker, to ...pages.Link) []pages.Link {
	return append([]pages.Link{{Text: say.Say("nav.office"), Address: "/office"}}, to...)
}
