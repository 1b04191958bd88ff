package main

import (
	"net/http"
	"net/url"
	"os"
	"regexp"
	"strings"
	"testing"

	"daysheet/services/httpd"
)

// beginsOnSite looks at what is shown to who records and may not read: the start of the site
// leads to the crew's page, and the page of what is the office's says so and leads back,
// with nothing around it that would not be shown either.
func beginsOnSite(t *testing.T, guest *client, cookie string) {
	t.Helper()
	ask := func(want int, path string) string {
		return mustSend(t, guest, want, http.MethodGet, path, "", "Cookie", cookie, "Accept", "text/html")
	}
	if start := ask(http.StatusSeeOther, "/"); !strings.Contains(start, `href="/crew"`) {
		t.Errorf("the start of the site leads elsewhere: %s", start)
	}
	page := ask(http.StatusForbidden, "/office")
	if !strings.Contains(page, "Your role does not include this") {
		t.Errorf("/office says %s", page)
	}
	for _, link := range regexp.MustCompile(`<a[^>]* href="(/[^"]*)"`).FindAllStringSubmatch(page, -1) {
		if link[1] != "/" { // which was asked
			ask(http.StatusOK, link[1])
		}
	}
}

// TestPeopleByCommand adds somebody on the command line beside a running server, who
// signs in, is given another role, and loses the access.
func TestPeopleByCommand(t *testing.T) {
	folder := t.TempDir()
	a := mustOpen(t, folder)
	t.Cleanup(func() { mustClose(t, a) })
	mustInvent(t, a, 1)
	if _, err := a.tokens.Add(t.Context(), "tests", httpd.Token{Firm: demoFirm, Name: "van-2", Scopes: []httpd.Scope{httpd.ScopeRecord}}); err != nil {
		t.Fatal(err)
	}
	guest := nobody(t, a)
	person := func(want int, args ...string) string {
		t.Helper()
		var code int
		said := stdoutOf(t, func() { code = run(t.Context(), append([]string{"person", args[0], "--data", folder}, args[1:]...)) })
		if code != want {
			t.Errorf("person %v ends with %d", args, code)
		}
		return strings.TrimSpace(said)
	}
	signIn := func(want int, password string) string {
		t.Helper()
		r := url.Values{"name": {"anna"}, "password": {password}}.Encode()
		answer, err := noRedirects().Post(guest.base+"/sign-in", "application/x-www-form-urlencoded", strings.NewReader(r))
		if err != nil {
			t.Fatal(err)
		}
		defer answer.Body.Close()
		if answer.StatusCode != want {
			t.Fatalf("sign-in is answered with %d, want %d", answer.StatusCode, want)
		}
		for _, c := range answer.Cookies() {
			return c.Name + "=" + c.Value
		}
		return ""
	}
	person(exitFailed, "add", "van-2", "--role", "crew") // a token has this name
	first := person(0, "add", "anna", "--role", "reader")
	person(exitFailed, "add", "Anna", "--role", "reader")
	signIn(401, "a wrong password")
	cookie := signIn(303, first)
	mustSend(t, guest, 200, "GET", "/v1/jobs", "", "Cookie", cookie)
	mustSend(t, guest, 403, "PUT", "/v1/customers/c-1", irisBody(), "Cookie", cookie, "Sec-Fetch-Site", "same-origin")
	person(0, "role", "anna", "owner")
	mustSend(t, guest, 401, "GET", "/v1/jobs", "", "Cookie", cookie)
	cookie = signIn(303, first)
	mustSend(t, guest, 201, "PUT", "/v1/customers/c-1", irisBody(), "Cookie", cookie, "Sec-Fetch-Site", "same-origin")
	if recorded := string(mustGet(t, owner(a), "/v1/jobs/firm/events?limit=500")); !strings.Contains(recorded, `"recorded_by":"anna"`) {
		t.Error("what was recorded does not say by whom")
	}
	person(0, "role", "anna", "crew")
	beginsOnSite(t, guest, signIn(303, first))
	person(0, "role", "anna", "owner")
	second := person(0, "password", "anna")
	signIn(401, first)
	cookie = signIn(303, second)
	person(0, "disable", "anna")
	mustSend(t, guest, 401, "GET", "/v1/jobs", "", "Cookie", cookie)
	signIn(401, second)
	if list := person(0, "list"); !strings.Contains(list, "anna") || !strings.Contains(list, "disabled") || !strings.Contains(list, "owner") {
		t.Errorf("the list: %s", list)
	}
	person(0, "enable", "anna")
	signIn(303, second)
	person(exitFailed, "role", "nobody", "owner")
	if found := filesWith(t, folder, first, second); len(found) > 0 {
		t.Errorf("passwords on disk: %v", found)
	}
	if info, err := os.Stat(folder + "/" + peopleFile); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("the file of people: %v, %v", info, err)
	}
}
