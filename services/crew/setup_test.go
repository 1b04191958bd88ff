package crew

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"log/slog"
	"net"
	"net/http"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/services/crew/phonetest"
	"daysheet/services/eventlog"
	"daysheet/services/facts/duckdb"
	"daysheet/services/httpd"
	"daysheet/services/intake"
	"daysheet/services/pages"
	"daysheet/services/photos"
	"daysheet/services/projector"
)

func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// stack is the whole way of the data: phone's line, server, log, projector, store.
type stack struct {
	t         *testing.T
	log       *eventlog.Log
	projector *projector.Projector
	tokens    *httpd.Tokens
	people    *httpd.People
	photos    *photos.Folder
	noPhotos  bool // the server takes none
	deps      Deps
	line      *phonetest.Line
	address   string
	store     *duckdb.Store
	secrets   map[string]string // by the name of the token
	events    int
}

func newStack(t *testing.T) *stack {
	t.Helper()
	dir := t.TempDir()
	ctx, cancel := context.WithCancel(context.Background())
	s := &stack{t: t, secrets: map[string]string{}, line: &phonetest.Line{},
		photos: photos.NewFolder(filepath.Join(dir, "photos"), photos.Limits{})}
	var err error
	s.log, err = eventlog.Open(ctx, eventlog.Config{Dir: filepath.Join(dir, "log")})
	must(t, err)
	store, err := duckdb.Open(ctx, filepath.Join(dir, "facts.duckdb"), duckdb.Options{Threads: 1})
	must(t, err)
	s.store = store
	s.projector = projector.New(s.log, store, nil)
	ended := make(chan error, 1)
	go func() { ended <- s.projector.Run(ctx) }()
	s.tokens, err = httpd.OpenTokens(filepath.Join(dir, "tokens.json"))
	must(t, err)
	s.people, err = httpd.OpenPeople(filepath.Join(dir, "people.json"), filepath.Join(dir, "sessions.json"))
	must(t, err)
	for name, token := range map[string]httpd.Token{
		"office": {Firm: "north", Scopes: []httpd.Scope{httpd.ScopeAdmin}},
		"reader": {Firm: "north", Scopes: []httpd.Scope{httpd.ScopeRead}},
		"van-2":  {Firm: "north", Scopes: []httpd.Scope{httpd.ScopeRecord}},
		"other":  {Firm: "south", Scopes: []httpd.Scope{httpd.ScopeRecord}},
	} {
		token.Name = name
		s.secrets[name], err = s.tokens.Add(t.Context(), "tests", token)
		must(t, err)
	}
	s.deps = Deps{
		Jobs: store.Jobs, Names: s.projector.Names, Commits: s.log.Commits, Tokens: s.tokens, Clock: time.Now,
		Position: func(firm string) uint64 {
			last, err := s.log.Last(ctx, eventlog.Partition(firm))
			if err == nil {
				err = s.projector.Wait(ctx, firm, last)
			}
			if err != nil {
				t.Logf("wait for the projector: %v", err)
			}
			return s.projector.Position(eventlog.Partition(firm))
		},
	}
	s.serveVersion(embedded)
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	must(t, err)
	s.address = "http://" + listener.Addr().String()
	server := &http.Server{Handler: s.line, ReadHeaderTimeout: time.Minute}
	served := make(chan error, 1)
	go func() { served <- server.Serve(listener) }()
	t.Cleanup(func() {
		must(t, server.Close())
		if err := <-served; !errors.Is(err, http.ErrServerClosed) {
			t.Errorf("serve: %v", err)
		}
		cancel()
		if err := <-ended; err != nil {
			t.Errorf("projector: %v", err)
		}
		for name, c := range map[string]io.Closer{"store": store, "log": s.log} {
			if err := c.Close(); err != nil {
				t.Errorf("close %s: %v", name, err)
			}
		}
	})
	return s
}

// serveVersion puts a server with the given files of the pages at the end of the line, as a
// new version of the program would.
func (s *stack) serveVersion(from fs.FS) {
	s.t.Helper()
	server := httpd.New(httpd.Config{
		Tokens: s.tokens, People: s.people, Version: "test", RateEvery: time.Microsecond, RateBurst: 1_000_000,
		Logger: slog.New(slog.NewTextHandler(s.t.Output(), &slog.HandlerOptions{Level: slog.LevelError})),
	})
	must(s.t, intake.Mount(server, s.log, s.log.Commits))
	must(s.t, photos.Mount(server, photos.Deps{Store: s.photos, Commits: s.log.Commits, Take: !s.noPhotos, BytesMax: photos.BytesMax,
		Thumbnails: photos.NewThumbnails(s.photos, s.t.TempDir(), slog.Default())}))
	var err error
	s.deps.Frame, err = pages.New(server)
	must(s.t, err)
	must(s.t, mount(server, s.deps, from))
	s.line.Serve(server.Engine)
}

// act makes an event with an id of its own, days before today.
func (s *stack) act(kind events.Type, daysAgo int, payload any) events.Event {
	s.t.Helper()
	s.events++
	data, err := json.Marshal(payload)
	must(s.t, err)
	return events.Event{ID: fmt.Sprintf("event-%04d", s.events), Source: "/tests", Type: kind,
		Time: string(today().Add(-daysAgo)) + "T08:00:00Z", Data: data}
}

func today() events.Day { return events.DayOf(time.Now().UTC()) }

// record puts events of one job into the log as one commit.
func (s *stack) record(firm, job, by string, happened ...events.Event) {
	s.t.Helper()
	for i := range happened {
		happened[i].Subject = job
	}
	_, err := s.log.Record(context.Background(), firm, job, by, happened)
	must(s.t, err)
}

// ledger returns the events that were recorded on a job after the first n.
func (s *stack) ledger(job string, n int) []events.Event {
	s.t.Helper()
	stored, err := s.log.Commits(context.Background(), "north", job, 0)
	must(s.t, err)
	var list []events.Event
	for _, c := range stored {
		commit, err := events.DecodeCommit(c.Raw)
		must(s.t, err)
		list = append(list, commit.Events...)
	}
	return list[n:]
}

// marks returns what the office is told to look at on a job.
func (s *stack) marks(job string) []string {
	s.t.Helper()
	s.deps.Position("north")
	lines, err := s.store.Lines(s.t.Context(), reports.Query{Firm: "north"})
	must(s.t, err)
	var marks []string
	for _, f := range lines {
		if f.Job == job && f.Kind == reports.KindMark {
			marks = append(marks, f.Task)
		}
	}
	return marks
}

// request asks with a token and returns status, headers and body.
func (s *stack) request(method, path, token, body string, headers ...string) (int, http.Header, string) {
	s.t.Helper()
	r, err := http.NewRequest(method, s.address+path, strings.NewReader(body))
	must(s.t, err)
	secret, ok := s.secrets[token]
	if !ok {
		secret = token
	}
	r.Header.Set("Authorization", "Bearer "+secret)
	for i := 0; i < len(headers); i += 2 {
		r.Header.Set(headers[i], headers[i+1])
	}
	answer, err := http.DefaultClient.Do(r)
	must(s.t, err)
	defer answer.Body.Close()
	raw, err := io.ReadAll(answer.Body)
	must(s.t, err)
	return answer.StatusCode, answer.Header, string(raw)
}

// The job of the tests, and what is open on it.
const (
	flat     = "flat-2"
	laidID   = "event-laid"
	snagID   = "event-snag"
	damageID = "event-damage"
	hoursID  = "event-hours"
)

// named gives an event an id that the tests know.
func named(id string, e events.Event) events.Event {
	e.ID = id
	return e
}

// tell records an invented firm with a running job, one that is accepted, and one
// that is only opened, and a second firm.
func tell(s *stack) {
	for _, firm := range []string{"north", "south"} {
		s.record(firm, events.FirmJob, "office",
			s.act(events.FirmSettingsChanged, 90, events.Settings{
				Name: "Invented Decorators", Currency: "EUR", TimeZone: "UTC", Locale: "en-IE",
				JobTypes: []events.JobType{{JobType: "occupied", Name: "Occupied redecoration"}},
				Grades:   []events.Grade{{Grade: "painter", CostPerHourE4: 384500}},
				Tasks: []events.FirmTask{{Task: "paper-strip", Family: events.FamilyPreparation,
					Unit: events.SquareMetre, Name: "Strip paper"}},
				People: []events.FirmPerson{{Person: "una", Name: "Una", Grade: "painter"},
					{Person: "bo", Name: "Bo", Grade: "painter"}},
			}),
			s.act(events.ProductListed, 90, events.Product{Product: "wall-matt", Name: "Wall paint, matt",
				Unit: events.Litre, PriceE4: 97300}),
			s.act(events.ProductListed, 90, events.Product{Product: "tape", Name: "Tape, 30 mm",
				Unit: events.Roll, PriceE4: 33700}))
	}
	estimate := s.act(events.EstimateIssued, 20, events.Estimate{PriceE4: 18_000_000, Lines: []events.EstimateLine{
		{Task: "protect-floor", QuantityMilli: 60_000, Unit: events.SquareMetre, Minutes: 240},
		{Task: "mask-edge", QuantityMilli: 40_000, Unit: events.Metre, Minutes: 120},
		{Task: "coat", Surface: "wall", QuantityMilli: 180_000, Unit: events.SquareMetre, Minutes: 1080},
		{Task: "fill", QuantityMilli: 9_000, Unit: events.SquareMetre, Minutes: 90}}})
	s.record("north", flat, "office",
		s.act(events.JobOpened, 20, events.Opening{JobType: "occupied", Title: "Flat, four rooms, in use",
			Due: today().Add(4)}),
		estimate)
	wrong := s.act(events.HoursBooked, 3, events.Hours{Person: "bo", Task: "coat", Minutes: 999})
	s.record("north", flat, "van-2",
		named(laidID, s.act(events.ProtectionLaid, 9, events.Protection{Task: "mask-edge", Surface: "window-frame",
			Location: "Kitchen", QuantityMilli: 18_400, Unit: events.Metre, Product: "tape",
			ProductQuantityMilli: 1_000, ProductUnit: events.Roll, RemoveBy: today().Add(-2)})),
		named(snagID, s.act(events.SnagRaised, 4, events.Snag{Location: "Hall", Finding: "run on the door frame",
			RaisedBy: "firm"})),
		named(damageID, s.act(events.DamageFound, 4, events.Damage{Location: "Hall", Item: "handrail",
			Finding: "scratch", Cause: "ours"})),
		named(hoursID, s.act(events.HoursBooked, 3, events.Hours{Person: "una", Task: "coat", Minutes: 395,
			Location: "Kitchen"})),
		s.act(events.HoursBooked, 3, events.Hours{Person: "bo", Task: "mask-edge", Minutes: 125, Location: "<b>Hall</b>"}),
		wrong)
	s.record("north", flat, "van-2", s.act(events.EventVoided, 3, events.Void{Event: wrong.ID, Reason: "entered twice"}))
	s.record("north", flat, "office", s.act(events.HoursBooked, 1, events.Hours{Person: "una", Task: "coat", Minutes: 60}))
	stairs := s.act(events.EstimateIssued, 20, events.Estimate{Lines: []events.EstimateLine{{Task: "coat", Minutes: 60}}})
	s.record("north", "stairs-5", "office",
		s.act(events.JobOpened, 20, events.Opening{JobType: "occupied", Title: "Stairs", Due: today().Add(1)}), stairs,
		s.act(events.EstimateAccepted, 19, events.Acceptance{Estimate: stairs.ID}))
	s.record("north", "hall-4", "office", s.act(events.JobOpened, 5, events.Opening{JobType: "occupied", Title: "Hall"}))
	s.record("south", "south-1", "office",
		s.act(events.JobOpened, 5, events.Opening{JobType: "occupied", Title: "Secret of the south"}),
		s.act(events.HoursBooked, 3, events.Hours{Person: "una", Task: "coat", Minutes: 333}))
}

// payloads returns the payloads of a job's new events as JSON, with their types.
func (s *stack) payloads(n int) []string {
	s.t.Helper()
	var list []string
	seen := map[string]bool{}
	for _, e := range s.ledger(flat, n) {
		if seen[e.ID] {
			s.t.Errorf("event %s stands twice in the ledger", e.ID)
		}
		seen[e.ID] = true
		var data map[string]any
		must(s.t, json.Unmarshal(e.Data, &data))
		raw, err := json.Marshal(data) // members in one order
		must(s.t, err)
		name := strings.TrimSuffix(strings.TrimPrefix(string(e.Type), "daysheet."), ".v1")
		list = append(list, name+" "+string(raw))
	}
	return list
}
