package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"reflect"
	"strings"
	"time"

	"github.com/google/uuid"

	"daysheet/events"
	"daysheet/services/intake/history"
)

// RecordCmd records events: one from the command line, or many from a file.
type RecordCmd struct {
	Remote
	Type string            `arg:"" optional:"" help:"Kind of event, for example hours.booked; see --types."`
	Job  string            `help:"Job it happened on; firm for the firm's own events."`
	Set  map[string]string `help:"A member of the event, for example --set minutes=90. Lists and objects are given as JSON." placeholder:"MEMBER=VALUE" mapsep:"none"`
	Time string            `help:"When it happened, as RFC 3339 with an offset. Now, if not given."`
	ID   string            `help:"Id of the event. Give the same id when you try again."`
	File string            `help:"File of events as JSON lines, - for standard input." type:"existingfile" placeholder:"FILE"`

	Types bool `help:"List the kinds of events with their members."`
}

// Help shows a whole example.
func (c *RecordCmd) Help() string {
	return `Examples:
  daysheet record hours.booked --job stair-12 --set person=anna --set task=protect-floor --set minutes=90
  daysheet record --file events.jsonl --server http://127.0.0.1:8080 --token "$TOKEN"

Amounts are whole numbers: quantity_milli=12500 is 12.5 of the unit, cost_e4=32000 is 3.20.
The receipts are printed as JSON lines. A repeated id with the same content is answered as a duplicate.`
}

// Run records the events and prints the receipts.
func (c *RecordCmd) Run(ctx context.Context, g *Globals) error {
	if c.Types {
		return printTypes(os.Stdout)
	}
	batches, err := c.batches()
	if err != nil {
		return err
	}
	remote, err := c.connect(ctx, g)
	if err != nil {
		return err
	}
	defer remote.close()
	out := json.NewEncoder(os.Stdout)
	for _, batch := range batches {
		receipts, err := remote.record(ctx, batch)
		if err != nil {
			return err
		}
		for _, r := range receipts {
			if err := out.Encode(r); err != nil {
				return fmt.Errorf("print receipt: %w", err)
			}
		}
	}
	return nil
}

// batches reads the file, or makes one event from the flags.
func (c *RecordCmd) batches() ([][]events.Event, error) {
	switch {
	case c.File != "" && c.Type != "":
		return nil, events.Refuse("file", c.File, "give a file or a kind of event, not both")
	case c.File != "":
		return readEventsFile(c.File)
	case c.Type == "":
		return nil, events.Refuse("type", nil,
			"say what happened, for example hours.booked, or give --file; --types lists the kinds")
	}
	e, err := c.event(time.Now())
	if err != nil {
		return nil, err
	}
	return [][]events.Event{{e}}, nil
}

func readEventsFile(path string) ([][]events.Event, error) {
	in := io.Reader(os.Stdin)
	if path != "-" {
		f, err := os.Open(path)
		if err != nil {
			return nil, fmt.Errorf("read events: %w", err)
		}
		defer f.Close()
		in = f
	}
	return history.ReadEvents(in)
}

func (c *RecordCmd) event(now time.Time) (events.Event, error) {
	kind := fullType(c.Type)
	payload := events.NewPayload(kind)
	if payload == nil {
		return events.Event{}, events.Refuse("type", c.Type, "no kind of event; --types lists them")
	}
	e := events.Event{ID: c.ID, Source: "/command-line", Type: kind, Subject: c.Job, Time: c.Time}
	if e.Subject == "" && kind.OfFirm() {
		e.Subject = events.FirmJob
	}
	if e.ID == "" {
		id, err := uuid.NewV7()
		if err != nil {
			return events.Event{}, fmt.Errorf("make an id: %w", err)
		}
		e.ID = id.String()
	}
	if e.Time == "" {
		e.Time = now.Format(time.RFC3339)
	}
	data, err := dataOf(payload, c.Set)
	if err != nil {
		return events.Event{}, err
	}
	e.Data = data
	return e, e.Validate()
}

// fullType completes hours.booked to the whole type.
func fullType(s string) events.Type {
	if t := events.Type(s); t.Known() {
		return t
	}
	return events.Type("daysheet." + s + ".v1")
}

// dataOf writes the members as JSON: as text where the payload has text, and as
// they stand otherwise.
func dataOf(payload events.Payload, set map[string]string) (json.RawMessage, error) {
	kinds := map[string]reflect.Kind{}
	for _, f := range reflect.VisibleFields(reflect.TypeOf(payload).Elem()) {
		name, _, _ := strings.Cut(f.Tag.Get("json"), ",")
		kinds[name] = f.Type.Kind()
	}
	members := map[string]json.RawMessage{}
	for name, value := range set {
		kind, ok := kinds[name]
		if !ok {
			return nil, events.Refuse("set", name, "this kind of event has no such member; --types lists them")
		}
		if kind == reflect.String {
			quoted, err := json.Marshal(value)
			if err != nil {
				return nil, fmt.Errorf("write %s: %w", name, err)
			}
			members[name] = quoted
			continue
		}
		if !json.Valid([]byte(value)) {
			return nil, events.Refuse("set", name+"="+value, "a number, true or false, or JSON is needed here")
		}
		members[name] = json.RawMessage(value)
	}
	return json.Marshal(members)
}

// printTypes teaches the vocabulary: each kind with its members.
func printTypes(w io.Writer) error {
	for _, t := range events.Types() {
		short := strings.TrimSuffix(strings.TrimPrefix(string(t), "daysheet."), ".v1")
		if _, err := fmt.Fprintln(w, short); err != nil {
			return err
		}
		for _, f := range reflect.VisibleFields(reflect.TypeOf(events.NewPayload(t)).Elem()) {
			name, options, _ := strings.Cut(f.Tag.Get("json"), ",")
			need := "needed"
			if options == "omitempty" {
				need = "optional"
			}
			if _, err := fmt.Fprintf(w, "    %-28s %-9s %s\n", name, need, f.Tag.Get("doc")); err != nil {
				return err
			}
		}
	}
	return nil
}
