package reporting

import (
	"context"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"time"

	"github.com/gin-gonic/gin"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/services/httpd"
	"daysheet/services/pages"
	"daysheet/services/projector"
	"daysheet/services/recent"
)

// Store is what is asked of a store of facts. Its methods are safe for
// concurrent use.
type Store interface {
	Sum(ctx context.Context, q reports.Query) ([]reports.Total, error)
	Lines(ctx context.Context, q reports.Query) ([]reports.Fact, error)
	Jobs(ctx context.Context, q reports.JobQuery) ([]reports.JobRow, error)
}

// Deps is what the routes need. Every member but Customer and Photos is required.
type Deps struct {
	Frame *pages.Frame // what the pages stand in
	Store Store

	// Names returns how a firm calls its things, as of now.
	Names func(ctx context.Context, firm string) (reports.Names, error)

	// Commits returns a job's commits up to a sequence, oldest first; 0 is all.
	Commits func(ctx context.Context, firm, job string, upTo uint64) ([]events.Stored, error)

	// Watch tells of a firm's commits once the store holds them, until stop is
	// called or the channel is closed.
	Watch func(firm string) (notices <-chan projector.Notice, stop func())

	// Position returns the position of the firm's partition of the log up to
	// which the store holds everything. It may wait a moment for what was recorded last.
	Position func(firm string) uint64

	// Reached is Position without the wait.
	Reached func(firm string) uint64

	// Job reads a job with its facts up to a sequence of the log, 0 for all of it. It may
	// wait a moment for what was recorded on that job last.
	Job func(ctx context.Context, firm, job string, upTo uint64) (projector.Job, error)

	// Customer returns what to show of a customer beside the key, empty where nothing
	// is known. It is nil in a process that serves no customers.
	Customer func(ctx context.Context, firm, customer string) (string, error)

	// Photos says which photos are there. It is nil in a process that has none.
	Photos Photos

	// Clock returns the present, in the time zone whose calendar day is today.
	Clock func() time.Time
}

//go:embed templates assets/charts.js
var own embed.FS

// libFiles holds what npm brought; nothing but a .gitignore where it was not
// asked for, so that the program builds without it.
//
//go:embed all:web/lib
var libFiles embed.FS

// chartLibrary is the file without which pages show tables alone.
const chartLibrary = "echarts.js"

// site is the pages and the API with what they stand on.
type site struct {
	deps        Deps
	frame       *pages.Frame
	definitions []reports.Definition
	ofJob       []reports.Definition // what the page of a job shows
	notices     notices
	kept        openKept
	made        *madeReports
}

// Mount adds the routes to the server: reports, jobs, the facts behind figures,
// the stream of changes, and the pages. It fails where something is missing from
// deps or from the program; the server must not be started then.
func Mount(server *httpd.Server, deps Deps) error {
	lib, err := fs.Sub(libFiles, "web/lib")
	if err != nil {
		return fmt.Errorf("mount reporting: %w", err)
	}
	return mount(server, deps, lib)
}

// mount is [Mount] with the folder in which the chart library is, if it is.
func mount(server *httpd.Server, deps Deps, lib fs.FS) error {
	if deps.Frame == nil || deps.Store == nil || deps.Names == nil || deps.Commits == nil || deps.Watch == nil ||
		deps.Position == nil || deps.Reached == nil || deps.Job == nil || deps.Clock == nil {
		return errors.New("mount reporting: every member of Deps must be set")
	}
	s := &site{deps: deps, frame: deps.Frame, definitions: reports.Definitions(),
		made: recent.New[reportKey, reports.Report](cellsKept)}
	for _, name := range []string{"job-summary", "estimate-vs-actual"} {
		d, ok := reports.DefinitionOf(name)
		if !ok {
			return fmt.Errorf("mount reporting: there is no report %q for the page of a job", name)
		}
		s.ofJob = append(s.ofJob, d)
	}
	if err := s.addFiles(lib); err != nil {
		return fmt.Errorf("mount reporting: %w", err)
	}
	s.mountPages(server.Engine)
	s.mountJobs(server.API)
	s.mountReports(server.API)
	s.mountExplain(server.API)
	s.mountWatch(server.API)
	return nil
}

// addFiles puts the bodies of the pages, the chart library and what draws with it
// into the frame.
func (s *site) addFiles(lib fs.FS) error {
	if err := s.frame.AddParts(own, "templates/parts/*.html"); err != nil {
		return err
	}
	if err := s.frame.AddBodies(own, "templates/*.html"); err != nil {
		return err
	}
	if err := s.frame.AddFiles(own, "assets/*"); err != nil {
		return err
	}
	if err := s.frame.AddFiles(lib, chartLibrary); err != nil {
		return err
	}
	var err error
	s.notices, err = readNotices(lib, s.frame.Has(chartLibrary))
	return err
}

// mountPages adds what people look at.
func (s *site) mountPages(engine *gin.Engine) {
	read := engine.Group("", httpd.Require(httpd.ScopeRead))
	at := func(path string, build func(visit) (page, error)) { read.GET(path, s.frame.Handler(build)) }
	engine.GET("/", s.frame.Begin, httpd.Require(httpd.ScopeRead), s.frame.Handler(s.showBoard))
	at("/jobs/:job", s.showJob)
	at("/jobs/:job/records", s.showRecords)
	at("/explain", s.showExplain)
	at("/reports", s.showReports)
	at("/quotes", s.showQuote)
	read.POST(takeOffIn, s.frame.Handler(s.fillQuote))
	read.GET(takeOffOut, s.quoteTable)
	at("/help", s.showHelp)
	at("/licences", s.showLicences)
	for _, d := range s.definitions {
		at("/reports/"+d.Name, s.showReport(d))
		read.GET("/reports/"+d.Name+"/figures/:figure", s.figure(d))
	}
}
