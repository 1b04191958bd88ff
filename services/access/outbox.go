package access

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"time"

	"daysheet/events"
	"daysheet/services/listfile"
)

// Outbox keeps changes of access that a command made until the server that has the log
// records them. It is a file beside the lists of those who have access, so that whoever
// shares these shares it too. All methods are safe for concurrent use.
type Outbox struct {
	list *listfile.List[waiting]
	now  func() time.Time
}

// waiting is a change that stands in no log yet. Its id is made once, so that recording it
// again after a crash records it only once.
type waiting struct {
	Firm  string       `json:"firm"`
	By    string       `json:"by"`
	Event events.Event `json:"event"`
}

// OpenOutbox opens the file at path; one that does not exist is an empty outbox.
func OpenOutbox(path string, now func() time.Time) (*Outbox, error) {
	o := &Outbox{list: listfile.New[waiting](path, "access_changes"), now: now}
	_, err := o.list.Items()
	return o, err
}

// Keep is an auditor that puts changes into the outbox. They are on disk when it returns.
func (o *Outbox) Keep(_ context.Context, firm, by string, change events.AccessChange) error {
	e, err := newEvent(change, o.now())
	if err != nil {
		return err
	}
	return o.list.Change(func(list []waiting) ([]waiting, error) {
		return append(list, waiting{firm, by, e}), nil
	})
}

// Send records what is in the outbox, in its order, and takes it out.
func (o *Outbox) Send(ctx context.Context, record Record) error {
	list, err := o.list.Items()
	for _, w := range list {
		if err != nil {
			break
		}
		if _, err = record(ctx, w.Firm, events.FirmJob, w.By, []events.Event{w.Event}); err != nil {
			return fmt.Errorf("record a change of access of firm %s: %w", w.Firm, err)
		}
		err = o.list.Change(func(now []waiting) ([]waiting, error) {
			return slices.DeleteFunc(now, func(x waiting) bool { return x.Event.ID == w.Event.ID }), nil
		})
	}
	return err
}

// lookEach is how often the outbox is looked into: it costs one question to the file
// system.
const lookEach = time.Second

// Watch records what comes into the outbox until ctx ends. It says once what keeps it from
// recording, and tries again.
func (o *Outbox) Watch(ctx context.Context, record Record, logger *slog.Logger) {
	tick := time.NewTicker(lookEach)
	defer tick.Stop()
	said := ""
	for {
		err := o.Send(ctx, record)
		switch {
		case err == nil, errors.Is(err, context.Canceled):
			said = ""
		case err.Error() != said:
			said = err.Error()
			logger.Error("changes of access by command wait to be recorded and are tried again", "reason", err)
		}
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
	}
}
