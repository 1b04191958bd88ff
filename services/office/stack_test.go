package office

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"net/url"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"golang.org/x/net/html"

	"daysheet/events"
	"daysheet/services/eventlog"
	"daysheet/services/facts/duckdb"
	"daysheet/services/httpd"
	"daysheet/services/pages"
	"daysheet/services/projector"
	"daysheet/services/quoting"
	"daysheet/services/reporting"
)

// stack is a ledger with the pages of the office, on a port of its own.
type stack struct {
	t         *testing.T
	log       *eventlog.Log
	projector *projector.Projector
	tokens    *httpd.Tokens
	people    *httpd.People
	address   string
	secrets   map[string]string // by name
	record    func(ctx context.Context, firm, job, by string, submitted []events.Event) ([]events.Receipt, error)
}

// now is the present of the tests.
func now() time.Time { return time.Date(2026, 6, 30, 12, 0, 0, 0, time.UTC) }

func must(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

func newStack(t *testing.T) *stack {
	t.Helper()
	dir := t.TempDir()
	ctx, cancel := context.WithCancel(context.Background())
	s := &stack{t: t, secrets: map[string]string{}}
	var err error
	s.log, err = eventlog.Open(ctx, eventlog.Config{Dir: filepath.Join(dir, "log"), Now: now})
	must(t, err)
	s.record = s.log.Record
	store, err := duckdb.Open(ctx, filepath.Join(dir, "facts.duckdb"), duckdb.Options{Threads: 2})
	must(t, err)
	s.projector = projector.New(s.log, store, nil)
	ended := make(chan error, 1)
	go func() { ended <- s.projector.Run(ctx) }()
	s.tokens, err = httpd.OpenTokens(filepath.Join(dir, "tokens.json"))
	must(t, err)
	s.people, err = httpd.OpenPeople(filepath.Join(dir, "people.json"), filepath.Join(dir, "sessions.json"))
	must(t, err)
	s.people.KeepOwners()
	for name, scopes := range map[string][]httpd.Scope{"owner": {httpd.ScopeAdmin}, "reader": {httpd.ScopeRead},
		"clerk": {httpd.ScopeRead, httpd.ScopeRecord}} {
		s.secrets[name], err = s.tokens.Add(t.Context(), "tests", httpd.Token{Firm: "north", Name: name, Scopes: scopes})
		must(t, err)
	}
	server := httpd.New(httpd.Config{Tokens: s.tokens, People: s.people, Version: "test", RateEvery: time.Microsecond, RateBurst: 1_000_000,
		Logger: slog.New(slog.NewTextHandler(t.Output(), &slog.HandlerOptions{Level: slog.LevelError}))})
	s.mount(server, store)
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	must(t, err)
	s.address = "http://" + listener.Addr().String()
	serving, stop := context.WithCancel(ctx)
	served := make(chan error, 1)
	go func() { served <- server.Serve(serving, listener) }()
	t.Cleanup(func() {
		stop()
		must(t, <-served)
		cancel()
		must(t, <-ended)
		must(t, store.Close())
		must(t, s.log.Close())
	})
	return s
}

func (s *stack) mount(server *httpd.Server, store *duckdb.Store) {
	frame, err := pages.New(server)
	must(s.t, err)
	frame.Speak(func(ctx context.Context, firm string) (string, error) {
		names, err := s.projector.Names(ctx, firm)
		return names.Locale, err
	})
	record := func(ctx context.Context, firm, job, by string, submitted []events.Event) ([]events.Receipt, error) {
		return s.record(ctx, firm, job, by, submitted)
	}
	position := func(firm string) uint64 {
		last, err := s.log.Last(context.Background(), eventlog.Partition(firm))
		must(s.t, err)
		must(s.t, s.projector.Wait(context.Background(), firm, last))
		return last
	}
	must(s.t, quoting.Mount(server, quoting.Deps{Store: store, Names: s.projector.Names, Position: position,
		Record: record, Clock: now}))
	must(s.t, reporting.Mount(server, reporting.Deps{Frame: frame, Store: store, Names: s.projector.Names,
		Commits: s.log.Commits, Watch: s.projector.Watch, Position: position, Reached: position,
		Job: s.projector.Job, Clock: now}))
	must(s.t, Mount(server, Deps{Frame: frame, Store: store, Tokens: s.tokens, People: s.people, Names: s.projector.Names,
		Commits: s.log.Commits, Record: record, Position: position, Clock: now,
		Customers: func(context.Context, string) (map[string]string, error) {
			return map[string]string{"c-17": "Ida Invented"}, nil
		}}))
}

// settle records the settings and products of an invented firm.
func (s *stack) settle(locale string) {
	s.t.Helper()
	s.put(events.FirmJob, events.FirmSettingsChanged, events.Settings{
		Name: "Invented Decorators", Currency: "EUR", TimeZone: "Europe/Vienna", Locale: locale, VATBasisPoints: 2_000,
		JobTypes: []events.JobType{{JobType: "stairwell", Name: "Stairwell and joinery"}, {JobType: "exterior", Name: "Exterior"}},
		Grades:   []events.Grade{{Grade: "painter", CostPerHourE4: 384_500}, {Grade: "apprentice", CostPerHourE4: 211_000}},
		Tasks: []events.FirmTask{{Task: "paper-strip", Family: events.FamilyPreparation, Unit: events.SquareMetre,
			Name: "Strip paper"}},
		People: []events.FirmPerson{{Person: "una", Name: "Una", Grade: "painter"}, {Person: "bo", Name: "Bo", Grade: "apprentice"}},
	})
	s.put(events.FirmJob, events.ProductListed, events.Product{Product: "wall-matt", Name: "Wall paint, matt",
		Unit: events.Litre, PriceE4: 97_300, PackMilli: 10_000})
	s.put(events.FirmJob, events.ProductListed, events.Product{Product: "board", Name: "Floor board", Unit: events.Sheet,
		PriceE4: 41_200, Reusable: true})
}

// put records one event as a phone would, and returns its id.
func (s *stack) put(job string, kind events.Type, payload any) string {
	s.t.Helper()
	return s.take(s.event(job, kind, payload))
}

// event makes the next event as a phone would.
func (s *stack) event(job string, kind events.Type, payload any) events.Event {
	s.t.Helper()
	data, err := json.Marshal(payload)
	must(s.t, err)
	last, err := s.log.Last(context.Background(), eventlog.Partition("north"))
	must(s.t, err)
	return events.Event{ID: fmt.Sprintf("event-%06d", last+1), Source: "/tests", Type: kind, Subject: job,
		Time: "2026-06-29T08:00:00+02:00", Data: data}
}

// take records an event, and returns its id.
func (s *stack) take(e events.Event) string {
	s.t.Helper()
	receipts, err := s.log.Record(context.Background(), "north", e.Subject, "phone", []events.Event{e})
	must(s.t, err)
	must(s.t, s.projector.Wait(context.Background(), "north", receipts[0].Sequence))
	return e.ID
}

// reply is what the server said.
type reply struct {
	status int
	at     string // where the browser was led to; empty where nowhere
	body   string
	page   *html.Node
}

func (r reply) text() string { return strings.Join(strings.Fields(textOf(r.page)), " ") }

func (s *stack) do(who string, request *http.Request) reply {
	s.t.Helper()
	request.Header.Set("Authorization", "Bearer "+s.secrets[who])
	return s.send(request)
}

// send sends a request as a browser does, with the credential that it holds.
func (s *stack) send(request *http.Request) reply {
	s.t.Helper()
	request.Header.Set("Accept", "text/html")
	client := http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	response, err := client.Do(request)
	must(s.t, err)
	defer response.Body.Close()
	body, err := io.ReadAll(response.Body)
	must(s.t, err)
	page, err := html.Parse(strings.NewReader(string(body)))
	must(s.t, err)
	return reply{response.StatusCode, response.Header.Get("Location"), string(body), page}
}

func (s *stack) get(who, path string) reply {
	s.t.Helper()
	request, err := http.NewRequest(http.MethodGet, s.address+path, nil)
	must(s.t, err)
	return s.do(who, request)
}

func (s *stack) post(who, path string, values url.Values) reply {
	s.t.Helper()
	request, err := http.NewRequest(http.MethodPost, s.address+path, strings.NewReader(values.Encode()))
	must(s.t, err)
	request.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	return s.do(who, request)
}

// open reads a form as a browser does: its address and what is filled in before.
func (s *stack) open(path string) (action string, values url.Values) {
	s.t.Helper()
	r := s.get("owner", path)
	if r.status != http.StatusOK {
		s.t.Fatalf("GET %s: status %d: %s", path, r.status, r.text())
	}
	return formOf(s.t, r.page)
}

// fill opens a form, types and sends it. Pairs are a field and what is typed into it.
func (s *stack) fill(path string, pairs ...string) reply {
	s.t.Helper()
	action, values := s.open(path)
	for i := 0; i+1 < len(pairs); i += 2 {
		if _, there := values[pairs[i]]; !there {
			s.t.Fatalf("%s has no field %q: %v", path, pairs[i], values)
		}
		values.Set(pairs[i], pairs[i+1])
	}
	return s.post("owner", action, values)
}

// sent is fill where the form must be taken; it follows to the page that is led to.
func (s *stack) sent(path string, pairs ...string) reply {
	s.t.Helper()
	r := s.fill(path, pairs...)
	if r.status != http.StatusSeeOther {
		s.t.Fatalf("%s was not taken: status %d: %s", path, r.status, r.text())
	}
	shown := s.get("owner", r.at)
	if shown.status != http.StatusOK {
		s.t.Fatalf("%s leads to %s: status %d: %s", path, r.at, shown.status, shown.text())
	}
	shown.at = r.at
	return shown
}

// last returns the newest event of a job.
func (s *stack) last(job string) events.Event {
	s.t.Helper()
	all := s.all(job)
	return all[len(all)-1]
}

func (s *stack) all(job string) []events.Event {
	s.t.Helper()
	stored, err := s.log.Commits(context.Background(), "north", job, 0)
	must(s.t, err)
	var all []events.Event
	for _, c := range stored {
		commit, err := events.DecodeCommit(c.Raw)
		must(s.t, err)
		all = append(all, commit.Events...)
	}
	return all
}

// is compares the data of an event with what it should be.
func (s *stack) is(e events.Event, kind events.Type, want string) {
	s.t.Helper()
	got, err := events.Canonical(e.Data)
	must(s.t, err)
	wanted, err := events.Canonical([]byte(want))
	must(s.t, err)
	if e.Type != kind || string(got) != string(wanted) {
		s.t.Errorf("recorded %s %s\nwanted   %s %s", e.Type, got, kind, wanted)
	}
}

func walk(n *html.Node, visit func(*html.Node)) {
	if n.Type == html.ElementNode {
		visit(n)
	}
	for c := n.FirstChild; c != nil; c = c.NextSibling {
		walk(c, visit)
	}
}

func textOf(n *html.Node) string {
	if n.Type == html.TextNode {
		return n.Data
	}
	var b strings.Builder
	for c := n.FirstChild; c != nil; c = c.NextSibling {
		b.WriteString(textOf(c) + " ")
	}
	return b.String()
}

func attribute(n *html.Node, name string) (string, bool) {
	for _, a := range n.Attr {
		if a.Key == name {
			return a.Val, true
		}
	}
	return "", false
}

// formOf reads the form for entry on a page. Every control is there, also where a
// browser would leave it out: so that a test can fill it in.
func formOf(t *testing.T, page *html.Node) (action string, values url.Values) {
	t.Helper()
	values = url.Values{}
	walk(page, func(n *html.Node) {
		if class, _ := attribute(n, "class"); n.Data != "form" || class != "entry" || action != "" {
			return
		}
		action, _ = attribute(n, "action")
		walk(n, func(c *html.Node) {
			name, named := attribute(c, "name")
			if !named {
				return
			}
			value, _ := attribute(c, "value")
			switch c.Data {
			case "textarea":
				value = strings.TrimSpace(textOf(c))
			case "select":
				walk(c, func(o *html.Node) {
					if _, selected := attribute(o, "selected"); selected {
						value, _ = attribute(o, "value")
					}
				})
			case "button":
				return
			case "input":
				if kind, _ := attribute(c, "type"); kind == "checkbox" {
					if _, checked := attribute(c, "checked"); checked {
						values.Add(name, cmp.Or(value, "on"))
					} else if !values.Has(name) {
						values[name] = nil
					}
					return
				}
			default:
				return
			}
			values.Set(name, value)
		})
	})
	if action == "" {
		t.Fatal("the page has no form for entry")
	}
	return action, values
}
