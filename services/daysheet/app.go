package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"runtime/debug"
	"sync"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"daysheet/events"
	"daysheet/services/access"
	"daysheet/services/crew"
	"daysheet/services/customers"
	"daysheet/services/eventlog"
	"daysheet/services/facts/clickhouse"
	"daysheet/services/httpd"
	"daysheet/services/intake"
	"daysheet/services/office"
	"daysheet/services/pages"
	"daysheet/services/photos"
	"daysheet/services/projector"
	"daysheet/services/quoting"
	"daysheet/services/reporting"
	"daysheet/services/sealing"
)

// The data folder.
const (
	logFolder    = "log"                 // the log: the truth
	factsFile    = "facts.duckdb"        // the store of facts: made from the log
	tokensFile   = "tokens.json"         // who may do what, secrets hashed
	peopleFile   = "people.json"         // who signs in by name, passwords hashed; beside the tokens
	sessionsFile = "sessions.json"       // who is signed in; beside the tokens
	accessFile   = "access-changes.json" // changes of access by command that wait to be recorded; beside the tokens
	linksFile    = "links.json"          // to single jobs, for customers; beside the tokens, secrets hashed
	keysFolder   = "keys"                // of customers: what is personal is sealed with them

	photosFolder     = "photos"     // what events name by digest: as much the truth as the log
	thumbnailsFolder = "thumbnails" // made from the photos

	signingFolder = "signing" // keys that firms sign papers with
)

// appConfig is what serve decides beyond the data folder.
type appConfig struct {
	nats        NATSFlags
	store       StoreFlags
	photos      PhotoFlags
	photoLimits photos.Limits
	httpd       httpd.Config
	roles       roles
	font        string // file of the font of papers; empty for the built-in ones
}

// app is the whole program, or the parts of it that run in this process, opened in
// the order in which data walks through it.
type app struct {
	logger     *slog.Logger
	roles      roles
	log        *eventlog.Log
	store      store                // nil where intake runs alone
	projector  *projector.Projector // likewise; it only watches the store where another process projects
	tokens     *httpd.Tokens
	people     *httpd.People
	auditor    httpd.Auditor      // records changes of access
	keys       *sealing.Keys      // nil where no customers are served
	photos     photos.Store       // nil where the projector runs alone
	thumbnails *photos.Thumbnails // likewise
	server     *httpd.Server
	backups    *backups

	stop    context.CancelFunc
	running sync.WaitGroup
}

// openApp opens the data folder and starts what runs in the background. The caller closes it.
func openApp(ctx context.Context, g *Globals, cfg appConfig) (_ *app, err error) {
	limitMemory()
	logger := g.logger()
	if err := os.MkdirAll(g.Data, 0o700); err != nil {
		return nil, fmt.Errorf("make data folder: %w", err)
	}
	if err := openFolder(ctx, g, cfg, logger); err != nil {
		return nil, err
	}
	a := &app{roles: cfg.roles, logger: logger}
	defer func() {
		if err != nil {
			err = errors.Join(err, a.Close())
		}
	}()
	if a.log, err = openLog(ctx, g, cfg.nats, logger); err != nil {
		return nil, err
	}
	if err := checkLog(ctx, a.log, fromNothing); err != nil { // before the store: it may have to restore the log
		return nil, err
	}
	if a.roles.usesStore() {
		if a.store, err = openStore(ctx, g, cfg.store, logger); err != nil {
			return nil, err
		}
		if err := checkLog(ctx, a.log, a.store.Position); err != nil {
			return nil, err
		}
	}
	if a.tokens, err = httpd.OpenTokens(g.tokensPath()); err != nil {
		return nil, err
	}
	a.auditor = access.NewAuditor(a.log.Record, time.Now)
	a.tokens.Audit(a.auditor)
	if a.roles.servesCustomers() {
		if a.keys, err = sealing.OpenKeys(g.keysPath()); err != nil {
			return nil, err
		}
	}
	background, stop := context.WithCancel(context.Background())
	a.stop = stop
	if a.roles.runs(roleIntake) {
		if err := a.recordCommands(background, g, logger); err != nil {
			return nil, err
		}
	}
	if a.store != nil {
		a.projector = projector.New(a.log, a.store, logger)
		if cfg.store.ClickHouse != "" {
			a.projector.Outlast(passes)
		}
		a.start(background, logger)
	}
	if err := a.mount(ctx, g, cfg, logger); err != nil {
		return nil, err
	}
	return a, nil
}

// goMemory is what Go's part of the program takes before it collects garbage more
// often than usual. It holds the bounded folds and projections with room to work;
// DuckDB has a limit of its own.
const goMemory = 192 << 20

// limitMemory sets goMemory, unless the environment says otherwise.
func limitMemory() {
	if os.Getenv("GOMEMLIMIT") == "" {
		debug.SetMemoryLimit(goMemory)
	}
}

// passes reports whether an error of a store on a server may pass by itself: the
// server is away, busy or full, and comes back.
func passes(err error) bool { return !errors.Is(err, clickhouse.ErrClosed) }

// start runs the projector until Close, or watches what another process projects.
// If it stops by itself, reports stay where they are, and whoever runs the server must see
// why. Recording goes on, unless an embedded log is damaged: what would come in then would
// have no copy in the store, so that the next damage could not be mended. An external one
// has its copies on other nodes.
func (a *app) start(ctx context.Context, logger *slog.Logger) {
	run := a.projector.Observe
	if a.roles.runs(roleProjector) {
		run = a.projector.Run
	}
	a.running.Go(func() {
		err := run(ctx)
		switch {
		case err == nil:
		case logDamaged(err) && a.log.Embedded():
			logger.Error("the log is damaged; nothing is recorded any more, and reports stay as they are", "reason", err,
				"do", wayOut)
			a.log.Halt("the log is damaged: " + wayOut)
		default:
			logger.Error("projector stopped; events are still recorded, reports stay as they are", "reason", advise(err))
		}
	})
}

// recordCommands records, until Close, what commands change of the access beside this
// process.
func (a *app) recordCommands(ctx context.Context, g *Globals, logger *slog.Logger) error {
	outbox, err := g.openOutbox()
	if err == nil {
		a.running.Go(func() { outbox.Watch(ctx, a.log.Record, logger) })
	}
	return err
}

// mount puts the routes of the parts that run on the engine.
func (a *app) mount(ctx context.Context, g *Globals, cfg appConfig, logger *slog.Logger) error {
	var err error
	if a.people, err = g.openPeople(); err != nil {
		return err
	}
	a.people.KeepOwners()
	a.people.Audit(a.auditor)
	cfg.httpd.People = a.people
	cfg.httpd.Tokens = a.tokens
	cfg.httpd.Logger = logger
	cfg.httpd.Version = build().Version
	cfg.httpd.Ready = map[string]func(context.Context) error{"log": a.logReady}
	if a.projector != nil {
		cfg.httpd.Ready["facts"] = a.caughtUp
	}
	if a.roles.runs(roleIntake) {
		cfg.httpd.OnSetup = a.setUp
	}
	a.backups = newBackups(g)
	cfg.httpd.Notes = map[string]func() string{"backup": a.backups.note}
	a.server = httpd.New(cfg.httpd)
	for _, c := range []prometheus.Collector{newMetrics(a.log, a.projector, a.roles), a.backups} {
		if err := a.server.Registry.Register(c); err != nil {
			return fmt.Errorf("add metrics: %w", err)
		}
	}
	if a.roles.runs(roleIntake) {
		if err := intake.Mount(a.server, customers.Guard{Recorder: a.log, Keys: a.keys}, a.log.Commits); err != nil {
			return err
		}
	}
	if err := a.mountPhotos(g, cfg, logger); err != nil {
		return err
	}
	if !a.roles.runs(roleReporting) {
		return nil
	}
	frame, err := pages.New(a.server)
	if err != nil {
		return err
	}
	frame.Speak(a.localeOf)
	frame.Warn(a.trouble)
	reporting.MountLedger(a.server, a.ledger())
	err = access.Mount(a.server, access.Deps{Frame: frame, Commits: a.log.Commits, Names: a.projector.Names})
	if err != nil {
		return err
	}
	var desk *customers.Desk
	var nameOf func(ctx context.Context, firm, customer string) (string, error)
	if a.roles.servesCustomers() {
		if desk, err = a.mountCustomers(ctx, frame); err != nil {
			return err
		}
		nameOf = desk.Name
	}
	if err := a.mountPapers(g, cfg, frame, desk); err != nil {
		return err
	}
	if a.roles.runs(roleIntake) {
		if err := a.mountRecording(frame, desk); err != nil {
			return err
		}
	}
	return reporting.Mount(a.server, reporting.Deps{
		Frame: frame, Store: a.store, Names: a.projector.Names, Commits: a.log.Commits, Watch: a.projector.Watch,
		Position: a.positionFor, Reached: a.reached, Job: a.projector.Job,
		Clock: time.Now, Customer: nameOf, Photos: a.photos,
	})
}

// mountRecording puts the routes on the engine that read and record: quotes, the
// office's forms and the crew's phones.
func (a *app) mountRecording(frame *pages.Frame, desk *customers.Desk) error {
	err := quoting.Mount(a.server, quoting.Deps{
		Store: a.store, Names: a.projector.Names, Position: a.positionFor, Record: a.log.Record, Clock: time.Now,
	})
	if err != nil {
		return err
	}
	if err := a.mountAddPhotos(frame); err != nil {
		return err
	}
	deps := office.Deps{
		Frame: frame, Store: a.store, Tokens: a.tokens, Names: a.projector.Names, Commits: a.log.Commits,
		Record: a.log.Record, Position: a.positionFor, Clock: time.Now, People: a.people,
		Backups: a.backups.times,
	}
	if desk != nil {
		deps.Customers = desk.Names
	}
	if err := office.Mount(a.server, deps); err != nil {
		return err
	}
	return crew.Mount(a.server, crew.Deps{
		Frame: frame, Jobs: a.store.Jobs, Names: a.projector.Names, Commits: a.log.Commits, Position: a.positionFor,
		Tokens: a.tokens, Clock: time.Now,
	})
}

// mountCustomers puts the routes about customers on the engine.
func (a *app) mountCustomers(ctx context.Context, frame *pages.Frame) (*customers.Desk, error) {
	return customers.Mount(ctx, a.server, customers.Deps{
		Frame: frame, Keys: a.keys, Customers: a.projector.Customers, Customer: a.projector.Customer, Jobs: a.store.Jobs,
		Commits: a.log.Commits, Names: a.projector.Names, Position: a.positionFor, Record: a.log.Record, Clock: time.Now,
	})
}

// reached returns the position up to which the store holds everything of a firm.
func (a *app) reached(firm string) uint64 { return a.projector.Position(eventlog.Partition(firm)) }

// positionFor returns the position that a firm's reports are answered at. It waits,
// for a moment at most, until what was acknowledged before is part of it: who has
// just recorded something looks for it next.
func (a *app) positionFor(firm string) uint64 {
	const moment = time.Second
	ctx, cancel := context.WithTimeout(context.Background(), moment)
	defer cancel()
	partition := eventlog.Partition(firm)
	if last, err := a.log.Last(ctx, partition); err == nil && last > a.projector.Position(partition) {
		// Not in time is no error: the answer says which position it is for.
		_ = a.projector.Wait(ctx, firm, last)
	}
	return a.projector.Position(partition)
}

// setUp records a new firm's settings and waits until the pages can show them.
func (a *app) setUp(ctx context.Context, firm string, settings events.Settings) error {
	e, err := settingsEvent(settings, time.Now())
	if err != nil {
		return err
	}
	receipts, err := a.log.Record(ctx, firm, events.FirmJob, "set-up", []events.Event{e})
	if err != nil {
		return err
	}
	if !a.roles.runs(roleProjector) {
		return nil // the settings are recorded, and another process projects them in its time
	}
	return a.projector.Wait(ctx, firm, receipts[0].Sequence)
}

// catchUp waits until the facts of a firm stand where its log stands now.
func (a *app) catchUp(ctx context.Context, firm string) error {
	last, err := a.log.Last(ctx, eventlog.Partition(firm))
	if err != nil {
		return err
	}
	return a.projector.Wait(ctx, firm, last)
}

// Close closes everything in reverse order and waits for it.
func (a *app) Close() error {
	var errs []error
	if a.stop != nil {
		a.stop()
		a.running.Wait()
	}
	if a.tokens != nil {
		errs = append(errs, a.tokens.Close())
	}
	if a.store != nil {
		errs = append(errs, a.store.Close())
	}
	if a.log != nil {
		errs = append(errs, a.log.Close())
	}
	return errors.Join(errs...)
}
