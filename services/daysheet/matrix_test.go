package main

import (
	"context"
	"encoding/json"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"daysheet/services/httpd"
)

// openToAll are the routes that need no credential: those that lead in, those that hold
// nothing of a firm, and those whose address is the credential. A route that is added
// here lets everybody in: say in its package why.
var openToAll = []string{
	"GET /livez", "HEAD /livez", "GET /readyz", "HEAD /readyz", "GET /favicon.ico",
	"GET /sign-in", "POST /sign-in", "POST /sign-out", "GET /setup", "POST /setup", "GET /pair", "POST /pair",
	"GET /assets/httpd.css", "GET /assets/pages/:hash/:name", "HEAD /assets/pages/:hash/:name", "GET /assets/crew/:hash/:name",
	"GET /check", "POST /check", "GET /check/:code", "GET /check/:code/paper.pdf", "GET /keys/:firm",
	"GET /h/:secret", "POST /h/:secret/sign-off", "GET /h/:secret/report.pdf", "GET /h/:secret/photos/:digest",
}

// toAllWhoAreIn are the routes that ask for no scope: they tell nothing of a firm, or
// only what the caller is.
var toAllWhoAreIn = []string{"GET /openapi.json"}

// route is an address of the program with what stands in for its parts.
type route struct{ method, path, filled string }

func (r route) String() string { return r.method + " " + r.path }

// routesOf lists every route of the engine, pages and API alike. parts are the values for
// the parts of addresses; a part that is not named is "x".
func routesOf(a *app, parts map[string]string) []route {
	var all []route
	for _, r := range a.server.Engine.Routes() {
		filled := strings.Split(r.Path, "/")
		for i, part := range filled {
			name := strings.TrimLeft(part, ":*")
			if name == part {
				continue
			}
			filled[i] = "x"
			if value, ok := parts[name]; ok {
				filled[i] = value
			}
		}
		all = append(all, route{r.Method, r.Path, strings.Join(filled, "/")})
	}
	slices.SortFunc(all, func(a, b route) int { return strings.Compare(a.path+a.method, b.path+b.method) })
	return all
}

// declared returns what each operation of the API asks for, by method and route of the
// engine, as the description of the API has it: sets of scopes of which one is enough.
func declared(t *testing.T, c *client) map[string][][]string {
	t.Helper()
	var d struct {
		Paths map[string]map[string]struct{ Security []map[string][]string }
	}
	if err := json.Unmarshal(mustGet(t, c, "/openapi.json"), &d); err != nil {
		t.Fatal(err)
	}
	scopes := map[string][][]string{}
	for path, operations := range d.Paths {
		for method, op := range operations {
			at := strings.NewReplacer("{", ":", "}", "").Replace(path)
			for _, alternative := range op.Security {
				scopes[strings.ToUpper(method)+" "+at] = append(scopes[strings.ToUpper(method)+" "+at], alternative["token"])
			}
		}
	}
	return scopes
}

// ask sends a request without content and returns the status and the answer. Of a
// stream it reads nothing.
func ask(t *testing.T, c *client, r route, kind string) (status int, answer string) {
	t.Helper()
	body := ""
	if r.method != http.MethodGet && r.method != http.MethodHead && kind == "application/json" {
		body = "{}"
	}
	request, err := http.NewRequestWithContext(t.Context(), r.method, c.base+r.filled, strings.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	request.Header.Set("Content-Type", kind)
	client := *c.http
	client.CheckRedirect = noRedirects().CheckRedirect
	got, err := client.Do(request)
	if err != nil {
		t.Fatalf("%s: %v", r, err)
	}
	defer got.Body.Close()
	raw, err := io.ReadAll(got.Body)
	if err != nil {
		t.Fatalf("%s: %v", r, err)
	}
	return got.StatusCode, string(raw)
}

// TestEveryRouteHasItsRule asks every route of the program as nobody, as a caller who may
// do nothing, with every kind of credential, and as the owner of another firm. The rules come from
// the description of the API; a page must ask for a scope at all. A new route is tried
// without being named here, and fails where it lets in whom it should not.
func TestEveryRouteHasItsRule(t *testing.T) {
	folder := t.TempDir()
	// Without a limit to requests: those without access all come from one address.
	a, err := openApp(context.Background(), &Globals{Data: folder, quiet: true},
		appConfig{httpd: httpd.Config{RateEvery: time.Nanosecond, RateBurst: 1 << 20}})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { mustClose(t, a) })
	c := mustInvent(t, a, 1)
	openJob(t, c, "iris-job", "c-1042", snag("iris-job"))
	mustSend(t, c, 201, "PUT", "/v1/customers/c-1042", irisBody())
	link, _ := mustLink(t, c, "iris-job", "read")
	mustCatchUp(t, a)
	rules, streams := declared(t, c), "GET /v1/watch" // whoever may is not answered to an end
	routes := routesOf(a, map[string]string{"job": "iris-job", "customer": "c-1042", "link": link})
	guest := nobody(t, a)
	export := func() string {
		return string(mustGet(t, c, "/v1/events")) + string(mustGet(t, c, "/v1/jobs/iris-job/links"))
	}

	nothing := a.inProcess(httpd.Caller{Firm: demoFirm, Name: "somebody"})
	for _, r := range routes {
		kind := "application/x-www-form-urlencoded"
		if _, ofAPI := rules[r.String()]; ofAPI {
			kind = "application/json"
		}
		status, _ := ask(t, guest, r, kind)
		closed := status == http.StatusUnauthorized && r.String() != "POST /sign-in" // which says so of a wrong token
		if open := slices.Contains(openToAll, r.String()); open == closed {
			t.Errorf("%s answers nobody with %d: openToAll says %v", r, status, open)
		} else if open {
			continue
		}
		status, _ = ask(t, nothing, r, kind)
		if in := status != http.StatusForbidden && status != http.StatusUnauthorized; in != slices.Contains(toAllWhoAreIn, r.String()) {
			t.Errorf("%s answers who may do nothing with %d: a page asks for a scope", r, status)
		}
	}
	matrix := matrixOf(t, a, folder, guest.base, link, routes, rules)
	t.Logf("who gets in where\n%s", matrix)
	asReviewed(t, matrix)
	before := export()
	strangersSeeNothing(t, a, routes, rules, streams)
	if export() != before {
		t.Error("another firm changed what is recorded")
	}
}

// asReviewed compares the matrix with the one that was looked through: whoever is let in
// somewhere else, on an old route or a new one, is let in on purpose. -update writes it.
func asReviewed(t *testing.T, matrix string) {
	t.Helper()
	path := filepath.Join("testdata", "routes.md")
	if *update {
		if err := os.WriteFile(path, []byte(matrix), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want := strings.Split(content(t, path), "\n")
	for line := range strings.Lines(matrix) {
		if !slices.Contains(want, strings.TrimRight(line, "\n")) {
			t.Errorf("%s does not have this row, look whether it is right: %s", path, line)
		}
	}
	if have := strings.Count(matrix, "\n") + 1; have != len(want) {
		t.Errorf("%d lines, and %s has %d", have, path, len(want))
	}
}

// strangersSeeNothing asks everything as the owner of another firm, who has heard of the
// keys.
func strangersSeeNothing(t *testing.T, a *app, routes []route, rules map[string][][]string, streams string) {
	t.Helper()
	stranger := a.inProcess(httpd.Caller{Firm: "another", Name: "stranger", Scopes: httpd.Scopes()})
	for _, r := range routes {
		if slices.Contains(openToAll, r.String()) || r.String() == streams {
			continue
		}
		kind := "application/x-www-form-urlencoded"
		if _, ofAPI := rules[r.String()]; ofAPI {
			kind = "application/json"
		}
		status, answer := ask(t, stranger, r, kind)
		for _, text := range append(personal(), "Invented façade", "A run below the window", "Quillmarsh") {
			if strings.Contains(answer, text) {
				t.Errorf("%s tells another firm %q (%d)", r, text, status)
			}
		}
	}
}
