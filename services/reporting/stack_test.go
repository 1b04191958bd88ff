package reporting

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"daysheet/events"
	"daysheet/services/eventlog"
	"daysheet/services/facts/duckdb"
	"daysheet/services/httpd"
	"daysheet/services/pages"
	"daysheet/services/photos"
	"daysheet/services/projector"
)

// stack is the whole way of the data: log, projector, store and server on a
// port of its own.
type stack struct {
	t         *testing.T
	log       *eventlog.Log
	projector *projector.Projector
	address   string
	tokens    map[string]string // by firm
	photos    *photos.Folder
	stop      func() // ends the server and waits for it
	events    int
}

// today is the present of the tests.
func today() time.Time { return time.Date(2026, 6, 30, 12, 0, 0, 0, time.UTC) }

func newStack(t *testing.T) *stack {
	t.Helper()
	return newStackWith(t, Mount)
}

// newStackWith is newStack with the routes mounted in another way.
func newStackWith(t *testing.T, mount func(*httpd.Server, Deps) error) *stack {
	t.Helper()
	dir := t.TempDir()
	ctx, cancel := context.WithCancel(context.Background())
	s := &stack{t: t, tokens: map[string]string{}}
	var err error
	s.log, err = eventlog.Open(ctx, eventlog.Config{Dir: filepath.Join(dir, "log"), Now: today})
	must(t, err)
	store, err := duckdb.Open(ctx, filepath.Join(dir, "facts.duckdb"), duckdb.Options{Threads: 2})
	must(t, err)
	s.projector = projector.New(s.log, store, nil)
	ended := make(chan error, 2)
	go func() { ended <- s.projector.Run(ctx) }()

	tokens, err := httpd.OpenTokens(filepath.Join(dir, "tokens.json"))
	must(t, err)
	scopes := map[string][]httpd.Scope{"north": {httpd.ScopeRead, httpd.ScopeRecord}, "south": {httpd.ScopeRead}}
	for firm, name := range map[string]string{"north": "office", "south": "other"} {
		s.tokens[firm], err = tokens.Add(t.Context(), "tests", httpd.Token{Firm: firm, Name: name, Scopes: scopes[firm]})
		must(t, err)
	}
	s.tokens["phone"], err = tokens.Add(t.Context(), "tests", httpd.Token{Firm: "north", Name: "phone",
		Scopes: []httpd.Scope{httpd.ScopeRecord}})
	must(t, err)
	s.tokens["owner"], err = tokens.Add(t.Context(), "tests", httpd.Token{Firm: "north", Name: "owner",
		Scopes: []httpd.Scope{httpd.ScopeAdmin}})
	must(t, err)
	server := httpd.New(httpd.Config{
		Tokens: tokens, Logger: slog.New(slog.NewTextHandler(t.Output(),
			&slog.HandlerOptions{Level: slog.LevelError})), Version: "test", RateEvery: time.Microsecond, RateBurst: 1_000_000,
	})
	s.photos = photos.NewFolder(filepath.Join(dir, "photos"), photos.Limits{})
	must(t, photos.Mount(server, photos.Deps{Store: s.photos, Commits: s.log.Commits, BytesMax: photos.BytesMax,
		Thumbnails: photos.NewThumbnails(s.photos, filepath.Join(dir, "thumbnails"), slog.Default())}))
	frame, err := pages.New(server)
	must(t, err)
	frame.Speak(func(ctx context.Context, firm string) (string, error) {
		names, err := s.projector.Names(ctx, firm)
		return names.Locale, err
	})
	must(t, mount(server, Deps{
		Frame: frame, Store: store, Names: s.projector.Names, Commits: s.log.Commits, Watch: s.projector.Watch, Clock: today,
		Photos: s.photos, Job: s.projector.Job,
		Position: func(firm string) uint64 { return s.projector.Position(eventlog.Partition(firm)) },
		Reached:  func(firm string) uint64 { return s.projector.Position(eventlog.Partition(firm)) },
	}))
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	must(t, err)
	s.address = "http://" + listener.Addr().String()
	serving, stopServing := context.WithCancel(ctx)
	served := make(chan error, 1)
	go func() { served <- server.Serve(serving, listener) }()
	stopped := false
	s.stop = func() {
		if stopped {
			return
		}
		stopped = true
		stopServing()
		if err := <-served; err != nil {
			t.Errorf("serve: %v", err)
		}
	}
	t.Cleanup(func() {
		s.stop()
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

func must(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// act makes an event with an id of its own.
func (s *stack) act(kind events.Type, day string, payload any) events.Event {
	s.t.Helper()
	s.events++
	data, err := json.Marshal(payload)
	must(s.t, err)
	return events.Event{
		ID: fmt.Sprintf("event-%04d",
			s.events), Source: "/tests/phone", Type: kind, Time: day + "T08:00:00+02:00", Data: data,
	}
}

// record puts events of one job into the log as one commit and waits until the
// reports hold them.
func (s *stack) record(firm, job string, happened ...events.Event) uint64 {
	s.t.Helper()
	for i := range happened {
		happened[i].Subject = job
	}
	receipts, err := s.log.Record(context.Background(), firm, job, "van-1", happened)
	if err != nil {
		s.t.Fatalf("record on %s: %v", job, err)
	}
	sequence := receipts[len(receipts)-1].Sequence
	must(s.t, s.projector.Wait(context.Background(), firm, sequence))
	return sequence
}

// answer is what the server said.
type answer struct {
	status int
	header http.Header
	body   string
}

// get asks as a firm's office. Headers come in pairs of name and value.
func (s *stack) get(firm, path string, headers ...string) answer {
	s.t.Helper()
	request, err := http.NewRequest(http.MethodGet, s.address+path, nil)
	must(s.t, err)
	request.Header.Set("Authorization", "Bearer "+s.tokens[firm])
	for i := 0; i < len(headers); i += 2 {
		request.Header.Set(headers[i], headers[i+1])
	}
	response, err := http.DefaultClient.Do(request)
	must(s.t, err)
	defer response.Body.Close()
	body, err := io.ReadAll(response.Body)
	must(s.t, err)
	return answer{response.StatusCode, response.Header, string(body)}
}

// read asks for JSON and fails the test where it does not come.
func (s *stack) read(firm, path string, into any) answer {
	s.t.Helper()
	a := s.get(firm, path, "Accept", "application/json")
	if a.status != http.StatusOK {
		s.t.Fatalf("GET %s: status %d: %s", path, a.status, a.body)
	}
	d := json.NewDecoder(strings.NewReader(a.body))
	d.UseNumber()
	if err := d.Decode(into); err != nil {
		s.t.Fatalf("GET %s: %v in %s", path, err, a.body)
	}
	return a
}
