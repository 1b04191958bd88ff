package main

import (
	"context"
	"io"
	"net"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"testing"

	"daysheet/services/httpd"
)

// TestPathsThatLeadAway: no address of a running ledger leads out of what it stands
// for, however the way is written, and none is a fault.
func TestPathsThatLeadAway(t *testing.T) {
	a := mustOpen(t, t.TempDir())
	defer mustClose(t, a)
	secret, err := a.tokens.Add(t.Context(), "tests", httpd.Token{Firm: demoFirm, Name: "all", Scopes: httpd.Scopes()})
	if err != nil {
		t.Fatal(err)
	}
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(t.Context())
	served := make(chan error, 1)
	go func() { served <- a.server.Serve(ctx, listener) }()
	defer func() {
		stop()
		if err := <-served; err != nil {
			t.Error(err)
		}
	}()
	client := noRedirects()
	defer client.CloseIdleConnections()
	asked := 0
	for _, before := range []string{"/assets/", "/v1/photos/", "/v1/jobs/", "/jobs/", "/photos/", "/keys/", "/office/export/",
		"/reports/", "/v1/customers/", "/link/", "/crew/"} {
		for _, way := range []string{"../tokens.json", "../../tokens.json", "..%2ftokens.json", "%2e%2e/%2e%2e/tokens.json",
			"%2e%2e%2f%2e%2e%2ftokens.json", "..\\..\\tokens.json", "..%5c..%5ctokens.json", "..%252ftokens.json", "%00tokens.json",
			"a%0d%0aX-Made: up", "..%c0%af..%c0%aftokens.json", "/etc/passwd", "%2fetc%2fpasswd", strings.Repeat("a", 4000)} {
			for _, after := range []string{"", "/evidence"} {
				path := before + way + after
				r := &http.Request{Method: http.MethodGet, Header: http.Header{"Authorization": {"Bearer " + secret}},
					URL: &url.URL{Scheme: "http", Host: listener.Addr().String(), Opaque: strings.ReplaceAll(path, " ", "%20")}}
				answer, err := client.Do(r.WithContext(t.Context()))
				if err != nil {
					t.Fatalf("%s: %v", path, err)
				}
				body, err := io.ReadAll(answer.Body)
				if err != nil {
					t.Fatal(err)
				}
				answer.Body.Close()
				if answer.StatusCode < 400 || answer.StatusCode >= 500 || answer.Header.Get("X-Made") != "" ||
					strings.Contains(string(body), "root:") || strings.Contains(string(body), `"hash"`) {
					t.Errorf("GET %.80s: %d %.200s", path, answer.StatusCode, body)
				}
				asked++
			}
		}
	}
	tried(t, "path", "ways out of a folder, plain and escaped, behind eleven routes", strconv.Itoa(asked)+" answers, all from 400 to 499")
}
