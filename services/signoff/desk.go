package signoff

import (
	"context"
	"embed"
	"encoding/json"
	"errors"
	"fmt"
	"html/template"
	"strings"
	"time"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/services/customers"
	"daysheet/services/httpd"
	"daysheet/services/pages"
	"daysheet/services/sealing"
	"daysheet/services/wording"
)

// Deps is what the routes need. Every member but BaseURL is required.
type Deps struct {
	Frame *pages.Frame
	Links *Links
	Keys  *sealing.Keys
	// Commits returns a job's commits up to a sequence, oldest first; 0 is all.
	Commits wording.Commits
	// Names returns how a firm calls its things, with its settings.
	Names func(ctx context.Context, firm string) (reports.Names, error)
	// Record puts events of one job into the log, all or none.
	Record func(ctx context.Context, firm, job, by string, submitted []events.Event) ([]events.Receipt, error)
	// Report shows the handover report of a job.
	Report Report
	// Clock returns the present.
	Clock func() time.Time
	// BaseURL is where people reach the server; empty where requests say so.
	BaseURL string
}

// Report is the handover report of a job, as a part of a page and as a PDF. Photo
// returns one of its photos as a JPEG, and refuses all others.
type Report interface {
	Report(ctx context.Context, firm, job string, address func(digest string) string) (template.HTML, error)
	PDF(ctx context.Context, firm, job string) (raw []byte, name string, err error)
	Photo(ctx context.Context, firm, job, digest string) ([]byte, error)
}

// desk answers about links and sign-offs.
type desk struct {
	deps    Deps
	base    string
	pages   map[string]*template.Template // of a link, by language; it stands in no frame, since nobody is signed in
	guesses *httpd.Limits
}

//go:embed templates
var templates embed.FS

//go:embed assets
var assets embed.FS

// Mount adds the routes: links of a job, what they open, and the sign-off.
func Mount(server *httpd.Server, deps Deps) error {
	if deps.Frame == nil || deps.Links == nil || deps.Keys == nil || deps.Commits == nil || deps.Names == nil ||
		deps.Record == nil || deps.Report == nil || deps.Clock == nil {
		return errors.New("mount sign-off: every member of Deps but BaseURL must be set")
	}
	// A guess finds nothing among 2^256, but a program that guesses is slowed down.
	const every, burst = 10 * time.Second, 30
	d := &desk{deps: deps, base: strings.TrimRight(deps.BaseURL, "/"), guesses: httpd.NewLimits(every, burst),
		pages: map[string]*template.Template{}}
	if err := deps.Frame.AddFiles(assets, "assets/*"); err != nil {
		return fmt.Errorf("mount sign-off: %w", err)
	}
	if err := deps.Frame.AddBodies(templates, "templates/links.html"); err != nil {
		return fmt.Errorf("mount sign-off: %w", err)
	}
	for _, language := range deps.Frame.Languages() {
		page, err := template.New("").
			Funcs(template.FuncMap{"asset": deps.Frame.Address, "t": deps.Frame.Texts(language).Say}).
			ParseFS(templates, "templates/link.html")
		if err != nil {
			return fmt.Errorf("mount sign-off: %w", err)
		}
		d.pages[language] = page
	}
	d.mountAPI(server.API)
	d.mountOffice(server.Engine)
	d.mountLink(server)
	return nil
}

// job is a job as who signs it sees it.
type job struct {
	firm, key string
	history   *wording.History
	opening   *events.Opening
	signed    *wording.Record // the sign-off that holds; nil where there is none
	finished  bool
}

// read reads a job.
func (d *desk) read(ctx context.Context, firm, key string) (job, error) {
	if !events.ValidToken(key) || key == events.FirmJob {
		return job{}, events.Refuse("job", key, "%s", events.TokenRule)
	}
	h, err := wording.ReadHistory(ctx, d.deps.Commits, firm, key, 0)
	if err != nil {
		return job{}, err
	}
	j := job{firm: firm, key: key, history: h}
	for _, r := range h.Records {
		if r.VoidedBy != "" {
			continue
		}
		switch p := r.Payload.(type) {
		case *events.Opening:
			j.opening = p
		case *events.SignOff:
			j.signed, j.finished = r, true
		case *events.Closing:
			j.finished = true
		case *events.Reopening:
			j.signed, j.finished = nil, false
		}
	}
	if j.opening == nil {
		return job{}, &events.Error{Code: events.NotFound, Field: "job", Value: fmt.Sprintf("%q", key),
			Rule: "no job was opened under this key"}
	}
	return j, nil
}

// customer returns the key of the customer whose key seals what is signed.
func (j job) customer() string {
	if j.opening.Customer != "" {
		return j.opening.Customer
	}
	return customers.SignerOf(j.key)
}

// place is where the signature of an event stands.
func (j job) place(customer, event string) sealing.Place {
	return sealing.Place{Firm: j.firm, Customer: customer, Job: j.key, Event: event, Part: sealing.PartSignature}
}

// signedBy opens who signed the record. unreadable says why it cannot be opened, where
// that is no fault.
func (d *desk) signedBy(j job, r *wording.Record) (s Signature, unreadable, err error) {
	p, ok := r.Payload.(*events.SignOff)
	if !ok || p.Sealed == nil {
		return s, nil, nil
	}
	err = d.deps.Keys.Open(j.place(p.Customer, r.Event.ID), *p.Sealed, &s)
	if _, ok := sealing.Unreadable(err); ok {
		return Signature{}, err, nil
	}
	return s, nil, err
}

// sign records a sign-off. One that was recorded before is answered as it was then.
func (d *desk) sign(ctx context.Context, firm, key, by, source string, s Signing) (events.Receipt, error) {
	if err := s.check(); err != nil {
		return events.Receipt{}, err
	}
	receipt, err := d.signOnce(ctx, firm, key, by, source, s)
	if events.CodeOf(err) == events.Conflict { // perhaps the same, sent twice at the same time
		return d.signOnce(ctx, firm, key, by, source, s)
	}
	return receipt, err
}

func (d *desk) signOnce(ctx context.Context, firm, key, by, source string, s Signing) (events.Receipt, error) {
	j, err := d.read(ctx, firm, key)
	if err != nil {
		return events.Receipt{}, err
	}
	if r := j.history.ByID[s.ID]; r != nil {
		return d.again(j, r, s)
	}
	if j.finished {
		return events.Receipt{}, &events.Error{Code: events.Conflict, Field: "job", Value: fmt.Sprintf("%q", key),
			Rule: "the job was signed off or closed before; the firm can reopen it"}
	}
	names, err := d.deps.Names(ctx, firm)
	if err != nil {
		return events.Receipt{}, fmt.Errorf("read names: %w", err)
	}
	now := names.Local(d.deps.Clock())
	e := events.Event{ID: s.ID, Source: source, Type: events.JobSignedOff, Subject: key}
	if e.Time, err = s.signedAt(now); err != nil {
		return events.Receipt{}, err
	}
	p := events.SignOff{Role: s.Role, Remarks: s.Remarks, Customer: j.customer(), Snags: s.Snags}
	for _, id := range s.Snags {
		if r := j.history.ByID[id]; r == nil || r.Event.Type != events.SnagRaised {
			return events.Receipt{}, events.Refuse("snags", id, "the id of a snag of this job")
		}
	}
	sealed, err := d.deps.Keys.Seal(j.place(p.Customer, s.ID), s.signature())
	if sentence, ok := sealing.Unreadable(err); ok {
		return events.Receipt{}, &events.Error{Code: events.Conflict, Field: "name",
			Rule: "no signature can be kept: " + sentence}
	}
	if err != nil {
		return events.Receipt{}, err
	}
	p.Sealed = &sealed
	if e.Data, err = json.Marshal(p); err != nil {
		return events.Receipt{}, fmt.Errorf("write sign-off: %w", err)
	}
	if err := e.Validate(); err != nil {
		return events.Receipt{}, err
	}
	receipts, err := d.deps.Record(ctx, firm, key, by, []events.Event{e})
	if err != nil {
		return events.Receipt{}, err
	}
	return receipts[0], nil
}

// again answers for an id that was recorded before.
func (d *desk) again(j job, r *wording.Record, s Signing) (events.Receipt, error) {
	p, ok := r.Payload.(*events.SignOff)
	if !ok {
		return events.Receipt{}, s.another()
	}
	opened, unreadable, err := d.signedBy(j, r)
	if err != nil {
		return events.Receipt{}, err
	}
	if unreadable != nil || !s.says(p, opened) {
		return events.Receipt{}, s.another()
	}
	return events.Receipt{ID: s.ID, Job: j.key, Sequence: r.Sequence, Duplicate: true}, nil
}
