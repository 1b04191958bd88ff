package httpd

import (
	"context"
	"encoding/json"
	"errors"
	"net/http"
	"net/url"
	"os"
	"regexp"
	"strings"
	"testing"

	"daysheet/events"
)

var formHeaders = map[string]string{"Content-Type": "application/x-www-form-urlencoded", "Sec-Fetch-Site": "same-origin"}

func form(pairs ...string) string {
	values := url.Values{}
	for i := 0; i < len(pairs); i += 2 {
		values.Set(pairs[i], pairs[i+1])
	}
	return values.Encode()
}

func TestSignIn(t *testing.T) {
	b := newBench(t, nil, tryRoutes)
	must(t, b.tokens.Revoke(t.Context(), "tests", "north", "phone"))
	b.run(t, []scenario{
		{name: "the page", url: "/sign-in?next=%2Foffice", status: 200,
			contains: []string{`<label for="token">`, `name="next" value="/office"`}, without: []string{"Nobody has access"}},
		{name: "text is escaped", url: "/sign-in?next=%2F%22%3E%3Cscript%3E", status: 200, without: []string{"<script>"}},
		{name: "a wrong token", method: "POST", url: "/sign-in", headers: formHeaders, body: form("token", "ds_guess", "next", "/office"),
			status: 401, page: true, contains: []string{`role="alert"`, "The token is not known.", `value="/office"`},
			without: []string{"ds_guess"}, header: map[string]string{"Set-Cookie": ""}},
		{name: "a revoked token", method: "POST", url: "/sign-in", headers: formHeaders, body: form("token", b.secrets["phone"]),
			status: 401, page: true, contains: []string{"The token was revoked."}},
		{name: "no form", method: "POST", url: "/sign-in", body: `{"token":"x"}`, status: 415,
			headers: map[string]string{"Content-Type": "application/json"}},
		{name: "a broken form", method: "POST", url: "/sign-in", headers: formHeaders, body: "token=%zz", status: 400},
		{name: "a good token", method: "POST", url: "/sign-in", headers: formHeaders,
			body: form("token", " "+b.secrets["reader"]+"\n", "next", "/office?week=3"), status: 303,
			header: map[string]string{"Location": "/office?week=3",
				"Set-Cookie": "daysheet=" + b.secrets["reader"] + "; Path=/; HttpOnly; SameSite=Strict"}},
		{name: "staying signed in", method: "POST", url: "/sign-in", headers: formHeaders,
			body: form("token", b.secrets["reader"], "stay", "yes"), status: 303,
			header: map[string]string{"Location": "/",
				"Set-Cookie": "daysheet=" + b.secrets["reader"] + "; Path=/; Max-Age=15552000; HttpOnly; SameSite=Strict"}},
		{name: "signing out", method: "POST", url: "/sign-out", headers: formHeaders, status: 303,
			header: map[string]string{"Location": "/sign-in", "Set-Cookie": "daysheet=; Path=/; Max-Age=0; HttpOnly; SameSite=Strict"}},
		{name: "signing out takes a form", url: "/sign-out", token: "reader", status: 405},
		{name: "no set-up without a callback", url: "/setup?code=x", token: "reader", status: 404},
	})
}

func TestCookieOverTLS(t *testing.T) {
	b := newBench(t, func(c *Config) { c.BaseURL = "https://ledger.example/" }, nil)
	answer, _ := b.do(t, scenario{method: "POST", url: "/sign-in", body: form("token", b.secrets["reader"]), headers: map[string]string{
		"Content-Type": "application/x-www-form-urlencoded", "Origin": "https://ledger.example"}})
	if answer.StatusCode != http.StatusSeeOther || !answer.Cookies()[0].Secure {
		t.Errorf("status %d, cookies %v; want a secure cookie", answer.StatusCode, answer.Cookies())
	}
}

func TestSignInLink(t *testing.T) {
	b := newBench(t, nil, tryRoutes)
	link := strings.TrimPrefix(b.server.SignInLink(b.address, b.secrets["reader"]), b.address)
	b.run(t, []scenario{
		{name: "another code", url: "/sign-in?code=guess", status: 403, page: true, header: map[string]string{"Set-Cookie": ""},
			contains: []string{`role="alert"`, "This sign-in link does not work any more", `<label for="token">`}},
		{name: "another code of somebody who is signed in", url: "/sign-in?code=guess&next=%2Foffice", status: 303,
			headers: map[string]string{"Cookie": "daysheet=" + b.secrets["reader"]}, header: map[string]string{"Location": "/office"}},
		{name: "no code", url: "/sign-in?code=", status: 200, header: map[string]string{"Set-Cookie": ""}},
		{name: "the code", url: link, status: 303, header: map[string]string{"Location": "/",
			"Set-Cookie": "daysheet=" + b.secrets["reader"] + "; Path=/; HttpOnly; SameSite=Strict"}},
	})
	if strings.Contains(link, b.secrets["reader"]) {
		t.Error("the link holds the secret")
	}
}

func TestLocalAddress(t *testing.T) {
	for address, want := range map[string]string{
		"/": "/", "/office": "/office", "/office?week=3&x=a%20b": "/office?week=3&x=a%20b", "": "/", "office": "/",
		"//elsewhere.example": "/", "///elsewhere.example": "/", "https://elsewhere.example/x": "/", "javascript:alert(1)": "/",
		`/\elsewhere.example`: "/", "/a\r\nSet-Cookie: x": "/", "/\t/elsewhere.example": "/", "/sign-in?next=/sign-in": "/",
		"/%2F%2Felsewhere.example": "/", "%zz": "/",
	} {
		if got := localAddress(address); got != want {
			t.Errorf("localAddress(%q) = %q, want %q", address, got, want)
		}
	}
}

// setUpFirms is what the callback of a test made.
type setUpFirms struct {
	firms    []string
	settings []events.Settings
	fail     error
}

// make validates as the ledger does, through the event that would be recorded.
func (f *setUpFirms) make(_ context.Context, firm string, s events.Settings) error {
	if f.fail != nil {
		return f.fail
	}
	data, err := json.Marshal(s)
	if err != nil {
		return err
	}
	e := events.Event{ID: "settings-0001", Source: "/set-up", Type: events.FirmSettingsChanged, Subject: events.FirmJob,
		Time: "2026-03-02T08:00:00Z", Data: data}
	if err := e.Validate(); err != nil {
		return err
	}
	f.firms, f.settings = append(f.firms, firm), append(f.settings, s)
	return nil
}

// newSetup starts a server to which nobody has access and opens its link.
func newSetup(t *testing.T) (*bench, *setUpFirms, string) {
	t.Helper()
	made := &setUpFirms{}
	b := newBench(t, func(c *Config) {
		tokens, err := OpenTokens(t.TempDir() + "/tokens.json")
		must(t, err)
		c.Tokens, c.OnSetup = tokens, made.make
	}, tryRoutes)
	b.tokens = b.server.tokens
	link := b.server.SetupLink(b.address + "/")
	code, found := strings.CutPrefix(link, b.address+"/setup?code=")
	if !found || len(code) < 43 {
		t.Fatalf("set-up link is %q", link)
	}
	return b, made, code
}

func firmForm(code string, change ...string) string {
	values := []string{"code", code, "firm", "north-yard", "name", "North Yard", "currency", "eur", "time_zone", "Europe/Vienna",
		"job_types", "Exterior work\r\n\r\ninside = Redecoration, occupied", "grades", "painter = 24.50\nApprentice=12,3"}
	return form(append(values, change...)...)
}

func TestSetup(t *testing.T) {
	b, made, code := newSetup(t)
	b.run(t, []scenario{
		{name: "the link is pointed to", url: "/sign-in", status: 200, contains: []string{"Open the set-up link"}},
		{name: "no code", url: "/setup", status: 403},
		{name: "a wrong code", url: "/setup?code=guess", status: 403, contains: []string{"not valid"}},
		{name: "the form", url: "/setup?code=" + code, status: 200, contains: []string{`<label for="firm">`, "painter = 24.00", "invented"}},
		{name: "sent with a wrong code", method: "POST", url: "/setup", headers: formHeaders, body: firmForm("guess"), status: 403},
		{name: "sent from another site", method: "POST", url: "/setup", body: firmForm(code), status: 403,
			headers: map[string]string{"Content-Type": "application/x-www-form-urlencoded", "Sec-Fetch-Site": "cross-site"}},
	})
	answer, body := b.do(t, scenario{method: "POST", url: "/setup", headers: formHeaders, body: firmForm(code)})
	if answer.StatusCode != http.StatusOK || len(made.firms) != 1 || made.firms[0] != "north-yard" {
		t.Fatalf("status %d, firms %q: %s", answer.StatusCode, made.firms, body)
	}
	got := made.settings[0]
	if got.Currency != "EUR" || got.JobTypes[0] != (events.JobType{JobType: "exterior-work", Name: "Exterior work"}) ||
		got.JobTypes[1] != (events.JobType{JobType: "inside", Name: "Redecoration, occupied"}) ||
		got.Grades[0] != (events.Grade{Grade: "painter", CostPerHourE4: 245_000}) ||
		got.Grades[1] != (events.Grade{Grade: "apprentice", CostPerHourE4: 123_000}) {
		t.Errorf("settings are %+v", got)
	}
	secret := regexp.MustCompile(`ds_[A-Za-z0-9_-]{43}`).FindString(body)
	caller, err := b.tokens.Authenticate(secret)
	must(t, err)
	if caller.Firm != "north-yard" || !caller.May() {
		t.Errorf("the first token is of %+v, want an admin", caller)
	}
	cookie := answer.Cookies()[0]
	if cookie.Value != secret || !cookie.HttpOnly || cookie.SameSite != http.SameSiteStrictMode {
		t.Errorf("cookie is %v", cookie)
	}
	b.run(t, []scenario{
		{name: "the cookie lets in", url: "/office", headers: map[string]string{"Cookie": "daysheet=" + secret}, status: 200},
		{name: "the link is dead", url: "/setup?code=" + code, status: 403},
		{name: "the form too", method: "POST", url: "/setup", headers: formHeaders, body: firmForm(code), status: 403},
		{name: "the link is dead for a browser", url: "/setup?code=" + code, headers: map[string]string{"Accept": "text/html"},
			status: 403, page: true, without: []string{"/problems/"},
			contains: []string{"<h1>This link does not work any more</h1>", "was used before", `<a href="/">`}},
		{name: "an empty code opens nothing", url: "/setup?code=", status: 403},
	})
	whole, err := os.ReadFile(b.tokens.list.Path())
	must(t, err)
	must(t, os.Remove(b.tokens.list.Path()))
	b.run(t, []scenario{{name: "the link stays dead without tokens", url: "/setup?code=" + code, status: 403}})
	must(t, os.WriteFile(b.tokens.list.Path(), whole, 0o600))
	if link := b.server.SetupLink(b.address); link != "" {
		t.Errorf("there is a token, and still a set-up link: %s", link)
	}
	if len(made.firms) != 1 {
		t.Errorf("firms made: %q", made.firms)
	}
}

func TestSetupRefusals(t *testing.T) {
	b, made, code := newSetup(t)
	var scenarios []scenario
	for name, c := range map[string]struct{ field, value, says string }{
		"firm":            {"firm", "North Yard", "use 1 to 64 of a-z"},
		"name":            {"name", "", "it must be given"},
		"currency":        {"currency", "Euro", "three capital letters"},
		"time zone":       {"time_zone", "Moon/Crater", "an IANA time zone"},
		"no job types":    {"job_types", " \n ", "a list of 1 to 500"},
		"letters":         {"job_types", "Фасад", "use 1 to 64 of a-z"},
		"twice":           {"job_types", "Exterior\nexterior", "twice"},
		"no grades":       {"grades", "", "a list of 1 to 500"},
		"no cost":         {"grades", "painter", "painter = 24.00"},
		"negative cost":   {"grades", "painter = -1", "an amount from 0 to 100 million"},
		"five digits":     {"grades", "painter = 1.00001", "at most 4 decimals"},
		"absurd cost":     {"grades", "painter = 99999999999999999999", "at most 11 digits"},
		"markup is shown": {"name", strings.Repeat("<b>", 60), "at most 120 bytes"},
	} {
		scenarios = append(scenarios, scenario{name: name, method: "POST", url: "/setup", headers: formHeaders,
			body: firmForm(code, c.field, c.value), status: 422, page: true, without: []string{"<b>"},
			contains: []string{c.says, `role="alert"`, `id="` + c.field + `-problem"`, `name="code" value="` + code}})
	}
	scenarios = append(scenarios, scenario{name: "everything at once", method: "POST", url: "/setup", headers: formHeaders,
		body:   firmForm(code, "firm", "North Yard", "currency", "Euro", "time_zone", "Moon/Crater", "grades", "painter"),
		status: 422, page: true, contains: []string{"4 fields cannot be taken", `id="firm-problem"`, `id="currency-problem"`,
			`id="time_zone-problem"`, `id="grades-problem"`, `aria-describedby="currency-hint currency-problem" aria-invalid="true"`,
			`value="North Yard" required autocomplete="off" aria-describedby="firm-hint firm-problem" aria-invalid="true" autofocus`,
			`value="Moon/Crater"`, ">painter</textarea>"},
		without: []string{`id="name-problem"`, `id="job_types-problem"`}})
	b.run(t, scenarios)
	made.fail = errors.New("secret cause")
	b.run(t, []scenario{{name: "a fault", method: "POST", url: "/setup", headers: formHeaders, body: firmForm(code), status: 500,
		without: []string{"secret cause"}}})
	if len(made.firms) != 0 || len(b.tokens.List()) != 0 {
		t.Errorf("firms %q and tokens %v were made all the same", made.firms, b.tokens.List())
	}
	made.fail = nil
	b.run(t, []scenario{{name: "the link still works", method: "POST", url: "/setup", headers: formHeaders, body: firmForm(code),
		status: 200}})
}

func TestSetupClosesWithTheFirstToken(t *testing.T) {
	b, made, code := newSetup(t)
	_, err := b.tokens.Add(t.Context(), "tests", Token{Firm: "south", Name: "by command", Scopes: []Scope{ScopeAdmin}})
	must(t, err)
	b.run(t, []scenario{{name: "set-up", method: "POST", url: "/setup", headers: formHeaders, body: firmForm(code), status: 403}})
	if len(made.firms) != 0 {
		t.Errorf("firms made: %q", made.firms)
	}
}
