package main

import (
	"context"
	"errors"
	"fmt"
	"time"

	"daysheet/events"
	"daysheet/services/httpd"
	"daysheet/services/projector"
)

// logReady reports whether the log can be written and read.
func (a *app) logReady(ctx context.Context) error {
	refusal := (*events.Error)(nil)
	if errors.As(a.log.Refuses(), &refusal) {
		return &httpd.NotReady{Reason: refusal.Rule}
	}
	if err := a.log.Health(ctx); err != nil {
		return &httpd.NotReady{Reason: "its server does not answer", Err: err}
	}
	return nil
}

// trouble returns the key of the text that every page shows while something is wrong that
// does not pass by itself; empty if nothing is.
func (a *app) trouble() string {
	t, troubled := a.projector.Trouble()
	switch {
	case troubled && logDamaged(t.Err):
		return "frame.damaged"
	case a.log.Refuses() != nil:
		return "frame.full"
	case troubled && t.Stopped:
		return "frame.stopped"
	}
	return ""
}

// caughtUp reports whether the facts stand where the log stands.
func (a *app) caughtUp(ctx context.Context) error {
	if t, ok := a.projector.Trouble(); ok {
		return &httpd.NotReady{Reason: reasonOf(t), Err: t.Err}
	}
	behind, err := a.projector.Lag(ctx)
	if err != nil {
		return err
	}
	if behind > catchUpMax {
		return &httpd.NotReady{Reason: fmt.Sprintf("they are %d commits behind the log", behind)}
	}
	return nil
}

// reasonOf says why the facts do not keep up, without what only the program's own
// log may tell.
func reasonOf(t projector.Trouble) string {
	text := "log or store have not answered since " + t.Since.UTC().Format(time.RFC3339) + " and are tried again"
	if t.Stopped {
		text = "the projector stopped at " + t.Since.UTC().Format(time.RFC3339)
	}
	if t.Where != "" {
		text += ", " + t.Where
	}
	return text
}

// catchUpMax is how far the facts may trail the log before the server says that
// it is not ready.
const catchUpMax = 1000
