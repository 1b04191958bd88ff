package reporting

import (
	"context"
	"errors"
	"fmt"
	"html/template"
	"io/fs"
	"slices"
	"sync"
	"time"

	"github.com/gin-gonic/gin"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/services/httpd"
	"daysheet/services/projector"
)

// Store is what is asked of a store of facts. Its methods are safe for
// concurrent use.
type Store interface {
	Sum(ctx context.Context, q reports.Query) ([]reports.Total, error)
	Lines(ctx context.Context, q reports.Query) ([]reports.Fact, error)
	Jobs(ctx context.Context, q reports.JobQuery) ([]reports.JobRow, error)
}

// Deps is what the routes need. Every member is required.
type Deps struct {
	Store Store

	// Names returns how a firm calls its things, as of now.
	Names func(ctx context.Context, firm string) (reports.Names, error)

	// Commits returns a job's commits up to a sequence, oldest first; 0 is all.
	Commits func(ctx context.Context, firm, job string, upTo uint64) ([]events.Stored, error)

	// Watch tells of a firm's commits once the store holds them, until stop is
	// called or the channel is closed.
	Watch func(firm string) (notices <-chan projector.Notice, stop func())

	// Position returns the position of the firm's partition of the log up to
	// which the store holds everything.
	Position func(firm string) uint64

	// Clock returns the present, in the time zone whose calendar day is today.
	Clock func() time.Time
}

// site is the pages and the API with what they stand on.
type site struct {
	deps        Deps
	definitions []reports.Definition
	ofJob       []reports.Definition // what the page of a job shows
	assets      *assets
	pages       map[string]*template.Template
	pairsPhones func() bool // asked once requests come in: what else is served is known by then
}

// Mount adds the routes to the server: reports, jobs, the facts behind figures,
// the stream of changes, and the pages. It fails where something is missing from
// deps or from the program; the server must not be started then.
func Mount(server *httpd.Server, deps Deps) error {
	lib, err := fs.Sub(libAssets, "web/lib")
	if err != nil {
		return fmt.Errorf("mount reporting: %w", err)
	}
	return mount(server, deps, lib)
}

// mount is [Mount] with the folder in which the chart library is, if it is.
func mount(server *httpd.Server, deps Deps, lib fs.FS) error {
	if deps.Store == nil || deps.Names == nil || deps.Commits == nil || deps.Watch == nil ||
		deps.Position == nil || deps.Clock == nil {
		return errors.New("mount reporting: every member of Deps must be set")
	}
	s := &site{deps: deps, definitions: reports.Definitions()}
	for _, name := range []string{"job-summary", "estimate-vs-actual"} {
		d, ok := reports.DefinitionOf(name)
		if !ok {
			return fmt.Errorf("mount reporting: there is no report %q for the page of a job", name)
		}
		s.ofJob = append(s.ofJob, d)
	}
	var err error
	if s.assets, err = loadAssets(lib); err != nil {
		return fmt.Errorf("mount reporting: %w", err)
	}
	if s.pages, err = parsePages(); err != nil {
		return fmt.Errorf("mount reporting: %w", err)
	}
	s.pairsPhones = sync.OnceValue(func() bool {
		return slices.ContainsFunc(server.Engine.Routes(), func(r gin.RouteInfo) bool { return r.Path == phonesAt })
	})
	server.ProblemPage = s.problemPage
	s.mountPages(server.Engine)
	s.mountJobs(server.API)
	s.mountReports(server.API)
	s.mountExplain(server.API)
	s.mountWatch(server.API)
	return nil
}

// mountPages adds what people look at. The files of the pages are open: they
// hold nothing of a firm.
func (s *site) mountPages(engine *gin.Engine) {
	engine.GET(assetsAt+":hash/:name", s.asset)
	engine.HEAD(assetsAt+":hash/:name", s.asset)
	read := engine.Group("", httpd.Require(httpd.ScopeRead))
	read.GET("/", s.page(s.showBoard))
	read.GET("/jobs/:job", s.page(s.showJob))
	read.GET("/explain", s.page(s.showExplain))
	read.GET("/reports", s.page(s.showReports))
	read.GET("/quotes", s.page(s.showQuote))
	read.GET("/help", s.page(s.showHelp))
	read.GET("/licences", s.page(s.showLicences))
	for _, d := range s.definitions {
		read.GET("/reports/"+d.Name, s.page(s.showReport(d)))
		read.GET("/reports/"+d.Name+"/figures/:figure", s.figure(d))
	}
}

func (s *site) asset(c *gin.Context) {
	found, err := s.assets.serve(c.Writer, c.Request, c.Param("hash"), c.Param("name"))
	if err != nil {
		_ = c.Error(err) // hands it to the access log and returns it again
	}
	if !found {
		httpd.Abort(c, &events.Error{Code: events.NotFound, Field: "name", Value: c.Param("name"), Rule: "no such file"})
	}
}
