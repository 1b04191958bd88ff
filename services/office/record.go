package office

import (
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"strconv"
	"time"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/services/httpd"
	"daysheet/services/pages"
	"daysheet/services/texts"
	"daysheet/services/typed"
	"daysheet/services/wording"
)

// The controls that every form has beside the members of its payload.
const (
	controlID   = "id"   // of the event
	controlJob  = "job"  // that it is recorded on
	controlKey  = "key"  // of a job that is opened
	controlThen = "then" // what to do once it is recorded
	controlSaid = "said" // id of what was recorded just before
)

// thenAnother in [controlThen] shows the form again.
const thenAnother = "another"

// entry is one form at hand: for whom, on which job, and what was typed.
type entry struct {
	form    *form
	job     string
	title   string // of the job
	id      string
	names   reports.Names
	history *wording.History // of the job or of the firm
	filled  *filled
	opens   bool // it opens a job: its key is typed
}

// entryOf reads what a form stands on. It is nil where a job has to be chosen first.
func (d *desk) entryOf(v pages.Visit, f *form) (*entry, error) {
	names, say, err := d.names(v)
	if err != nil {
		return nil, err
	}
	e := &entry{form: f, job: v.Values.Get(controlJob), id: v.Values.Get(controlID), names: names,
		filled: newFilled(v.Values, names, say)}
	e.opens = f.kind == events.JobOpened && e.job == ""
	switch {
	case f.kind.OfFirm():
		e.job = events.FirmJob
	case e.opens:
		return e, nil
	case e.job == "":
		return nil, nil
	case !events.ValidToken(e.job) || e.job == events.FirmJob && f.kind != events.EventVoided:
		return nil, noJob(e.job)
	}
	if e.history, err = d.history(v, e.job); err != nil {
		return nil, err
	}
	if e.job != events.FirmJob {
		opening := openingOf(e.history)
		if opening == nil {
			return nil, noJob(e.job)
		}
		e.title = opening.Title
	}
	return e, nil
}

func noJob(job string) error {
	return &events.Error{Code: events.NotFound, Field: "job", Value: strconv.Quote(job), Rule: "no such job was opened"}
}

// openingOf returns what a job is, as it was said last; nil where it was never opened.
func openingOf(h *wording.History) *events.Opening {
	var last *events.Opening
	for _, r := range h.Records {
		if p, ok := r.Payload.(*events.Opening); ok {
			last = p
		}
	}
	return last
}

// showForm shows a form to be filled in.
func (d *desk) showForm(v pages.Visit, f *form) (pages.Page, error) {
	e, err := d.entryOf(v, f)
	if err != nil {
		return pages.Page{}, err
	}
	if e == nil {
		return d.chooseJob(v, f)
	}
	if e.id, err = pages.NewID(d.deps.Clock()); err != nil {
		return pages.Page{}, err
	}
	if err := d.fillFirst(e); err != nil {
		return pages.Page{}, err
	}
	p, err := d.formPage(v, e)
	if err == nil && e.history != nil {
		p.Said = saidOf(e.filled.say, wording.NewWords(e.names, e.filled.say), e.history, v.Values.Get(controlSaid))
		err = e.filled.say.Err
	}
	return p, err
}

// saidOf says what was recorded under an id; nothing where it was not.
func saidOf(say *texts.Speaker, w wording.Words, h *wording.History, id string) string {
	if r := h.ByID[id]; r != nil {
		return say.Say("office.recorded", "what", w.Says(h, r))
	}
	return ""
}

// fillFirst fills a new form in with what is known: today, what a job or product is
// now, the rate book in force. What the address says goes before.
func (d *desk) fillFirst(e *entry) error {
	known := url.Values{}
	today := d.today(e.names)
	for _, member := range e.form.fields {
		if member.name == "day" || member.name == "effective_from" {
			known.Set(member.name, string(today))
		}
	}
	var payload any
	switch e.form.kind {
	case events.JobOpened:
		if !e.opens {
			payload = openingOf(e.history)
		}
	case events.ProductListed:
		if p, listed := e.names.Listed[e.filled.text("product")]; listed {
			payload = p
		}
	case events.RateBookRevised:
		if book := e.names.BookOn(today); book != nil {
			revised := *book
			revised.Revision, revised.Reason, revised.Evidence, revised.EffectiveFrom = "", "", 0, today
			payload = revised
		}
	}
	if payload != nil {
		if err := fillIn(known, e.form.fields, payload, e.filled.format); err != nil {
			return err
		}
	}
	if e.form.path == daySheetPath {
		fillCrew(known, e.names)
	}
	for name, values := range e.filled.values {
		known[name] = values
	}
	e.filled.values = known
	return nil
}

// made is an event that a form makes, and where in the form it stands.
type made struct {
	event events.Event
	place string
}

// sendForm records what was filled in and leads to where it can be seen; or shows the
// form again with what is wrong.
func (d *desk) sendForm(v pages.Visit, f *form) (pages.Page, error) {
	e, err := d.entryOf(v, f)
	if err != nil {
		return pages.Page{}, err
	}
	if e == nil {
		return d.chooseJob(v, f)
	}
	at, err := pages.TimeOf(e.id)
	if err != nil {
		return pages.Page{}, err
	}
	members := e.filled.read(f.fields, "", "")
	if e.opens {
		if err := d.nameJob(v, e); err != nil {
			return pages.Page{}, err
		}
	}
	e.checkLifting(members)
	if e.filled.wrong() {
		return d.again(v, e)
	}
	all, err := e.events(members, at)
	if err != nil {
		return pages.Page{}, err
	}
	if e.filled.wrong() {
		return d.again(v, e)
	}
	if err := d.record(v, e.job, all); err != nil {
		return d.refused(v, e, all, err)
	}
	return pages.Page{Leads: e.leadsTo()}, nil
}

// events makes the events of a form.
func (e *entry) events(members map[string]any, at time.Time) ([]made, error) {
	if e.form.path == daySheetPath {
		return e.daySheet(members, at)
	}
	one, err := e.event(e.id, members, at, "")
	return []made{one}, err
}

// event makes one event and holds it against the rules of its type.
func (e *entry) event(id string, members map[string]any, at time.Time, place string) (made, error) {
	data, err := json.Marshal(members)
	if err != nil {
		return made{}, fmt.Errorf("write %s: %w", e.form.kind, err)
	}
	m := made{events.Event{ID: id, Source: "/office", Type: e.form.kind, Subject: e.job,
		Time: e.names.Local(at).Format(time.RFC3339), Data: data}, place}
	if err := m.event.Validate(); err != nil {
		var refusal *events.Error
		if !errors.As(err, &refusal) {
			return made{}, err
		}
		e.filled.place(refusal, place)
	}
	return m, nil
}

// record puts events into the log.
func (d *desk) record(v pages.Visit, job string, all []made) error {
	list := make([]events.Event, len(all))
	for i, m := range all {
		list[i] = m.event
	}
	_, err := d.deps.Record(v, v.Firm, job, v.Caller.Name, list)
	return err
}

// refused shows a form again that the log did not take, with the reason where it
// belongs. A fault is no refusal.
func (d *desk) refused(v pages.Visit, e *entry, all []made, err error) (pages.Page, error) {
	var refusal *events.Error
	if !errors.As(err, &refusal) || refusal.Code == events.Internal {
		return pages.Page{}, err
	}
	status := httpd.Problem(err).Status
	switch {
	case refusal.Code == events.Unavailable:
		e.filled.whole = e.filled.say.Say("office.unavailable")
	case refusal.Code == events.Conflict && refusal.Field == "id":
		if e.id, err = pages.NewID(d.deps.Clock()); err != nil {
			return pages.Page{}, err
		}
		e.filled.whole = e.filled.say.Say("office.sent-before")
	default:
		for _, m := range all {
			if m.event.ID == refusal.EventID || refusal.EventID == "" {
				e.filled.place(refusal, m.place)
				break
			}
		}
	}
	p, err := d.formPage(v, e)
	p.Status = status
	return p, err
}

// again shows a form that cannot be taken as it is.
func (d *desk) again(v pages.Visit, e *entry) (pages.Page, error) {
	p, err := d.formPage(v, e)
	p.Status = http.StatusUnprocessableEntity
	return p, err
}

// nameJob finds the key of a job that is opened: the one that was typed, else one
// made of the title. A key that is taken is refused, unless it is this form that took
// it.
func (d *desk) nameJob(v pages.Visit, e *entry) error {
	typedKey := e.filled.text(controlKey)
	key := typed.Key(cmp.Or(typedKey, e.filled.text("title")))
	if !events.ValidToken(key) || key == events.FirmJob {
		if typedKey != "" || e.filled.problems["title"] == "" {
			e.filled.refuse(controlKey, e.filled.say.Say("office.job-key-rule"))
		}
		return nil
	}
	const tries = 100
	for n := 1; n <= tries; n++ {
		e.job = key
		if n > 1 {
			e.job = key + "-" + strconv.Itoa(n)
		}
		h, err := d.history(v, e.job)
		if err != nil {
			return err
		}
		if len(h.Records) == 0 || h.ByID[e.id] != nil {
			return nil
		}
		if typedKey != "" {
			break
		}
	}
	e.filled.refuse(controlKey, e.filled.say.Say("office.key-taken", "key", key))
	return nil
}

// checkLifting says in the unit of the protection how much is still down.
func (e *entry) checkLifting(members map[string]any) {
	if e.form.kind != events.ProtectionLifted {
		return
	}
	lifted, _ := members["quantity_milli"].(int64)
	for _, down := range e.history.Down {
		if down.Event.ID == members["laid"] && lifted > down.LeftMilli && e.history.ByID[e.id] == nil {
			left := e.filled.format.Quantity(down.LeftMilli, down.Protection.Unit)
			e.filled.refuse("quantity_milli", e.filled.say.Say("office.still-down", "amount", left))
		}
	}
}

// leadsTo returns the address that shows what was recorded.
func (e *entry) leadsTo() string {
	first := e.id
	if e.form.path == daySheetPath {
		first += rowMark + "0"
	}
	switch {
	case e.filled.text(controlThen) == thenAnother:
		next := url.Values{controlSaid: {first}}
		if !e.form.kind.OfFirm() {
			next.Set(controlJob, e.job)
		}
		if day := e.filled.text("day"); day != "" {
			next.Set("day", day)
		}
		return e.form.path + "?" + next.Encode()
	case e.job == events.FirmJob:
		return "/office/firm?" + encode("recorded", first)
	}
	return "/jobs/" + url.PathEscape(e.job) + "?" + encode("recorded", first)
}

// encode writes one parameter of an address.
func encode(name, value string) string { return url.Values{name: {value}}.Encode() }
