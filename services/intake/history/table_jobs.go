package history

import (
	"encoding/json"
	"fmt"
	"slices"

	"daysheet/events"
	"daysheet/services/typed"
)

// opening opens a job, or changes what it is. What a row leaves blank stays as it was said
// when the job was opened.
func (t *tableReader) opening(row tableRow) error {
	key, ok := t.named(row, "job", "title")
	if key == events.FirmJob {
		t.refuse(row, "job", "this name is kept for the firm's own events")
	}
	was, known := t.opts.Jobs[key]
	if known && row.cells["job"] == "" && was.Title != row.cells["title"] {
		t.refuse(row, "title", "another job has the key that this title makes: give each a key of its own")
	}
	is, after := was, "nothing"
	if known {
		raw, err := json.Marshal(was)
		if err != nil {
			return fmt.Errorf("write job of line %d: %w", row.line, err)
		}
		after = string(raw)
	}
	// What a job has already holds, also where the settings or the customers have it no more.
	if is.Title = row.cells["title"]; !known || row.cells["job type"] != was.JobType {
		is.JobType = t.jobType(row)
	}
	if said := row.cells["customer"]; said != "" && said != was.Customer {
		is.Customer = t.customer(row)
	}
	if row.cells["built"] != "" {
		is.Built = t.number(row, "built", counted(0))
	}
	for _, d := range []struct {
		column string
		into   *events.Day
	}{{"start", &is.Start}, {"due", &is.Due}} {
		if row.cells[d.column] != "" {
			*d.into = t.day(row, d.column)
		}
	}
	if !ok || t.bad[row.line] {
		return nil
	}
	if known && is == was {
		t.plan.Summary.Repeats++
		return nil
	}
	return t.add(row, key, events.JobOpened, events.DayOf(t.opts.Now.In(t.opts.Zone)), &is, after)
}

// jobType finds a job type by its key or its name.
func (t *tableReader) jobType(row tableRow) string {
	said := typed.Squeeze(row.cells["job type"])
	var all []events.JobType
	if t.opts.Settings != nil {
		all = t.opts.Settings.JobTypes
	}
	at := slices.IndexFunc(all, func(j events.JobType) bool {
		return typed.Squeeze(j.JobType) == said || typed.Squeeze(j.Name) == said
	})
	switch {
	case at >= 0:
		return all[at].JobType
	case said != "":
		t.refuse(row, "job type", "a job type of the settings: add it there first")
	}
	return ""
}

// customer finds a customer by key or name. A name that nobody has is not made a key of: the
// key would stay in the ledger for good.
func (t *tableReader) customer(row tableRow) string {
	text := row.cells["customer"]
	var found []string
	for key, name := range t.opts.Customers {
		if key == text {
			return key
		}
		if typed.Squeeze(name) == typed.Squeeze(text) {
			found = append(found, key)
		}
	}
	switch {
	case len(found) == 1:
		return found[0]
	case t.opts.Customers == nil && events.ValidToken(text):
		return text
	case len(found) > 1:
		t.refuse(row, "customer", "several customers have this name: give the key of one")
	default:
		t.refuse(row, "customer", "the key or name of a customer who is recorded: record the customer first")
	}
	return ""
}
