package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"runtime/debug"
	"sync"
	"time"

	"daysheet/events"
	"daysheet/services/eventlog"
	"daysheet/services/httpd"
	"daysheet/services/intake"
	"daysheet/services/projector"
	"daysheet/services/reporting"
)

// The data folder.
const (
	logFolder  = "log"          // the log: the truth
	factsFile  = "facts.duckdb" // the store of facts: made from the log
	tokensFile = "tokens.json"  // who may do what, secrets hashed
)

// appConfig is what serve decides beyond the data folder.
type appConfig struct {
	nats  NATSFlags
	store StoreFlags
	httpd httpd.Config
}

// app is the whole program, opened in the order in which data walks through it.
type app struct {
	log       *eventlog.Log
	store     store
	projector *projector.Projector
	tokens    *httpd.Tokens
	server    *httpd.Server

	stop    context.CancelFunc
	running sync.WaitGroup
	failed  chan error // the projector's end, if it was not asked to stop
}

// openApp opens the data folder and starts the projector. The caller closes it.
func openApp(ctx context.Context, g *Globals, cfg appConfig) (_ *app, err error) {
	limitMemory()
	logger := g.logger()
	if err := os.MkdirAll(g.Data, 0o700); err != nil {
		return nil, fmt.Errorf("make data folder: %w", err)
	}
	a := &app{failed: make(chan error, 1)}
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
	if a.store, err = openStore(ctx, g, cfg.store, logger); err != nil {
		return nil, err
	}
	if err := checkLog(ctx, a.log, a.store.Position); err != nil {
		return nil, err
	}
	if a.tokens, err = httpd.OpenTokens(filepath.Join(g.Data, tokensFile)); err != nil {
		return nil, err
	}
	a.projector = projector.New(a.log, a.store, logger)
	a.start(logger)
	if err := a.mount(cfg, logger); err != nil {
		return nil, err
	}
	return a, nil
}

// goMemory is what Go's part of the program takes before it collects garbage more
// often than usual. It holds the bounded folds and projections with room to work;
// DuckDB has a limit of its own.
const goMemory = 320 << 20

// limitMemory sets goMemory, unless the environment says otherwise.
func limitMemory() {
	if os.Getenv("GOMEMLIMIT") == "" {
		debug.SetMemoryLimit(goMemory)
	}
}

// start runs the projector until Close. If it stops by itself, recording goes on
// and reports stay where they are: whoever runs the server must see why.
func (a *app) start(logger *slog.Logger) {
	ctx, stop := context.WithCancel(context.Background())
	a.stop = stop
	a.running.Go(func() {
		if err := a.projector.Run(ctx); err != nil {
			logger.Error("projector stopped; events are still recorded, reports stay as they are", "reason", err)
			a.failed <- err
		}
	})
}

// mount puts the routes on the engine.
func (a *app) mount(cfg appConfig, logger *slog.Logger) error {
	cfg.httpd.Tokens = a.tokens
	cfg.httpd.Logger = logger
	cfg.httpd.Version = build().Version
	cfg.httpd.OnSetup = a.setUp
	cfg.httpd.Ready = map[string]func(context.Context) error{
		"log":   a.log.Health,
		"facts": a.caughtUp,
	}
	a.server = httpd.New(cfg.httpd)
	if err := intake.Mount(a.server, a.log); err != nil {
		return err
	}
	reporting.MountLedger(a.server, a.ledger())
	return reporting.Mount(a.server, reporting.Deps{
		Store: a.store, Names: a.projector.Names, Commits: a.log.Commits, Watch: a.projector.Watch,
		Position: a.positionFor,
		Clock:    time.Now,
	})
}

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
	return a.projector.Wait(ctx, firm, receipts[0].Sequence)
}

// caughtUp reports whether the facts stand where the log stands.
func (a *app) caughtUp(ctx context.Context) error {
	select {
	case err := <-a.failed:
		a.failed <- err
		return fmt.Errorf("the projector stopped: %w", err)
	default:
	}
	behind, err := a.projector.Lag(ctx)
	if err != nil {
		return err
	}
	if behind > catchUpMax {
		return fmt.Errorf("the facts are %d commits behind the log", behind)
	}
	return nil
}

// catchUp waits until the facts of a firm stand where its log stands now.
func (a *app) catchUp(ctx context.Context, firm string) error {
	last, err := a.log.Last(ctx, eventlog.Partition(firm))
	if err != nil {
		return err
	}
	return a.projector.Wait(ctx, firm, last)
}

// catchUpMax is how far the facts may trail the log before the server says that
// it is not ready.
const catchUpMax = 1000

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
