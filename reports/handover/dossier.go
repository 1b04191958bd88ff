package handover

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"daysheet/events"
	"daysheet/reports"
)

// Input is what papers are made of.
type Input struct {
	Firm, Job string
	Commits   []events.Stored // of the job, oldest first, up to the position that is asked for
	Own       []events.Stored // of the firm itself, oldest first, up to the same position
}

// Parties is who the customer is. It stands sealed in the log; whoever has the keys
// opens it and adds it to the dossier.
type Parties struct {
	Name    string
	Address string
	Contact string
	Erased  events.Day // the day on which the customer's key was destroyed; empty where it was not
	Lost    bool       // nothing can be read, and the key was not destroyed
}

// Dossier is a job's records read for the customer: those that hold, in the order
// of their days. It is made by [Read] and does not change. Papers are made of it once it
// has words, by [Dossier.Speaking].
type Dossier struct {
	words    Words
	stamp    Stamp
	settings *events.Settings // nil where the firm recorded none
	listed   map[string]events.Product
	names    reports.Names
	sealed   events.Customer   // as recorded when the job's last commit was; the zero value where nothing was
	parties  *Parties          // nil where nothing is known of the customer but the reference
	signers  map[string]Signer // by the event of the sign-off
	state    events.State
	records  []record
	kinds    map[string]events.Type // by event id
	down     map[string]int64       // protection laid event -> thousandths still down
}

// record is one event that holds.
type record struct {
	id      string
	day     events.Day
	at      time.Time // zero where only the day is known
	by      string    // the credential that recorded it
	payload events.Payload
}

// Read reads the commits. It fails where the chain of a job is broken, and where
// nothing was recorded on it: the error then has the code NotFound.
func Read(in Input) (*Dossier, error) {
	d := &Dossier{kinds: map[string]events.Type{}}
	job := events.NewJob(in.Firm, in.Job)
	voided := map[string]bool{}
	for _, stored := range in.Commits {
		c, err := events.DecodeCommit(stored.Raw)
		if err != nil {
			return nil, fmt.Errorf("sequence %d: %w", stored.Sequence, err)
		}
		if err := job.Apply(c, stored.Sequence, stored.Raw); err != nil {
			return nil, err
		}
		if err := d.take(c, stored.Sequence, voided); err != nil {
			return nil, err
		}
		d.stamp.Position, d.stamp.RecordedAt = stored.Sequence, c.RecordedAt
	}
	if len(in.Commits) == 0 {
		return nil, &events.Error{Code: events.NotFound, Field: "job", Value: in.Job, Rule: "no such job at this position"}
	}
	d.records = slices.DeleteFunc(d.records, func(r record) bool { return voided[r.id] })
	slices.SortStableFunc(d.records, func(a, b record) int { return cmp.Compare(a.day, b.day) })
	d.stamp.Firm, d.stamp.Job, d.stamp.Commits, d.stamp.Head = in.Firm, in.Job, job.Version, job.Head
	d.state = job.State()
	_, d.down = job.Down()
	return d, d.know(in.Own)
}

// take takes in the events of one commit.
func (d *Dossier) take(c *events.Commit, sequence uint64, voided map[string]bool) error {
	for i := range c.Events {
		e := &c.Events[i]
		payload, err := e.Payload()
		if err != nil {
			return fmt.Errorf("sequence %d: event %s: %w", sequence, e.ID, err)
		}
		if v, ok := payload.(*events.Void); ok {
			voided[v.Event] = true
			continue
		}
		r := record{id: e.ID, day: cmp.Or(events.NamedDay(payload), e.Day()), by: c.RecordedBy, payload: payload}
		if r.day == e.Day() {
			r.at = e.OccurredAt()
		}
		d.records = append(d.records, r)
		d.kinds[e.ID] = e.Type
	}
	return nil
}

// know reads what the firm had recorded about itself when the job's last commit was
// recorded. A customer who was not known by then is the one who was recorded first
// after it: names are often written down last, and a paper wants one.
func (d *Dossier) know(own []events.Stored) error {
	var firm events.Firm
	job, _ := last[*events.Opening](d)
	var key string
	if job.what != nil {
		key = job.what.Customer
	}
	upTo, known := d.stamp.Position, false
	for _, stored := range own {
		c, err := events.DecodeCommit(stored.Raw)
		if err != nil {
			return fmt.Errorf("sequence %d: %w", stored.Sequence, err)
		}
		if stored.Sequence > upTo && (known || !recordsCustomer(c, key)) {
			continue
		}
		if stored.Sequence > upTo { // nothing but the customer is taken from it
			*c = events.Commit{Events: slices.DeleteFunc(slices.Clone(c.Events), func(e events.Event) bool {
				return e.Type != events.CustomerRecorded
			})}
			d.stamp.Position = stored.Sequence
		}
		if err := firm.Apply(c, stored.Sequence); err != nil {
			return fmt.Errorf("sequence %d: %w", stored.Sequence, err)
		}
		_, known = firm.Customer(key)
	}
	d.settings = firm.Settings(0)
	var products []events.Product
	for _, key := range firm.Products() {
		products = append(products, *firm.Product(key, 0))
	}
	d.names = reports.NamesOf(d.settings, products)
	d.listed = d.names.Listed
	d.sealed, _ = firm.Customer(key)
	return nil
}

// recordsCustomer reports whether a commit of the firm records the customer.
func recordsCustomer(c *events.Commit, key string) bool {
	return slices.ContainsFunc(c.Events, func(e events.Event) bool {
		payload, err := e.Payload()
		record, ok := payload.(*events.CustomerRecord)
		return err == nil && ok && record.Customer == key
	})
}

// Customer returns the job's customer as it was recorded when the job's last commit
// was: sealed. ok is false where the job names none, or nothing of it was recorded.
func (d *Dossier) Customer() (c events.Customer, ok bool) {
	return d.sealed, d.sealed.Customer != ""
}

// With returns the dossier with what is known of the customer.
func (d *Dossier) With(p *Parties) *Dossier {
	known := *d
	known.parties = p
	return &known
}

// Speaking returns the dossier with the words of its papers, and with the names of the
// firm and of standard tasks in their language.
func (d *Dossier) Speaking(w Words, names reports.Names) *Dossier {
	known := *d
	known.words, known.names = w, names
	return &known
}

// Stamp returns which records the dossier was read from.
func (d *Dossier) Stamp() Stamp { return d.stamp }

// Names returns how the firm called its things then.
func (d *Dossier) Names() reports.Names { return d.names }

// Signer is who signed a job off. It stands sealed in the log, as [Parties] do.
type Signer struct {
	Name    string
	Strokes string     // see [Signature]
	Erased  events.Day // the day on which the key was destroyed; empty where it was not
	Lost    bool       // nothing can be read, and the key was not destroyed
}

// SignOffs returns the sign-offs that hold by the ids of their events.
func (d *Dossier) SignOffs() map[string]*events.SignOff {
	all := map[string]*events.SignOff{}
	for _, s := range of[*events.SignOff](d) {
		all[s.id] = s.what
	}
	return all
}

// Signed returns the dossier with who signed, by the ids of the sign-offs.
func (d *Dossier) Signed(by map[string]Signer) *Dossier {
	known := *d
	known.signers = by
	return &known
}

// Variations returns the ids of the variations that hold, in the order of their days.
func (d *Dossier) Variations() (ids []string) {
	for _, v := range of[*events.Variation](d) {
		ids = append(ids, v.id)
	}
	return ids
}

// Days returns the days on which hours were booked, in their order.
func (d *Dossier) Days() (days []events.Day) {
	for _, h := range of[*events.Hours](d) {
		if len(days) == 0 || days[len(days)-1] != h.day {
			days = append(days, h.day)
		}
	}
	return days
}

// entry is a record whose payload is of the type T.
type entry[T events.Payload] struct {
	record
	what T
}

// of returns the records of one type, in the order of their days.
func of[T events.Payload](d *Dossier) (found []entry[T]) {
	for _, r := range d.records {
		if what, ok := r.payload.(T); ok {
			found = append(found, entry[T]{r, what})
		}
	}
	return found
}

// last returns the last record of one type; ok is false where there is none.
func last[T events.Payload](d *Dossier) (found entry[T], ok bool) {
	all := of[T](d)
	if len(all) == 0 {
		return found, false
	}
	return all[len(all)-1], true
}

// only returns the dossier of one day.
func (d *Dossier) only(on events.Day) *Dossier {
	one := *d
	one.records = nil
	for _, r := range d.records {
		if r.day == on {
			one.records = append(one.records, r)
		}
	}
	return &one
}
