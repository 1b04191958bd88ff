package httpd

import (
	"context"
	"errors"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/danielgtaylor/huma/v2"
)

// chunked hides the length of a body, so that it is sent in chunks.
type chunked struct{ io.Reader }

func TestAccess(t *testing.T) {
	b := newBench(t, nil, tryRoutes)
	html := map[string]string{"Accept": "text/html,*/*"}
	fromElsewhere := func(extra ...string) map[string]string {
		h := map[string]string{"Sec-Fetch-Site": "cross-site", "Origin": "https://elsewhere.example"}
		for i := 0; i < len(extra); i += 2 {
			h[extra[i]] = extra[i+1]
		}
		return h
	}
	cookie := "daysheet=" + b.secrets["reader"]
	b.run(t, []scenario{
		{name: "health is open", url: "/livez", status: 200, contains: []string{"alive"}},
		{name: "readiness is open", url: "/readyz", status: 200, contains: []string{"ready"}},
		{name: "health by HEAD", method: "HEAD", url: "/livez", status: 200},
		{name: "assets are open", url: "/assets/httpd.css", status: 200, contains: []string{"color-scheme"},
			header: map[string]string{"Content-Type": "text/css; charset=utf-8"}},
		{name: "an unknown asset is not there", url: "/assets/none.css", status: 401},
		{name: "metrics need a token", url: "/metrics", status: 401,
			header: map[string]string{"WWW-Authenticate": `Bearer realm="daysheet"`}},
		{name: "the description needs a token", url: "/openapi.json", status: 401},
		{name: "an API needs a token", url: "/v1/things/1", status: 401, contains: []string{`"/problems/unauthorized"`}},
		{name: "a page needs a token", url: "/office", status: 401},
		{name: "routes cannot be found out without a token", url: "/nothing", status: 401},
		{name: "nor methods", method: "DELETE", url: "/office", status: 401},
		{name: "an unknown token", url: "/office", token: "ds_guess", status: 401, contains: []string{"not known"}},
		{name: "an empty token", url: "/office", headers: map[string]string{"Authorization": "Bearer"}, status: 401},
		{name: "another scheme", url: "/office", headers: map[string]string{"Authorization": "Basic b3JuOg=="}, status: 401},
		{name: "the scheme in small letters", url: "/office", status: 200,
			headers: map[string]string{"Authorization": "bearer " + b.secrets["reader"]}},
		{name: "a browser is led to sign in", url: "/office?week=3&x=a%20b", headers: html, status: 303,
			header: map[string]string{"Location": "/sign-in?next=%2Foffice%3Fweek%3D3%26x%3Da%2520b"}},
		{name: "a browser with a bad header is told", url: "/office", token: "ds_guess", headers: html, status: 401, page: true,
			contains: []string{"<h1>", "The token is not known.", `<a href="/">`}, without: []string{"/problems/"},
			header: map[string]string{"Content-Type": "text/html; charset=utf-8"}},
		{name: "the icon that browsers ask for is open", url: "/favicon.ico", status: 204},
		{name: "the right scope", url: "/office", token: "reader", status: 200, contains: []string{"office"}},
		{name: "the wrong scope on a page", url: "/office", token: "phone", status: 403, contains: []string{"read"}},
		{name: "the wrong scope on the API", url: "/v1/things/1", token: "phone", status: 403},
		{name: "one of two scopes", method: "POST", url: "/v1/things", token: "phone", body: `{"name":"tape"}`,
			headers: map[string]string{"Content-Type": "application/json"}, status: 200},
		{name: "admin includes the others", url: "/v1/things/1", token: "boss", status: 200, contains: []string{"brush"}},
		{name: "metrics need read", url: "/metrics", token: "phone", status: 403},
		{name: "metrics by route template", url: "/metrics", token: "reader", status: 200,
			contains: []string{`http_request_duration_seconds_count{code="200",method="GET",route="/v1/things/:id"}`}},
		{name: "description", url: "/openapi.json", token: "phone", status: 200,
			contains: []string{`"openapi":"3.1.0"`, "Needs a token with the scope read or record."}},
		{name: "a cookie", url: "/office", headers: map[string]string{"Cookie": cookie}, status: 200},
		{name: "a cookie that is not good", url: "/office", headers: map[string]string{"Cookie": "daysheet=ds_old"}, status: 401},
		{name: "a cookie sent by another site", method: "POST", url: "/office", headers: fromElsewhere("Cookie", cookie),
			status: 403, contains: []string{"another site"}},
		{name: "the same by an old browser", method: "POST", url: "/office", status: 403,
			headers: map[string]string{"Cookie": cookie, "Origin": "https://elsewhere.example"}},
		{name: "a cookie from the same site", method: "POST", url: "/office", status: 200,
			headers: map[string]string{"Cookie": cookie, "Sec-Fetch-Site": "same-origin"}},
		{name: "a token in a header from anywhere", method: "POST", url: "/office", token: "reader",
			headers: fromElsewhere(), status: 200},
		{name: "signing in from another site", method: "POST", url: "/sign-in", headers: fromElsewhere(), status: 403},
	})
}

func TestProblems(t *testing.T) {
	b := newBench(t, func(c *Config) { c.BodyMax = 200 }, tryRoutes)
	jsonBody := map[string]string{"Content-Type": "application/json"}
	large := `{"name":"` + strings.Repeat("x", 300) + `"}`
	b.run(t, []scenario{
		{name: "no such address", url: "/nothing", token: "reader", status: 404, contains: []string{`"/problems/not-found"`}},
		{name: "no such address for a browser", url: "/nothing", token: "reader", status: 404,
			headers: map[string]string{"Accept": "text/html"}, page: true, without: []string{"/problems/"},
			contains: []string{"<h1>There is no such thing</h1>", "There is nothing at this address.", `<a href="/">`},
			header:   map[string]string{"Content-Type": "text/html; charset=utf-8"}},
		{name: "a fault for a browser", url: "/breaks", token: "reader", status: 500, page: true,
			headers: map[string]string{"Accept": "text/html"}, contains: []string{"<h1>The server has a fault</h1>"},
			without: []string{"secret cause", "goroutine"}},
		{name: "a slash too many", url: "/office/", token: "reader", status: 404},
		{name: "wrong method", method: "DELETE", url: "/v1/things/1", token: "reader", status: 405,
			contains: []string{`"/problems/method-not-allowed"`, "GET"}, header: map[string]string{"Allow": "GET"}},
		{name: "invalid", url: "/v1/things/1?fail=invalid", token: "reader", status: 422, without: []string{"secret cause"},
			contains: []string{`"/problems/invalid"`, `"field":"data.minutes"`, `"value":"-5"`,
				`"rule":"a whole number from 1 to 1440"`, `"event":"event-0001"`}},
		{name: "conflict", url: "/v1/things/1?fail=conflict", token: "reader", status: 409, contains: []string{`"/problems/conflict"`}},
		{name: "not found", url: "/v1/things/1?fail=not_found", token: "reader", status: 404, contains: []string{`"/problems/not-found"`}},
		{name: "unavailable", url: "/v1/things/1?fail=unavailable", token: "reader", status: 503,
			contains: []string{`"/problems/unavailable"`}, header: map[string]string{"Retry-After": "5"}},
		{name: "out of time", url: "/v1/things/1?fail=deadline", token: "reader", status: 503,
			header: map[string]string{"Retry-After": "5"}},
		{name: "internal", url: "/v1/things/1?fail=internal", token: "reader", status: 500, contains: []string{`"/problems/internal"`},
			without: []string{"secret cause", "data.minutes", `"value"`}},
		{name: "a code that is none", url: "/v1/things/1?fail=mystery", token: "reader", status: 500, without: []string{"secret cause"}},
		{name: "any other error", url: "/v1/things/1?fail=plain", token: "reader", status: 500, without: []string{"secret cause"}},
		{name: "a panic in the API", url: "/v1/things/1?fail=panic", token: "reader", status: 500,
			without: []string{"secret cause", "goroutine", ".go"}},
		{name: "a panic on the engine", url: "/breaks", token: "reader", status: 500, without: []string{"secret cause", "goroutine"}},
		{name: "a panic after a short answer", url: "/breaks-late", token: "reader", status: 500, without: []string{"half an ans"},
			header: map[string]string{"ETag": ""}},
		{name: "a parameter of the wrong kind", url: "/v1/things/many", token: "reader", status: 422,
			contains: []string{`"field":"path.id"`, `"value":"\"many\""`}},
		{name: "a parameter out of range", url: "/v1/things/0", token: "reader", status: 422, contains: []string{"path.id"}},
		{name: "malformed JSON", method: "POST", url: "/v1/things", token: "reader", headers: jsonBody, body: `{"name":`, status: 400,
			contains: []string{`"/problems/malformed"`}},
		{name: "no body", method: "POST", url: "/v1/things", token: "reader", headers: jsonBody, status: 400},
		{name: "content that breaks a rule", method: "POST", url: "/v1/things", token: "reader", headers: jsonBody,
			body: `{"name":"x"}`, status: 422, contains: []string{"body.name"}},
		{name: "several rules broken", method: "POST", url: "/v1/things", token: "reader", headers: jsonBody,
			body: `{"name":"x","size":3}`, status: 422, contains: []string{`"errors":[`, "body.name", "body.size"}},
		{name: "an unknown content type", method: "POST", url: "/v1/things", token: "reader", body: "name: x",
			headers: map[string]string{"Content-Type": "application/yaml"}, status: 415,
			contains: []string{`"/problems/unsupported-media-type"`}},
		{name: "a body that says it is too large", method: "POST", url: "/v1/things", token: "reader", headers: jsonBody,
			body: large, status: 413, contains: []string{`"/problems/too-large"`, "200 bytes"}},
		{name: "a body that turns out too large", method: "POST", url: "/v1/things", token: "reader", headers: jsonBody,
			reader: chunked{strings.NewReader(large)}, status: 413, contains: []string{"200 bytes"}},
		{name: "whatever is accepted, a problem is a problem", url: "/v1/things/0", token: "reader",
			headers: map[string]string{"Accept": "application/cloudevents+json, text/csv"}, status: 422},
	})
	until(t, "each fault is in the log", func() bool { return strings.Count(b.log.String(), `"level":"ERROR"`) >= 8 })
	if !strings.Contains(b.log.String(), "secret cause") {
		t.Error("the log does not say what went wrong")
	}
}

// TestCutAnswer makes sure that nobody takes half an answer for a whole one.
func TestCutAnswer(t *testing.T) {
	b := newBench(t, nil, func(s *Server) {
		huma.Register(s.API, huma.Operation{OperationID: "long", Method: http.MethodGet, Path: "/v1/long",
			Metadata: map[string]any{"scope": ScopeRead}},
			func(context.Context, *struct{}) (*huma.StreamResponse, error) {
				return &huma.StreamResponse{Body: func(ctx huma.Context) {
					_, _ = io.WriteString(ctx.BodyWriter(), strings.Repeat("x", 100_000))
					panic("secret cause")
				}}, nil
			})
	})
	r, err := http.NewRequestWithContext(t.Context(), http.MethodGet, b.address+"/v1/long", nil)
	must(t, err)
	r.Header.Set("Authorization", "Bearer "+b.secrets["reader"])
	answer, err := b.client.Do(r)
	if err == nil {
		defer answer.Body.Close()
		_, err = io.ReadAll(answer.Body)
	}
	if err == nil {
		t.Error("an answer that broke off arrived as a whole one")
	}
}

func TestHeaders(t *testing.T) {
	b := newBench(t, nil, tryRoutes)
	answer, _ := b.do(t, scenario{url: "/office", token: "reader"})
	policy := answer.Header.Get("Content-Security-Policy")
	for _, want := range []string{"default-src 'none'", "script-src 'self'", "frame-ancestors 'none'"} {
		if !strings.Contains(policy, want) {
			t.Errorf("content policy %q lacks %q", policy, want)
		}
	}
	if strings.Contains(policy, "unsafe") {
		t.Errorf("content policy %q allows what is unsafe", policy)
	}
	for name, want := range map[string]string{"X-Content-Type-Options": "nosniff", "Cache-Control": "no-store",
		"Referrer-Policy": "same-origin"} {
		if got := answer.Header.Get(name); got != want {
			t.Errorf("%s is %q, want %q", name, got, want)
		}
	}
}

func TestRequestID(t *testing.T) {
	b := newBench(t, nil, nil)
	for _, c := range []struct {
		sent string
		kept bool
	}{
		{"0123abcd-trace.1_x", true},
		{"", false},
		{"short", false},
		{strings.Repeat("a", 65), false},
		{"with space 123", false},
		{"quote\"quote\"", false},
	} {
		answer, _ := b.do(t, scenario{url: "/nothing", headers: map[string]string{"X-Request-Id": c.sent}})
		got := answer.Header.Get("X-Request-Id")
		if (got == c.sent) != c.kept || !saneRequestID(got) {
			t.Errorf("id %q was answered as %q", c.sent, got)
		}
	}
	until(t, "the id is in the log", func() bool { return strings.Contains(b.log.String(), `"request":"0123abcd-trace.1_x"`) })
}

// TestLogHoldsNoSecret sends secrets in every way and looks for them in the log.
func TestLogHoldsNoSecret(t *testing.T) {
	b := newBench(t, nil, tryRoutes)
	b.do(t, scenario{url: "/office", token: "reader"})
	b.do(t, scenario{url: "/office", headers: map[string]string{"Cookie": "daysheet=" + b.secrets["boss"]}})
	b.do(t, scenario{url: "/setup?code=one-time-code"})
	b.do(t, scenario{url: "/office", token: "ds_mistyped"})
	b.do(t, scenario{method: "POST", url: "/sign-in", body: "token=" + b.secrets["phone"],
		headers: map[string]string{"Content-Type": "application/x-www-form-urlencoded"}})
	until(t, "five requests are logged", func() bool { return strings.Count(b.log.String(), `"msg":"request"`) == 5 })
	log := b.log.String()
	for _, secret := range []string{b.secrets["reader"], b.secrets["boss"], b.secrets["phone"], "one-time-code", "ds_mistyped"} {
		if strings.Contains(log, secret) {
			t.Errorf("the log holds the secret %q", secret)
		}
	}
	for _, want := range []string{`"firm":"north"`, `"caller":"reader"`, `"route":"/office"`, `"status":200`} {
		if !strings.Contains(log, want) {
			t.Errorf("the log lacks %s", want)
		}
	}
}

func TestReady(t *testing.T) {
	b := newBench(t, func(c *Config) {
		c.Ready = map[string]func(context.Context) error{
			"log":   func(context.Context) error { return nil },
			"facts": func(context.Context) error { return errors.New("secret cause") },
			"store": func(context.Context) error {
				return &NotReady{Reason: "it stopped at sequence 7", Err: errors.New("secret cause")}
			},
		}
	}, nil)
	b.run(t, []scenario{{name: "one check fails", url: "/readyz", status: 503, without: []string{"secret cause"},
		contains: []string{"facts is not ready", "store is not ready: it stopped at sequence 7"}, header: map[string]string{"Retry-After": "5"}}})
	until(t, "the cause is in the log", func() bool { return strings.Contains(b.log.String(), "check facts: secret cause") })
}

func TestLimitBody(t *testing.T) {
	b := newBench(t, func(c *Config) { c.BodyMax = 10 }, func(s *Server) {
		tryRoutes(s)
		s.LimitBody("/office", 1000)
	})
	body := strings.Repeat("x", 500)
	b.run(t, []scenario{
		{name: "a route with a limit of its own", method: "POST", url: "/office", token: "reader", body: body, status: 200},
		{name: "the usual limit", method: "POST", url: "/v1/things", token: "reader", body: body, status: 413},
	})
}

func TestOwnRequestsNeedNoToken(t *testing.T) {
	b := newBench(t, func(c *Config) { c.RateBurst = 1 }, tryRoutes)
	for range 3 {
		r, err := http.NewRequestWithContext(WithCaller(t.Context(), Caller{Firm: "north", Name: "own", Scopes: []Scope{ScopeRead}}),
			http.MethodGet, "/office", nil)
		must(t, err)
		w := httptest.NewRecorder()
		b.server.Engine.ServeHTTP(w, r)
		if w.Code != http.StatusOK {
			t.Fatalf("status %d: %s", w.Code, w.Body)
		}
	}
}

func TestScopeIsNeeded(t *testing.T) {
	handler := func(context.Context, *struct{}) (*struct{}, error) { return nil, nil }
	for name, metadata := range map[string]map[string]any{
		"none": nil, "empty": {"scope": Scope("")}, "unknown": {"scope": Scope("write")}, "no scope": {"scope": 7},
	} {
		t.Run(name, func(t *testing.T) {
			s := New(Config{})
			defer func() {
				if recover() == nil {
					t.Error("an operation without a scope was registered")
				}
			}()
			huma.Register(s.API, huma.Operation{OperationID: "x", Method: http.MethodGet, Path: "/x", Metadata: metadata}, handler)
		})
	}
	b := newBench(t, nil, func(s *Server) {
		huma.Register(s.API, huma.Operation{OperationID: "x", Method: http.MethodGet, Path: "/hidden", Hidden: true}, handler)
	})
	b.run(t, []scenario{{name: "a hidden operation without a scope", url: "/hidden", token: "boss", status: 500}})
}

// TestOperationsTakeBodiesAsPagesDo: huma's own bounds, five seconds and 1 MiB, are not in
// the way of what the engine lets through.
func TestOperationsTakeBodiesAsPagesDo(t *testing.T) {
	s := New(Config{ReadTimeout: 90 * time.Second})
	huma.Register(s.API, huma.Operation{OperationID: "take", Method: http.MethodPost, Path: "/v1/take",
		Metadata: map[string]any{"scope": ScopeRead}},
		func(context.Context, *struct{ RawBody []byte }) (*struct{}, error) { return nil, nil })
	if op := s.API.OpenAPI().Paths["/v1/take"].Post; op.BodyReadTimeout != 90*time.Second || op.MaxBodyBytes > 0 {
		t.Errorf("a body may take %v and %d bytes", op.BodyReadTimeout, op.MaxBodyBytes)
	}
}

// deadlined notes until when an answer may be written.
type deadlined struct {
	*httptest.ResponseRecorder
	until time.Time
}

func (d *deadlined) SetWriteDeadline(until time.Time) error {
	d.until = until
	return nil
}

// TestRoutesThatAreGivenTime: those alone may be answered later than the server usually
// allows.
func TestRoutesThatAreGivenTime(t *testing.T) {
	b := newBench(t, nil, func(s *Server) {
		tryRoutes(s)
		s.GiveTime("/office", time.Hour)
	})
	for path, given := range map[string]bool{"/office": true, "/v1/things/1": false} {
		r := httptest.NewRequest(http.MethodGet, path, nil)
		r.Header.Set("Authorization", "Bearer "+b.secrets["reader"])
		w := &deadlined{ResponseRecorder: httptest.NewRecorder()}
		b.server.Engine.ServeHTTP(w, r)
		if w.Code != http.StatusOK || w.until.IsZero() == given {
			t.Errorf("%s is answered with %d until %v", path, w.Code, w.until)
		}
	}
}
