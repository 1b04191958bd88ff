package httpd

import (
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"daysheet/services/httpd/browsertest"
	"daysheet/services/texts"
)

// TestPagesInTheLanguageOfTheBrowser asks for each page that leads in, in English and in
// German: what is the same in both was forgotten.
func TestPagesInTheLanguageOfTheBrowser(t *testing.T) {
	made := &setUpFirms{}
	people, err := OpenPeople(filepath.Join(t.TempDir(), "people.json"), filepath.Join(t.TempDir(), "sessions.json"))
	must(t, err)
	must(t, people.Add(t.Context(), "office", Person{Firm: "north", Name: "Anna", Role: RoleOffice}, annasPassword, nil))
	session, _, _, err := people.SignIn(t.Context(), "Anna", annasPassword, "", false)
	must(t, err)
	var pairing *Pairing
	b := newBench(t, func(c *Config) { c.OnSetup, c.People = made.make, people },
		func(s *Server) { pairing = s.NewPairing("/") })
	link, _, err := pairing.Link(b.address, "office", Token{Firm: "north", Name: "van-2", Scopes: []Scope{ScopeRecord}})
	must(t, err)
	cookie := "daysheet=" + session
	for _, s := range []scenario{
		{url: "/sign-in", status: 200}, {url: "/sign-in?code=x", status: 403}, {url: "/setup?code=x", status: 403},
		{method: "POST", url: "/sign-in", body: form("token", "ds_x"), status: 401},
		{method: "POST", url: "/sign-in", body: form("name", "Anna", "password", "x"), status: 401},
		{url: strings.TrimPrefix(link, b.address), status: 200}, {url: "/pair?code=x", status: 403},
		{url: "/password", status: 200, headers: map[string]string{"Cookie": cookie}},
		{url: "/nowhere", status: 404, headers: map[string]string{"Cookie": cookie}},
		{url: "/metrics", status: 403, token: "phone"},
		{method: "POST", url: "/password", body: form("current", annasPassword, "new", "short"), status: 422,
			headers: map[string]string{"Cookie": cookie}},
	} {
		var said [2][]string
		for i, language := range []string{"en", "de-AT, en;q=0.5"} {
			try := s
			try.headers = map[string]string{"Accept": "text/html", "Accept-Language": language,
				"Content-Type": "application/x-www-form-urlencoded", "Sec-Fetch-Site": "same-origin"}
			for name, value := range s.headers {
				try.headers[name] = value
			}
			answer, body := b.do(t, try)
			if answer.StatusCode != s.status || !strings.Contains(body, `<html lang="`+language[:2]+`">`) ||
				strings.Contains(body, ` lang="en"`) != (i == 0) {
				t.Errorf("%s in %s: status %d: %s", s.url, language, answer.StatusCode, body)
			}
			said[i] = browsertest.Words(t, body)
		}
		for _, word := range said[1] {
			if slices.Contains(said[0], word) && !slices.Contains([]string{"Name", "Token"}, word) && !strings.Contains(word,
				"-") {
				t.Errorf("%s says %q in both languages", s.url, word)
			}
		}
	}
}

// TestSetUpInGerman: the form and its first values are in German, what is refused as well,
// and the firm goes on in German.
func TestSetUpInGerman(t *testing.T) {
	made := &setUpFirms{}
	b := newBench(t, func(c *Config) {
		var err error
		c.OnSetup = made.make
		c.Tokens, err = OpenTokens(filepath.Join(t.TempDir(), "none.json"))
		must(t, err)
	}, nil)
	link := strings.TrimPrefix(b.server.SetupLink(b.address), b.address)
	german := map[string]string{"Accept": "text/html", "Accept-Language": "de"}
	for name, value := range formHeaders {
		german[name] = value
	}
	answer, body := b.do(t, scenario{url: link, headers: german})
	if answer.StatusCode != http.StatusOK || !strings.Contains(body, "vorarbeiter = 28,00") || strings.Contains(body, ` lang="en"`) {
		t.Errorf("status %d: %s", answer.StatusCode, body)
	}
	_, code, _ := strings.Cut(link, "code=")
	send := func(currency string) (*http.Response, string) {
		return b.do(t, scenario{method: "POST", url: "/setup", headers: german, body: form("code", code, "firm", "nordhof",
			"name", "Erfundene Maler", "currency", currency, "time_zone", "Europe/Vienna", "job_types", "Fassade", "grades",
			"maler = 24,00")})
	}
	if answer, body := send("Euro"); answer.StatusCode != http.StatusUnprocessableEntity ||
		!strings.Contains(body, "drei Großbuchstaben nach ISO 4217") {
		t.Errorf("status %d: %s", answer.StatusCode, body)
	}
	if answer, body := send("EUR"); answer.StatusCode != http.StatusOK || !strings.Contains(body, "Erfundene Maler hat "+
		"ein Buch.") ||
		len(made.settings) != 1 || made.settings[0].Locale != "de" || made.settings[0].Grades[0].CostPerHourE4 != 240_000 {
		t.Errorf("status %d, settings %+v: %s", answer.StatusCode, made.settings, body)
	}
}

// TestEveryProblemHasItsHeading: for each status that a problem can have, and for none
// other.
func TestEveryProblemHasItsHeading(t *testing.T) {
	catalogue, err := texts.Load()
	must(t, err)
	say := &texts.Speaker{Texts: catalogue.For(texts.English)}
	said := []string{"problem.back", "problem.back-on-site", "problem.request", "problem.value"}
	for status := 400; status < 600; status++ {
		name, title := kindOf(status)
		if strings.HasPrefix(name, "other-") {
			continue
		}
		said = append(said, "problem."+name)
		if got := NewProblem(status, "").Heading(say); got != title {
			t.Errorf("status %d is headed %q, not %q", status, got, title)
		}
	}
	for _, key := range say.Keys() {
		if strings.HasPrefix(key, "problem.") && !slices.Contains(said, key) {
			t.Errorf("nobody says %s", key)
		}
	}
}

// TestTemplatesSayNothingThemselves: what is read on a page stands in package texts.
func TestTemplatesSayNothingThemselves(t *testing.T) {
	action := regexp.MustCompile(`\{\{.*?\}\}`)
	names, err := filepath.Glob("pages/*.html")
	must(t, err)
	for _, name := range names {
		raw, err := os.ReadFile(name)
		must(t, err)
		for _, word := range browsertest.Words(t, action.ReplaceAllString(string(raw), "")) {
			if strings.Trim(word, " –") != "daysheet" {
				t.Errorf("%s says %q itself", name, word)
			}
		}
	}
}
