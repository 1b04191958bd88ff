package httpd

import (
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"
)

// TestPairing follows links through their lives: looked at, used, used again, too
// late, replaced.
func TestPairing(t *testing.T) {
	var pairing *Pairing
	b := newBench(t, nil, func(s *Server) { pairing = s.NewPairing("/office") })
	token := func(name string) Token { return Token{Firm: "north", Name: name, Scopes: []Scope{ScopeRecord}} }
	link := func(name string) string {
		t.Helper()
		at, _, err := pairing.Link(b.address+"/", "office", token(name))
		must(t, err)
		if !strings.HasPrefix(at, b.address+"/pair?code=") {
			t.Fatalf("the link is %s", at)
		}
		return strings.TrimPrefix(at, b.address)
	}
	post := func(at string) scenario {
		u, err := url.Parse(at)
		must(t, err)
		return scenario{method: http.MethodPost, url: "/pair", body: u.RawQuery,
			headers: map[string]string{"Content-Type": "application/x-www-form-urlencoded"}}
	}
	first := link("Van 3")
	for range 2 {
		if answer, body := b.do(t, scenario{url: first}); answer.StatusCode != http.StatusOK || !strings.Contains(body, "Van 3") {
			t.Fatalf("looked at: %d %s", answer.StatusCode, body)
		}
	}
	answer, _ := b.do(t, post(first))
	if answer.StatusCode != http.StatusSeeOther || answer.Header.Get("Location") != "/office" || len(answer.Cookies()) != 1 {
		t.Fatalf("paired: %d %v", answer.StatusCode, answer.Header)
	}
	cookie := answer.Cookies()[0]
	caller, err := b.tokens.Authenticate(cookie.Value)
	if err != nil || caller.Name != "Van 3" || caller.Firm != "north" || fmt.Sprint(caller.Scopes) != "[record]" || !cookie.HttpOnly {
		t.Errorf("the cookie speaks for %+v: %v", caller, err)
	}
	replaced := link("Van 4")
	late := link("Van 5")
	link("Van 4")
	pairing.now = func() time.Time { return time.Now().Add(offerLasts) }
	for name, at := range map[string]string{"used": first, "replaced": replaced, "late": late, "guessed": "/pair?code=x", "none": "/pair"} {
		for _, s := range []scenario{{url: at}, post(at)} {
			if answer, body := b.do(t, s); answer.StatusCode != http.StatusForbidden || !strings.Contains(body, "does not work any more") {
				t.Errorf("%s link, %s: %d %s", name, s.method, answer.StatusCode, body)
			}
		}
	}
	for name, bad := range map[string]Token{"used name": token("Van 3"), "no name": token(""), "bad firm": {Firm: "North", Name: "x", Scopes: []Scope{ScopeRecord}}} {
		if _, _, err := pairing.Link(b.address, "office", bad); err == nil {
			t.Errorf("%s: a link was made", name)
		}
	}
	for i := range offersMost {
		link(fmt.Sprintf("Phone %d", i))
	}
	if _, _, err := pairing.Link(b.address, "office", token("one more")); err == nil {
		t.Error("links without end")
	}
}

// TestAddressOf takes the address that the browser itself sees.
func TestAddressOf(t *testing.T) {
	s := New(Config{BaseURL: "https://ledger.example"})
	p := s.NewPairing("/")
	for _, c := range []struct{ origin, want string }{
		{"https://site.example:8443", "https://site.example:8443"}, {"null", "https://inner:8080"}, {"", "https://inner:8080"},
	} {
		r, err := http.NewRequest(http.MethodPost, "http://inner:8080/x", nil)
		must(t, err)
		r.Header.Set("Origin", c.origin)
		if got := p.AddressOf(r); got != c.want {
			t.Errorf("origin %q: %s, not %s", c.origin, got, c.want)
		}
	}
}
