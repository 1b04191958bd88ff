package httpd

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/gin-gonic/gin"

	"daysheet/events"
)

func must(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// until waits for a condition that another goroutine brings about.
func until(t *testing.T, what string, condition func() bool) {
	t.Helper()
	tick := time.NewTicker(2 * time.Millisecond)
	defer tick.Stop()
	limit := time.NewTimer(30 * time.Second)
	defer limit.Stop()
	for !condition() {
		select {
		case <-tick.C:
		case <-limit.C:
			t.Fatalf("it never came to be that %s", what)
		}
	}
}

// logBuffer is a log that can be read while it is written.
type logBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *logBuffer) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *logBuffer) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}

// bench is a server on a port of its own, with a few routes to try it on.
type bench struct {
	t       *testing.T
	server  *Server
	tokens  *Tokens
	address string
	secrets map[string]string // by the name of the token
	log     *logBuffer
	client  *http.Client // follows no redirects
	stop    func() error // ends the server and returns what Serve returned
	cutsOff bool         // whether Serve is expected to cut requests off
}

// newBench starts a server. change may alter its configuration, routes may add
// routes; both may be nil.
func newBench(t *testing.T, change func(*Config), routes func(*Server)) *bench {
	t.Helper()
	tokens, err := OpenTokens(filepath.Join(t.TempDir(), "tokens.json"))
	must(t, err)
	b := &bench{t: t, tokens: tokens, secrets: map[string]string{}, log: &logBuffer{}, client: &http.Client{
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
		Transport:     &http.Transport{DisableCompression: true},
	}}
	t.Cleanup(b.client.CloseIdleConnections)
	for name, scope := range map[string]Scope{"reader": ScopeRead, "phone": ScopeRecord, "boss": ScopeAdmin} {
		b.secrets[name], err = tokens.Add(t.Context(), "tests", Token{Firm: "north", Name: name, Scopes: []Scope{scope}})
		must(t, err)
	}
	cfg := Config{Tokens: tokens, Logger: slog.New(slog.NewJSONHandler(b.log, nil)), Version: "test"}
	if change != nil {
		change(&cfg)
	}
	b.server = New(cfg)
	if routes != nil {
		routes(b.server)
	}
	b.serve()
	return b
}

func (b *bench) serve() {
	b.t.Helper()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	must(b.t, err)
	b.address = "http://" + listener.Addr().String()
	ctx, cancel := context.WithCancel(context.Background())
	served := make(chan error, 1)
	go func() { served <- b.server.Serve(ctx, listener) }()
	b.stop = sync.OnceValue(func() error {
		cancel()
		return <-served
	})
	b.t.Cleanup(func() {
		if err := b.stop(); err != nil && !b.cutsOff {
			b.t.Errorf("serve: %v", err)
		}
	})
}

// scenario is one request and what its answer must be. An answer of 400 and more
// must be a problem, unless it is a page.
type scenario struct {
	name     string
	method   string // GET if empty
	url      string
	token    string // name of a token, or a secret as it stands
	headers  map[string]string
	body     string
	reader   io.Reader // a body of unknown length, instead of body
	status   int
	page     bool
	contains []string
	without  []string
	header   map[string]string // of the answer
}

func (b *bench) do(t *testing.T, s scenario) (*http.Response, string) {
	t.Helper()
	body := s.reader
	if body == nil {
		body = strings.NewReader(s.body)
	}
	method := s.method
	if method == "" {
		method = http.MethodGet
	}
	r, err := http.NewRequestWithContext(t.Context(), method, b.address+s.url, body)
	must(t, err)
	if s.token != "" {
		secret, ok := b.secrets[s.token]
		if !ok {
			secret = s.token
		}
		r.Header.Set("Authorization", "Bearer "+secret)
	}
	for name, value := range s.headers {
		r.Header.Set(name, value)
	}
	answer, err := b.client.Do(r)
	must(t, err)
	defer answer.Body.Close()
	raw, err := io.ReadAll(answer.Body)
	must(t, err)
	return answer, string(raw)
}

func (b *bench) run(t *testing.T, scenarios []scenario) {
	for _, s := range scenarios {
		t.Run(s.name, func(t *testing.T) {
			answer, body := b.do(t, s)
			if answer.StatusCode != s.status {
				t.Fatalf("status %d, want %d; body %s", answer.StatusCode, s.status, body)
			}
			if s.status >= 400 && !s.page {
				checkProblem(t, answer, body)
			}
			for _, want := range s.contains {
				if !strings.Contains(body, want) {
					t.Errorf("body lacks %q:\n%s", want, body)
				}
			}
			for _, unwanted := range s.without {
				if strings.Contains(body, unwanted) {
					t.Errorf("body holds %q:\n%s", unwanted, body)
				}
			}
			for name, want := range s.header {
				if got := answer.Header.Get(name); got != want {
					t.Errorf("header %s is %q, want %q", name, got, want)
				}
			}
		})
	}
}

// checkProblem checks an answer against RFC 9457 and our own promises.
func checkProblem(t *testing.T, answer *http.Response, body string) {
	t.Helper()
	if got := answer.Header.Get("Content-Type"); got != "application/problem+json" {
		t.Errorf("content type %q is no problem", got)
	}
	var p ProblemDetails
	if err := json.Unmarshal([]byte(body), &p); err != nil {
		t.Fatalf("problem is not JSON: %v\n%s", err, body)
	}
	if p.Status != answer.StatusCode || !strings.HasPrefix(p.Type, "/problems/") || p.Title == "" || p.Detail == "" {
		t.Errorf("problem is incomplete: %s", body)
	}
	if id := answer.Header.Get("X-Request-Id"); id == "" || p.Instance != "/requests/"+id {
		t.Errorf("instance %q does not name request %q", p.Instance, id)
	}
}

type thing struct {
	Name string `json:"name" minLength:"2"`
}

// tryRoutes adds routes that fail in every way.
func tryRoutes(s *Server) {
	s.Engine.GET("/office", Require(ScopeRead), func(c *gin.Context) { c.String(http.StatusOK, "office") })
	s.Engine.POST("/office", Require(ScopeRead), func(c *gin.Context) { c.String(http.StatusOK, "done") })
	s.Engine.GET("/breaks", func(*gin.Context) { panic("secret cause") })
	s.Engine.GET("/breaks-late", func(c *gin.Context) {
		c.Header("ETag", `"1"`)
		c.String(http.StatusOK, "half an ans")
		panic("secret cause")
	})
	huma.Register(s.API, huma.Operation{OperationID: "get-thing", Method: http.MethodGet, Path: "/v1/things/{id}",
		Metadata: map[string]any{"scope": ScopeRead}},
		func(_ context.Context, in *struct {
			ID   int    `path:"id" minimum:"1"`
			Fail string `query:"fail"`
		}) (*struct{ Body thing }, error) {
			return &struct{ Body thing }{thing{"brush"}}, failure(in.Fail)
		})
	huma.Register(s.API, huma.Operation{OperationID: "put-thing", Method: http.MethodPost, Path: "/v1/things",
		Metadata: map[string]any{"scope": []Scope{ScopeRead, ScopeRecord}}},
		func(_ context.Context, in *struct{ Body thing }) (*struct{ Body thing }, error) {
			return &struct{ Body thing }{in.Body}, nil
		})
}

// failure makes the error that a test asks a handler for.
func failure(kind string) error {
	switch kind {
	case "":
		return nil
	case "panic":
		panic("secret cause")
	case "plain":
		return errors.New("secret cause")
	case "deadline":
		return fmt.Errorf("read: %w", context.DeadlineExceeded)
	}
	return fmt.Errorf("secret cause: %w", &events.Error{Code: events.Code(kind), EventID: "event-0001", Field: "data.minutes",
		Value: "-5", Rule: "a whole number from 1 to 1440"})
}
