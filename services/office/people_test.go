package office

import (
	"net/http"
	"net/url"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"daysheet/events"
	"daysheet/services/httpd"
	"daysheet/services/httpd/browsertest"
)

// passwordOn returns the password that a page shows.
func (s *stack) passwordOn(r reply) string {
	s.t.Helper()
	_, after, found := strings.Cut(r.body, `<code class="secret">`)
	password, _, _ := strings.Cut(after, "<")
	if r.status != http.StatusOK || !found || len(password) != 23 {
		s.t.Fatalf("status %d, the password is %q: %s", r.status, password, r.text())
	}
	return password
}

// leadsToPassword looks at the head of a page: who signed in by name finds the way to change
// the password, and the holder of a token, who has none, does not.
func (s *stack) leadsToPassword(name, password string) {
	s.t.Helper()
	const way = `<a href="/password">Change your password</a>`
	if r := s.get("owner", "/office"); strings.Contains(r.body, way) {
		s.t.Error("the holder of a token is led to a password")
	}
	secret, _, _, err := s.people.SignIn(s.t.Context(), name, password, "192.0.2.1", false)
	must(s.t, err)
	request, err := http.NewRequest(http.MethodGet, s.address+"/office", nil)
	must(s.t, err)
	request.AddCookie(&http.Cookie{Name: "daysheet", Value: secret})
	if r := s.send(request); r.status != http.StatusOK || !strings.Contains(r.body, way) {
		s.t.Errorf("%s is not led to the password: %d %s", name, r.status, r.text())
	}
}

// TestPeopleFromTheBrowser adds somebody, who signs in with the password that is shown
// once; changes the role, the password and the access; and keeps the last owner.
func TestPeopleFromTheBrowser(t *testing.T) {
	s := newStack(t)
	s.settle("en-IE")
	for _, who := range []string{"clerk", "reader"} {
		for _, ask := range []func() reply{func() reply { return s.get(who, "/office/people") },
			func() reply { return s.post(who, "/office/people", url.Values{"name": {"x"}, "role": {"owner"}}) },
			func() reply { return s.post(who, "/office/people/lock", url.Values{"name": {"Olga"}}) }} {
			if r := ask(); r.status != http.StatusForbidden {
				t.Errorf("%s is answered with %d", who, r.status)
			}
		}
	}
	signIn := func(name, password string) error {
		_, _, _, err := s.people.SignIn(t.Context(), name, password, "192.0.2.1", false)
		return err
	}
	olga := s.passwordOn(s.fill("/office/people", "name", "Olga", "role", "owner"))
	anna := s.passwordOn(s.fill("/office/people", "name", "Anna", "role", "crew"))
	must(t, signIn("olga", olga))
	must(t, signIn("anna", anna))
	s.leadsToPassword("olga", olga)
	if shown := s.get("owner", "/office/people"); strings.Contains(shown.body, anna) || !strings.Contains(shown.text(),
		"crew · last signed in on") {
		t.Errorf("the page is %s", shown.text())
	}
	for _, wrong := range []struct{ name, role, says string }{{"anna", "crew", "This name was used before"}, {"Bo", "",
		"Choose one."},
		{"", "crew", "It must be given."}, {"owner", "crew", "This name was used before"}, {"Bo", "boss", "Use owner, " +
			"office, crew or reader."}} {
		if r := s.fill("/office/people", "name", wrong.name, "role",
			wrong.role); r.status != 422 || !strings.Contains(r.text(), wrong.says) {
			t.Errorf("%v: status %d: %s", wrong, r.status, r.text())
		}
	}
	change := func(what, name, says string, pairs ...string) {
		t.Helper()
		values := url.Values{"name": {name}}
		for i := 0; i < len(pairs); i += 2 {
			values.Set(pairs[i], pairs[i+1])
		}
		r := s.post("owner", "/office/people/"+what, values)
		if r.status == http.StatusSeeOther {
			r = s.get("owner", r.at)
		}
		if !strings.Contains(r.text(), says) {
			t.Errorf("%s %s does not say %q: status %d: %s", what, name, says, r.status, r.text())
		}
	}
	change("lock", "Olga", "The last owner who may sign in stays")
	change("remove", "Olga", "The last owner who may sign in stays")
	change("role", "Olga", "The last owner who may sign in stays", "role", "office")
	change("role", "Olga", "Use owner, office, crew or reader", "role", "boss")
	change("role", "Anna", "Anna has another role now", "role", "owner")
	change("lock", "Olga", "Olga is locked and let in no more.")
	if signIn("olga", olga) == nil || !strings.Contains(s.get("owner", "/office/people").text(), "locked since ") {
		t.Error("a locked owner signs in, or the page does not say that she is locked")
	}
	change("unlock", "Olga", "Olga may sign in again.")
	must(t, signIn("olga", olga))
	second := s.passwordOn(s.post("owner", "/office/people/password", url.Values{"name": {"Olga"}}))
	if signIn("olga", olga) == nil {
		t.Error("the old password is good")
	}
	must(t, signIn("olga", second))
	change("remove", "Anna", "Anna was removed and is let in no more.")
	if r := s.post("owner", "/office/people/lock", url.Values{"name": {"Anna"}}); r.status != http.StatusNotFound {
		t.Errorf("who was removed is locked: status %d", r.status)
	}
	must(t, s.people.Add(t.Context(), "office", httpd.Person{Firm: "south", Name: "Sven", Role: httpd.RoleOwner}, "seven invented words", nil))
	if r := s.post("owner", "/office/people/remove", url.Values{"name": {"Sven"}}); r.status != http.StatusNotFound ||
		strings.Contains(s.get("owner", "/office/people").text(), "Sven") {
		t.Errorf("somebody of another firm: status %d", r.status)
	}
}

// TestGermanInABrowser looks at what is long in German, on a phone and on a desk, and at
// the people with everything that can be changed of them.
func TestGermanInABrowser(t *testing.T) {
	s := newStack(t)
	s.settle("de-AT")
	s.put("hall", events.JobOpened, events.Opening{JobType: "exterior", Title: "Hall and landing"})
	for _, p := range []httpd.Person{{Name: "Olga", Role: httpd.RoleOwner}, {Name: "Bürogemeinschaft " +
		"Donaudampfschifffahrt", Role: httpd.RoleOffice}} {
		p.Firm = "north"
		must(t, s.people.Add(t.Context(), "office", p, "seven invented words", nil))
	}
	must(t, s.people.Disable(t.Context(), "office", "north", "Bürogemeinschaft Donaudampfschifffahrt", true))
	ctx := browse(t, s)
	for _, view := range []browsertest.View{{Width: 360, Scheme: "light"}, {Width: 1280, Scheme: "dark"}} {
		view.Set(t, ctx)
		for _, path := range []string{"/office", "/office/people", "/office/record/coat-applied?job=hall",
			"/office/record/day-sheet?job=hall",
			"/office/record/estimate-issued?job=hall", "/office/settings", "/office/import", "/office/tokens"} {
			name := strings.Join([]string{"german", view.Scheme, path}, "-")
			t.Run(name, func(t *testing.T) {
				lookAt(t, ctx, name, chromedp.Navigate(s.address+path),
					chromedp.Evaluate[chromedp.Void](`document.querySelectorAll('main details').forEach(d => { d.open = true })`))
			})
		}
	}
	browsertest.View{Width: 360, Scheme: "dark"}.Set(t, ctx)
	lookAt(t, ctx, "german-people-password", chromedp.Navigate(s.address+"/office/people"),
		chromedp.SendKeys(chromedp.CSS("#f-name"), "Anna"), chromedp.SetValue(chromedp.CSS("#f-role"), "crew"),
		chromedp.Click(chromedp.CSS("form.entry button")), chromedp.WaitVisible(chromedp.CSS(".secret")))
}
