package httpd

import (
	"errors"
	"fmt"
	"net/http"
	"net/netip"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"daysheet/events"
)

const annasPassword = "seven invented words"

func newPeople(t *testing.T) (*People, *clock) {
	t.Helper()
	c := &clock{at: time.Date(2026, 6, 30, 12, 0, 0, 0, time.UTC)}
	folder := t.TempDir()
	p, err := openPeople(filepath.Join(folder, "people.json"), filepath.Join(folder, "sessions.json"), c.now)
	must(t, err)
	must(t, p.Add(t.Context(), "office", Person{Firm: "north", Name: "Anna", Role: RoleOffice}, annasPassword, nil))
	c.at = c.at.Add(time.Minute)
	return p, c
}

// TestPasswordHashes: the form is the PHC string format with the cost in it, salts are
// new, and a hash made by another program is read: one of the test vectors of the
// reference implementation of Argon2 (its file test.c), with another cost than ours.
func TestPasswordHashes(t *testing.T) {
	const reference = "$argon2id$v=19$m=65536,t=2,p=1$c29tZXNhbHQ$CTFhFdXPJO1aFaMaO6Mm5c8y7cJHAph8ArZWb2GRPPc"
	if !matchesPassword(reference, "password") || matchesPassword(reference, "differentpassword") {
		t.Error("the hash of the reference implementation is not read")
	}
	first, second := hashPassword(annasPassword), hashPassword(annasPassword)
	if first == second || !strings.HasPrefix(first, "$argon2id$v=19$m=19456,t=2,p=1$") {
		t.Errorf("hashes %s and %s", first, second)
	}
	if !matchesPassword(first, annasPassword) || matchesPassword(first, annasPassword+" ") || matchesPassword(noPassword, "") {
		t.Error("a password matches the wrong hash")
	}
	for _, hash := range []string{"", "$", "$argon2id$v=19$m=19456,t=2,p=1$$", strings.Replace(first, "argon2id", "argon2i", 1),
		strings.Replace(first, "v=19", "v=16", 1), strings.Replace(first, "m=19456", "m=99999999", 1), strings.Replace(first, "t=2", "t=0", 1),
		strings.Replace(first, "p=1", "p=x", 1), first + "$", first[:len(first)-30]} {
		if matchesPassword(hash, annasPassword) {
			t.Errorf("%q matches", hash)
		}
	}
}

func TestPeopleAndRoles(t *testing.T) {
	p, c := newPeople(t)
	for name, refused := range map[string]struct {
		person   Person
		password string
		code     events.Code
	}{
		"the name again":   {Person{Firm: "north", Name: "anna", Role: RoleCrew}, annasPassword, events.Conflict},
		"of another firm":  {Person{Firm: "south", Name: "ANNA", Role: RoleCrew}, annasPassword, events.Conflict},
		"a token's name":   {Person{Firm: "north", Name: "van-2", Role: RoleCrew}, annasPassword, events.Conflict},
		"no role":          {Person{Firm: "north", Name: "Bo", Role: "boss"}, annasPassword, events.Invalid},
		"short":            {Person{Firm: "north", Name: "Bo", Role: RoleCrew}, "elevenchars", events.Invalid},
		"the name in it":   {Person{Firm: "north", Name: "Bo", Role: RoleCrew}, "i am bo and i paint", events.Invalid},
		"one character":    {Person{Firm: "north", Name: "Bo", Role: RoleCrew}, strings.Repeat("x", 20), events.Invalid},
		"no firm":          {Person{Name: "Bo", Role: RoleCrew}, annasPassword, events.Invalid},
		"no name":          {Person{Firm: "north", Role: RoleCrew}, annasPassword, events.Invalid},
		"control in names": {Person{Firm: "north", Name: "B\no", Role: RoleCrew}, annasPassword, events.Invalid},
	} {
		if err := p.Add(t.Context(), "office", refused.person, refused.password, []Token{{Firm: "north", Name: "van-2"}}); events.CodeOf(err) != refused.code {
			t.Errorf("%s: %v", name, err)
		}
	}
	signIn := func(password string) (string, error) {
		secret, _, _, err := p.SignIn(t.Context(), "anna", password, "192.0.2.1", false)
		return secret, err
	}
	in := func() string {
		t.Helper()
		secret, err := signIn(annasPassword)
		must(t, err)
		return secret
	}
	want := func(secret string, scopes ...Scope) {
		t.Helper()
		caller, err := p.Authenticate(secret)
		if len(scopes) == 0 {
			if !errors.Is(err, errTokenUnknown) {
				t.Errorf("a session that is over: %+v, %v", caller, err)
			}
			return
		}
		if err != nil || caller.Firm != "north" || caller.Name != "Anna" || fmt.Sprint(caller.Scopes) != fmt.Sprint(scopes) {
			t.Errorf("signed in as %+v, %v; want %v", caller, err, scopes)
		}
	}
	secret := in()
	want(secret, ScopeRead, ScopeRecord)
	want(secret + "x")
	must(t, p.SetRole(t.Context(), "office", "north", "Anna", RoleReader))
	want(secret) // a changed role ends what began before
	c.at = c.at.Add(time.Second)
	secret = in()
	want(secret, ScopeRead)
	c.at = c.at.Add(sessionLasts - time.Second)
	want(secret, ScopeRead)
	c.at = c.at.Add(time.Second)
	want(secret) // its time is over
	secret = in()
	must(t, p.SignOut(secret))
	want(secret)
	secret = in()
	must(t, p.Disable(t.Context(), "office", "north", "Anna", true))
	want(secret)
	if _, err := signIn(annasPassword); !errors.Is(err, errWrongPassword) {
		t.Errorf("who is disabled signs in: %v", err)
	}
	must(t, p.Disable(t.Context(), "office", "north", "Anna", false))
	c.at = c.at.Add(time.Second)
	secret = in()
	must(t, p.SetPassword(t.Context(), "office", "north", "Anna", "nine other invented words"))
	want(secret)
	if _, err := signIn(annasPassword); !errors.Is(err, errWrongPassword) {
		t.Errorf("the old password: %v", err)
	}
	for _, err := range []error{p.SetRole(t.Context(), "office", "south", "Anna", RoleOwner), p.SetPassword(t.Context(), "office", "south", "Anna", annasPassword), p.Disable(t.Context(), "office", "north", "Bo", true)} {
		if events.CodeOf(err) != events.NotFound {
			t.Errorf("somebody of another firm: %v", err)
		}
	}
	for _, file := range []string{p.people.Path(), p.sessions.Path()} {
		raw, err := os.ReadFile(file)
		must(t, err)
		if strings.Contains(string(raw), "invented words") || strings.Contains(string(raw), secret) {
			t.Errorf("%s holds a secret", file)
		}
	}
}

// TestGuessingIsSlowedDown: who guesses waits longer and longer; the owner at another
// address does not, and a new password begins anew.
func TestGuessingIsSlowedDown(t *testing.T) {
	p, c := newPeople(t)
	try := func(name, password, address string) (time.Duration, error) {
		_, _, wait, err := p.SignIn(t.Context(), name, password, address, false)
		return wait, err
	}
	var waits []time.Duration
	for range 20 {
		wait, err := try("anna", "a wrong password", "198.51.100.7")
		if !errors.Is(err, errWrongPassword) {
			t.Fatal(err)
		}
		if wait > 0 {
			waits = append(waits, wait)
			c.at = c.at.Add(wait)
		}
	}
	if len(waits) < 8 || waits[0] != time.Second || waits[1] != 2*time.Second || waits[len(waits)-1] > waitMost {
		t.Errorf("waits %v", waits)
	}
	_, _ = try("anna", "a wrong password", "198.51.100.7")
	if wait, err := try("anna", annasPassword, "198.51.100.7"); wait == 0 || err == nil {
		t.Errorf("the right password in the pause: %v, %v", wait, err)
	}
	if wait, err := try("anna", annasPassword, "192.0.2.1"); wait != 0 || err != nil {
		t.Errorf("the owner at another address: %v, %v", wait, err)
	}
	must(t, p.SetPassword(t.Context(), "office", "north", "Anna", "nine other invented words"))
	if wait, err := try("anna", "nine other invented words", "198.51.100.7"); wait != 0 || err != nil {
		t.Errorf("with a new password: %v, %v", wait, err)
	}
	for n := range 3 * triesMost {
		p.tries.failed(fmt.Sprint(n))
	}
	if kept := len(p.tries.young) + len(p.tries.old); kept > 2*triesMost {
		t.Errorf("%d are kept", kept)
	}
}

// TestGuessingBehindAProxy: behind a proxy that is trusted each address waits for its own
// guesses, and nobody else can say where a request comes from.
func TestGuessingBehindAProxy(t *testing.T) {
	for name, test := range map[string]struct {
		proxies []netip.Prefix
		second  int // status of the right password from another address that is forwarded
	}{
		"trusted": {[]netip.Prefix{netip.MustParsePrefix("127.0.0.1/8")}, http.StatusSeeOther},
		"another": {[]netip.Prefix{netip.MustParsePrefix("192.0.2.1/32")}, http.StatusTooManyRequests},
	} {
		p, _ := newPeople(t)
		p.now = time.Now // and tries wait by a clock that stands still
		b := newBench(t, func(c *Config) { c.People, c.Proxies = p, test.proxies }, tryRoutes)
		try := func(password, from string) int {
			t.Helper()
			headers := map[string]string{"X-Forwarded-For": from, "X-Real-IP": from, "Forwarded": "for=" + from}
			for name, value := range formHeaders {
				headers[name] = value
			}
			answer, _ := b.do(t, scenario{method: "POST", url: "/sign-in", headers: headers,
				body: form("name", "anna", "password", password)})
			return answer.StatusCode
		}
		last := 0
		for range freeTries + 1 {
			last = try("a wrong password", "198.51.100.7")
		}
		if last != http.StatusTooManyRequests {
			t.Errorf("%s: the last of many guesses is answered with %d", name, last)
		}
		if got := try(annasPassword, "203.0.113.9"); got != test.second {
			t.Errorf("%s: the right password from another address is answered with %d, want %d", name, got, test.second)
		}
		if got := try(annasPassword, "203.0.113.9, 198.51.100.7"); got != http.StatusTooManyRequests {
			t.Errorf("%s: who guessed and makes up another address is answered with %d", name, got)
		}
	}
}

// TestSignInByName uses the pages as a browser does.
func TestSignInByName(t *testing.T) {
	p, _ := newPeople(t)
	p.now = time.Now
	p.tries = newTries(time.Now)
	b := newBench(t, func(c *Config) { c.People = p }, tryRoutes)
	post := func(pairs ...string) (*http.Response, string) {
		t.Helper()
		return b.do(t, scenario{method: "POST", url: "/sign-in", headers: formHeaders, body: form(pairs...)})
	}
	b.run(t, []scenario{{name: "the page", url: "/sign-in?next=%2Foffice", status: 200,
		contains: []string{`autocomplete="username"`, `autocomplete="current-password"`, `<label for="token">`}}})
	answer, body := post("name", "Anna", "password", "a wrong password", "next", "/office")
	if answer.StatusCode != 401 || !strings.Contains(body, "The name or the password is wrong.") || !strings.Contains(body, `value="Anna"`) ||
		strings.Contains(body, "a wrong password") || answer.Header.Get("Set-Cookie") != "" {
		t.Errorf("refused with %d: %s", answer.StatusCode, body)
	}
	answer, _ = post("name", " anna ", "password", annasPassword, "next", "/office", "stay", "yes")
	if answer.StatusCode != http.StatusSeeOther || answer.Header.Get("Location") != "/office" || len(answer.Cookies()) != 1 {
		t.Fatalf("signed in with %d, %v", answer.StatusCode, answer.Header)
	}
	cookie := answer.Cookies()[0]
	if !cookie.HttpOnly || cookie.SameSite != http.SameSiteStrictMode || cookie.MaxAge != int(sessionStays.Seconds()) ||
		!strings.HasPrefix(cookie.Value, sessionPrefix) {
		t.Errorf("cookie %v", cookie)
	}
	signedIn := map[string]string{"Cookie": "daysheet=" + cookie.Value}
	with := func(pairs ...string) map[string]string {
		h := map[string]string{"Cookie": "daysheet=" + cookie.Value}
		for i := 0; i < len(pairs); i += 2 {
			h[pairs[i]] = pairs[i+1]
		}
		return h
	}
	inForm := with("Content-Type", "application/x-www-form-urlencoded", "Sec-Fetch-Site", "same-origin")
	b.run(t, []scenario{
		{name: "the session lets in", url: "/office", headers: signedIn, status: 200},
		{name: "not by header", url: "/office", token: "none", headers: map[string]string{"Authorization": "Bearer " + cookie.Value}, status: 401},
		{name: "not from another site", method: "POST", url: "/office", headers: with("Sec-Fetch-Site", "cross-site"), status: 403},
		{name: "the page of the password", url: "/password", headers: signedIn, status: 200, contains: []string{`autocomplete="new-password"`}},
		{name: "not by a token", url: "/password", token: "reader", status: 403},
		{name: "the old one is wrong", method: "POST", url: "/password", headers: inForm, status: 422, page: true,
			body: form("current", "a wrong password", "new", "nine other invented words"), contains: []string{"is wrong"}},
		{name: "too short", method: "POST", url: "/password", headers: inForm, status: 422, page: true,
			body: form("current", annasPassword, "new", "short"), contains: []string{"12 to 256 characters"}},
		{name: "changed", method: "POST", url: "/password", headers: inForm, status: 303,
			body: form("current", annasPassword, "new", "nine other invented words")},
		{name: "which ends the session", url: "/office", headers: signedIn, status: 401},
	})
	answer, _ = post("name", "anna", "password", "nine other invented words")
	cookie = answer.Cookies()[0]
	b.run(t, []scenario{
		{name: "signing out", method: "POST", url: "/sign-out", status: 303, headers: with("Sec-Fetch-Site", "same-origin")},
		{name: "ends the session on the server", url: "/office", headers: with(), status: 401},
	})
	for range freeTries + 1 {
		answer, body = post("name", "anna", "password", "a wrong password")
	}
	if answer.StatusCode != http.StatusTooManyRequests || answer.Header.Get("Retry-After") == "" || !strings.Contains(body, "Too many tries") {
		t.Errorf("after many tries: %d: %s", answer.StatusCode, body)
	}
	if strings.Contains(b.log.String(), "invented words") || strings.Contains(b.log.String(), cookie.Value) {
		t.Error("the log holds a secret")
	}
}

// TestTheLastOwnerStays: on a server the last owner who may sign in is neither locked nor
// removed nor demoted; who is removed keeps the name and loses everything else.
func TestTheLastOwnerStays(t *testing.T) {
	p, c := newPeople(t)
	must(t, p.Add(t.Context(), "office", Person{Firm: "north", Name: "Olga", Role: RoleOwner}, annasPassword, nil))
	must(t, p.Add(t.Context(), "office", Person{Firm: "south", Name: "Sven", Role: RoleOwner}, annasPassword, nil)) // of another firm
	p.KeepOwners()
	refused := func(what string, err error) {
		t.Helper()
		if events.CodeOf(err) != events.Conflict || !strings.Contains(err.Error(), "the last owner") {
			t.Errorf("%s: %v", what, err)
		}
	}
	refused("locked", p.Disable(t.Context(), "office", "north", "Olga", true))
	refused("removed", p.Remove(t.Context(), "office", "north", "Olga"))
	refused("demoted", p.SetRole(t.Context(), "office", "north", "Olga", RoleOffice))
	must(t, p.SetPassword(t.Context(), "office", "north", "Olga", annasPassword+" again"))
	must(t, p.SetRole(t.Context(), "office", "north", "Anna", RoleOwner))
	must(t, p.Disable(t.Context(), "office", "north", "Olga", true))
	refused("the other one then", p.SetRole(t.Context(), "office", "north", "Anna", RoleReader))
	must(t, p.Disable(t.Context(), "office", "north", "Olga", false))
	secret, _, _, err := p.SignIn(t.Context(), "Anna", annasPassword, "192.0.2.1", false)
	must(t, err)
	if list, err := p.List(); err != nil || len(list) != 3 || !list[0].SignedIn.Equal(c.now()) || !list[1].SignedIn.IsZero() {
		t.Errorf("list %+v, %v", list, err)
	}
	must(t, p.Remove(t.Context(), "office", "north", "Anna"))
	if _, err := p.Authenticate(secret); err == nil {
		t.Error("who was removed is still signed in")
	}
	if _, _, _, err := p.SignIn(t.Context(), "Anna", annasPassword, "192.0.2.2", false); !errors.Is(err, errWrongPassword) {
		t.Errorf("who was removed signs in: %v", err)
	}
	if err := p.Disable(t.Context(), "office", "north", "Anna", false); events.CodeOf(err) != events.NotFound {
		t.Errorf("who was removed is given the access back: %v", err)
	}
	if err := p.Add(t.Context(), "office", Person{Firm: "north", Name: "anna", Role: RoleCrew}, annasPassword, nil); events.CodeOf(err) != events.Conflict {
		t.Errorf("the name is given again: %v", err)
	}
	if list, err := p.List(); err != nil || len(list) != 2 {
		t.Errorf("list %+v, %v", list, err)
	}
}

// TestAClockThatWasWrong: no session lasts longer because the clock goes back, and nobody is
// kept out for a year because a password was set while it was a year ahead.
func TestAClockThatWasWrong(t *testing.T) {
	p, c := newPeople(t)
	in := func() string {
		t.Helper()
		secret, _, _, err := p.SignIn(t.Context(), "Anna", annasPassword, "192.0.2.1", false)
		must(t, err)
		return secret
	}
	holds := func(secret string, want bool) {
		t.Helper()
		if _, err := p.Authenticate(secret); (err == nil) != want {
			t.Errorf("at %v the session holds: %v, want %v", c.at, err, want)
		}
	}
	right := c.at
	first := in()
	c.at = right.Add(-time.Minute) // the clock was set
	holds(first, true)
	c.at = right.Add(-24 * time.Hour)
	holds(first, false)
	c.at = right.Add(time.Hour)
	holds(first, true) // as it would have been without the jump
	c.at = right.Add(sessionLasts)
	holds(first, false)

	c.at = right.AddDate(1, 0, 0)
	ahead := in()
	holds(ahead, true)
	must(t, p.SetPassword(t.Context(), "office", "north", "Anna", annasPassword))
	c.at = right.Add(time.Minute)
	holds(ahead, false)
	back := in()
	holds(back, true)
	c.at = right.AddDate(1, 0, 0).Add(time.Hour)
	holds(ahead, false) // its time has come, and it is over all the same

	c.at = right.Add(2 * time.Hour)
	stolen := in()
	c.at = c.at.Add(-time.Minute)
	must(t, p.SetPassword(t.Context(), "office", "north", "Anna", annasPassword))
	holds(stolen, false)
	holds(in(), true)
	holds(stolen, false)
}
