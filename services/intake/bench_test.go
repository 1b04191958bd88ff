package intake

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
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"daysheet/events"
	"daysheet/services/eventlog"
	"daysheet/services/httpd"
)

func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// bench is an intake with a real log behind it, reached over HTTP.
type bench struct {
	log     *eventlog.Log
	server  *httpd.Server
	address string
	secrets map[string]string // by the name of the token
}

// The firms of the tests. They are invented.
const (
	north = "north-yard"
	south = "south-yard"
)

func newBench(t testing.TB, wrap func(Recorder) Recorder) *bench {
	t.Helper()
	dir := t.TempDir()
	log, err := eventlog.Open(t.Context(), eventlog.Config{Dir: filepath.Join(dir, "log")})
	must(t, err)
	tokensPath := filepath.Join(dir, "tokens.json")
	tokens, err := httpd.OpenTokens(tokensPath)
	must(t, err)
	b := &bench{log: log, secrets: map[string]string{}}
	for name, token := range map[string]httpd.Token{
		"office":  {Firm: north, Scopes: []httpd.Scope{httpd.ScopeRead, httpd.ScopeRecord}},
		"phone":   {Firm: north, Scopes: []httpd.Scope{httpd.ScopeRecord}},
		"boss":    {Firm: north, Scopes: []httpd.Scope{httpd.ScopeAdmin}},
		"reader":  {Firm: north, Scopes: []httpd.Scope{httpd.ScopeRead}},
		"revoked": {Firm: north, Scopes: []httpd.Scope{httpd.ScopeRecord}},
		"expired": {Firm: north, Scopes: []httpd.Scope{httpd.ScopeRecord}, Expires: time.Now().Add(time.Hour)},
		"south":   {Firm: south, Scopes: []httpd.Scope{httpd.ScopeRead, httpd.ScopeRecord}},
	} {
		token.Name = name
		b.secrets[name], err = tokens.Add(t.Context(), "tests", token)
		must(t, err)
	}
	must(t, tokens.Revoke(t.Context(), "tests", north, "revoked"))
	expire(t, tokensPath, "expired")
	b.server = httpd.New(httpd.Config{
		Tokens: tokens, Logger: slog.New(slog.NewTextHandler(t.Output(), &slog.HandlerOptions{Level: slog.LevelError})),
		Version: "test", BodyMax: 256 << 10, RateEvery: time.Microsecond, RateBurst: 1_000_000,
	})
	recorder := Recorder(log)
	if wrap != nil {
		recorder = wrap(log)
	}
	must(t, Mount(b.server, recorder, log.Commits))
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	must(t, err)
	b.address = "http://" + listener.Addr().String()
	ctx, stop := context.WithCancel(context.Background())
	served := make(chan error, 1)
	go func() { served <- b.server.Serve(ctx, listener) }()
	t.Cleanup(func() {
		http.DefaultClient.CloseIdleConnections()
		stop()
		if err := errors.Join(<-served, log.Close()); err != nil {
			t.Errorf("stop: %v", err)
		}
	})
	return b
}

// expire moves the end of a token into the past, in the file that the server reads.
func expire(t testing.TB, path, name string) {
	t.Helper()
	raw, err := os.ReadFile(path)
	must(t, err)
	var file struct {
		Version int              `json:"version"`
		Tokens  []map[string]any `json:"tokens"`
	}
	must(t, json.Unmarshal(raw, &file))
	for _, token := range file.Tokens {
		if token["name"] == name {
			token["expires"] = "2020-01-01T00:00:00Z"
		}
	}
	raw, err = json.Marshal(file)
	must(t, err)
	must(t, os.WriteFile(path, raw, 0o600))
}

// request is what a test sends.
type request struct {
	method, url, token string // POST, the intake and the office's token, if empty; no token if "none"
	contentType        string // not sent if "none"
	body               string
}

// answered is what came back: receipts, or a problem.
type answered struct {
	Receipts []events.Receipt `json:"receipts"`
	httpd.ProblemDetails

	status int
	kind   string // content type
	raw    string
}

func (b *bench) send(t testing.TB, q request) answered {
	t.Helper()
	if q.method == "" {
		q.method = http.MethodPost
	}
	if q.url == "" {
		q.url = path
	}
	r, err := http.NewRequestWithContext(t.Context(), q.method, b.address+q.url, strings.NewReader(q.body))
	must(t, err)
	switch secret, ok := b.secrets[q.token]; {
	case ok:
		r.Header.Set("Authorization", "Bearer "+secret)
	case q.token == "":
		r.Header.Set("Authorization", "Bearer "+b.secrets["office"])
	case q.token != "none":
		r.Header.Set("Authorization", "Bearer "+q.token)
	}
	if q.contentType != "none" {
		r.Header.Set("Content-Type", q.contentType)
	}
	response, err := http.DefaultClient.Do(r)
	must(t, err)
	defer response.Body.Close()
	raw, err := io.ReadAll(response.Body)
	must(t, err)
	a := answered{status: response.StatusCode, kind: response.Header.Get("Content-Type"), raw: string(raw)}
	if err := json.Unmarshal(raw, &a); err != nil && len(raw) > 0 {
		t.Fatalf("answer %d is not JSON: %v\n%s", response.StatusCode, err, raw)
	}
	return a
}

// take sends events that must be taken.
func (b *bench) take(t testing.TB, token string, list ...string) []events.Receipt {
	t.Helper()
	a := b.send(t, request{token: token, contentType: typeBatch, body: batch(list...)})
	if a.status != http.StatusCreated {
		t.Fatalf("status %d: %s", a.status, a.raw)
	}
	return a.Receipts
}

// last returns how many commits each firm has.
func (b *bench) last(t testing.TB) string {
	t.Helper()
	var counts []string
	for _, firm := range []string{north, south} {
		n, err := b.log.Last(t.Context(), eventlog.Partition(firm))
		must(t, err)
		counts = append(counts, fmt.Sprint(firm, " ", n))
	}
	return strings.Join(counts, ", ")
}

// stored returns a job's commits as one text.
func (b *bench) stored(t testing.TB, firm, job string) string {
	t.Helper()
	commits, err := b.log.Commits(t.Context(), firm, job, 0)
	must(t, err)
	var all bytes.Buffer
	for _, c := range commits {
		all.Write(c.Raw)
		all.WriteByte('\n')
	}
	return all.String()
}

// event writes an event with the payload given as JSON.
func event(id, kind, job, data string) string {
	return fmt.Sprintf(`{"specversion":"1.0","id":%q,"source":"/phones/van-2","type":"daysheet.%s.v1","subject":%q,`+
		`"time":"2026-03-04T16:20:00+01:00","data":%s}`, id, kind, job, data)
}

func opened(id, job string) string {
	return event(id, "job.opened", job, `{"job_type":"exterior","title":"Invented job"}`)
}

func hours(id, job string) string {
	return event(id, "hours.booked", job, `{"person":"anna","task":"sand","minutes":90}`)
}

func batch(list ...string) string { return "[" + strings.Join(list, ",") + "]" }
