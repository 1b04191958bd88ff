package main

import (
	"encoding/json"
	"fmt"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"testing"

	"daysheet/events"
	"daysheet/services/httpd"
)

// listed is an entry of /v1/access-changes.
type listed struct {
	ID, What, Name, By, Role, Job, Purpose, Expires string
	Scopes                                          []string
}

func (l listed) String() string { return l.What + ": " + l.Name + " by " + l.By }

func changes(t *testing.T, c *client, query string) (list []listed, next string) {
	t.Helper()
	var got struct {
		Changes []listed
		Next    string
	}
	if err := json.Unmarshal(mustGet(t, c, "/v1/access-changes"+query), &got); err != nil {
		t.Fatal(err)
	}
	return got.Changes, got.Next
}

// awaitChanges waits until so many changes of access are recorded: those by command come a
// moment later.
func awaitChanges(t *testing.T, c *client, n int) []listed {
	t.Helper()
	var list []listed
	until(t, fmt.Sprintf("%d changes of access are recorded", n), func() bool {
		list, _ = changes(t, c, "?limit=500")
		return len(list) >= n
	})
	slices.Reverse(list)
	return list
}

// TestEveryChangeOfAccessIsRecorded changes the access in every way there is, by pages, by
// the API and on the command line, and reads who did it.
func TestEveryChangeOfAccessIsRecorded(t *testing.T) {
	folder := t.TempDir()
	command := func(want int, args ...string) string {
		t.Helper()
		var code int
		said := stdoutOf(t, func() { code = run(t.Context(), append(args, "--data", folder)) })
		if code != want {
			t.Errorf("%v ends with %d", args, code)
		}
		return strings.TrimSpace(said)
	}
	secrets := []string{command(0, "token", "add", "desk", "--firm", demoFirm, "--days", "30")} // no server runs
	a := mustOpen(t, folder)
	t.Cleanup(func() { mustClose(t, a) })
	c := mustInvent(t, a, 1)
	openJob(t, c, "iris-job", "c-1042")
	awaitChanges(t, c, 1)

	secrets = append(secrets, command(0, "person", "add", "anna", "--role", "reader")) // beside the server
	command(0, "person", "role", "anna", "office")
	command(0, "person", "disable", "anna")
	command(0, "person", "enable", "anna")
	password := command(0, "person", "password", "anna")
	command(exitFailed, "person", "add", "anna", "--role", "reader") // refused: it is no change
	command(0, "token", "revoke", "desk")
	command(0, "token", "revoke", "desk") // again: it is no change either
	awaitChanges(t, c, 7)

	guest := nobody(t, a)
	form := func(c *client, want int, path string, values ...string) string {
		t.Helper()
		v := url.Values{}
		for i := 0; i < len(values); i += 2 {
			v.Add(values[i], values[i+1])
		}
		return mustSend(t, c, want, "POST", path, v.Encode(), "Content-Type", "application/x-www-form-urlencoded")
	}
	secret := func(page, pattern string) string {
		t.Helper()
		found := regexp.MustCompile(pattern).FindStringSubmatch(page)
		if found == nil {
			t.Fatalf("no %s in %s", pattern, page)
		}
		secrets = append(secrets, found[1])
		return found[1]
	}
	form(c, 422, "/office/tokens", "name", "sheet", "scopes", "everything")
	sheet := secret(form(c, 200, "/office/tokens", "name", "sheet", "scopes", "read", "expires", "2099-12-30"), `class="secret">(ds_[^<]+)<`)
	form(c, 303, "/office/tokens/revoke", "name", "sheet")
	code := secret(form(c, 200, "/crew/pair", "name", "Van 3"), `code=([A-Za-z0-9_-]{43})`)
	form(guest, 303, "/pair", "code", code)
	form(c, 303, "/crew/pair/revoke", "name", "Van 3")
	id, link := mustLink(t, c, "iris-job", "sign-off")
	mustSend(t, c, 200, "POST", "/v1/jobs/iris-job/links/"+id+"/revoke", "{}")
	mustSend(t, c, 200, "POST", "/v1/jobs/iris-job/links/"+id+"/revoke", "{}")
	for range 7 {
		send(t, guest, "POST", "/sign-in", "name=anna&password=a+wrong+password", "Content-Type", "application/x-www-form-urlencoded")
		send(t, guest, "POST", "/sign-in", "name=nobody&password=a+wrong+password", "Content-Type", "application/x-www-form-urlencoded")
	}
	door, err := a.tokens.Add(t.Context(), "demo", doorToken())
	if err != nil {
		t.Fatal(err)
	}
	at := a.server.SignInLink("", door)
	if status, _ := send(t, guest, "GET", at, ""); status != 303 {
		t.Errorf("the sign-in link is answered with %d", status)
	}

	want := []string{"token-made: desk by command line", "person-added: anna by command line",
		"role-changed: anna by command line", "person-locked: anna by command line", "person-unlocked: anna by command line",
		"password-reset: anna by command line", "token-revoked: desk by command line", "token-made: sheet by owner",
		"token-revoked: sheet by owner", "phone-paired: Van 3 by owner", "phone-revoked: Van 3 by owner",
		"link-made: " + id + " by owner", "link-revoked: " + id + " by owner", "locked-out: anna by daysheet",
		"token-made: door by demo", "sign-in-link-used: door by door"}
	got := awaitChanges(t, c, len(want))
	var said []string
	for _, l := range got {
		said = append(said, l.String())
	}
	if !slices.Equal(said, want) {
		t.Errorf("recorded:\n%s\nwant:\n%s", strings.Join(said, "\n"), strings.Join(want, "\n"))
	}
	made := got[7]
	if made.Expires != "2099-12-30T23:00:00Z" && made.Expires != "2099-12-31T00:00:00Z" || !slices.Equal(made.Scopes, []string{"read"}) || got[2].Role != "office" ||
		got[11].Job != "iris-job" || got[11].Purpose != "sign-off" {
		t.Errorf("told of the changes: %+v, %+v, %+v", made, got[2], got[11])
	}
	secrets = append(secrets, password, sheet, link, door)
	export := string(mustGet(t, c, "/v1/events"))
	for _, s := range secrets {
		if len(s) < 20 || strings.Contains(export, s) {
			t.Errorf("the log holds the secret %q", s)
		}
	}
	accessIsShown(t, c, got)
	accessIsWitnessed(t, c, got[0].ID)
}

// accessIsShown reads the page and the pages of the list.
func accessIsShown(t *testing.T, c *client, all []listed) {
	t.Helper()
	page := string(mustGet(t, c, "/office/access"))
	for _, text := range []string{"Phone Van 3 was paired", "anna was given another role", "job iris-job", "Too many wrong passwords for anna"} {
		if !strings.Contains(page, text) {
			t.Errorf("the page does not say %q", text)
		}
	}
	if strings.Contains(string(mustGet(t, c, "/office/firm")), "Van 3") {
		t.Error("the page of the firm tells everybody of the access")
	}
	var paged []listed
	for next := "?limit=5"; next != ""; {
		list, before := changes(t, c, next)
		paged, next = append(paged, list...), ""
		if before != "" {
			next = "?limit=5&before=" + before
		}
	}
	slices.Reverse(paged)
	if !slices.EqualFunc(paged, all, func(a, b listed) bool { return a.ID == b.ID }) {
		t.Errorf("page by page: %v", paged)
	}
	mustSend(t, c, 404, "GET", "/v1/access-changes?before=no-such-change", "")
	mustSend(t, c, 422, "GET", "/v1/access-changes?limit=501", "")
}

// accessIsWitnessed: nobody can record a change of access that was not made, nor take back
// one that was.
func accessIsWitnessed(t *testing.T, c *client, id string) {
	t.Helper()
	const head = `{"specversion":"1.0","id":"forged-0001","source":"/t","subject":"firm","time":"2026-06-01T08:00:00Z",`
	forged := head + `"type":"` + string(events.AccessChanged) + `","data":{"what":"token-made","name":"forged"}}`
	if said := mustSend(t, c, 422, "POST", "/v1/events", forged); !strings.Contains(said, "the ledger alone records") {
		t.Errorf("the refusal: %s", said)
	}
	void := head + `"type":"daysheet.event.voided.v1","data":{"event":"` + id + `","reason":"a try"}}`
	mustSend(t, c, 422, "POST", "/v1/events", void)
	if list, _ := changes(t, c, "?limit=1"); list[0].Name == "forged" {
		t.Error("a forged change was recorded")
	}
}

func doorToken() httpd.Token {
	return httpd.Token{Firm: demoFirm, Name: "door", Scopes: []httpd.Scope{httpd.ScopeRead}}
}
