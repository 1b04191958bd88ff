package main

import (
	"fmt"
	"io"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"daysheet/services/httpd"
)

// credential is a column of the matrix: what a request carries.
type credential struct {
	name   string
	header [2]string
	scopes []httpd.Scope // none: the ledger lets it in nowhere
}

// matrixPassword is that of the invented people of the matrix.
const matrixPassword = "five invented words for everybody"

// expired says in a file that everything in it ended long ago.
var expired = regexp.MustCompile(`"(expires|ends)": "[^"]*"`)

// credentials makes one of each kind there is: people of every role who signed in, tokens
// and sessions that hold no longer, a link of a customer, and the owner of another firm.
func credentials(t *testing.T, a *app, folder, base, link string) []credential {
	t.Helper()
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	token := func(firm, name string, days int) (secret string) {
		token := httpd.Token{Firm: firm, Name: name, Scopes: httpd.Scopes()}
		if days > 0 {
			token.Expires = today.AddDate(100, 0, days)
		}
		secret, err := a.tokens.Add(t.Context(), "tests", token)
		must(err)
		return secret
	}
	bearer := func(secret string) [2]string { return [2]string{"Authorization", "Bearer " + secret} }
	over := token(demoFirm, "expired", 1)
	path := filepath.Join(folder, tokensFile)
	must(os.WriteFile(path, expired.ReplaceAll([]byte(content(t, path)), []byte(`"$1": "2020-01-01T00:00:00Z"`)), 0o600))
	gone := token(demoFirm, "revoked", 0)
	must(a.tokens.Revoke(t.Context(), "tests", demoFirm, "revoked"))
	all := []credential{{name: "nobody"}, {name: "expired token", header: bearer(over)},
		{name: "revoked token", header: bearer(gone)}, {name: "customer's link", header: bearer(link)},
		{name: "another firm's owner", header: bearer(token("another", "stranger", 0))}}
	person := func(name string, role httpd.Role) credential {
		must(a.people.Add(t.Context(), "tests", httpd.Person{Firm: demoFirm, Name: name, Role: role}, matrixPassword, nil))
		answer, err := noRedirects().PostForm(base+"/sign-in", url.Values{"name": {name}, "password": {matrixPassword}})
		must(err)
		answer.Body.Close()
		if len(answer.Cookies()) != 1 {
			t.Fatalf("signing in as %s is answered with %d", name, answer.StatusCode)
		}
		c := answer.Cookies()[0]
		return credential{string(role), [2]string{"Cookie", c.Name + "=" + c.Value}, role.Scopes()}
	}
	for _, role := range httpd.Roles() {
		all = append(all, person("person-"+string(role), role))
	}
	left := person("left", httpd.RoleOwner)
	must(a.people.Disable(t.Context(), "tests", demoFirm, "left", true))
	return append(all, credential{name: "disabled owner", header: left.header})
}

// asked sends a request without content and returns the status. A stream, which never ends,
// is left where it begins.
func (c credential) asked(t *testing.T, base string, r route, kind string) int {
	t.Helper()
	body := ""
	if r.method != http.MethodGet && r.method != http.MethodHead && kind == "application/json" {
		body = "{}"
	}
	request, err := http.NewRequestWithContext(t.Context(), r.method, base+r.filled, strings.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	request.Header.Set("Content-Type", kind)
	request.Header.Set("Sec-Fetch-Site", "same-origin")
	if c.name != "nobody" {
		request.Header.Set(c.header[0], c.header[1])
	}
	answer, err := noRedirects().Do(request)
	if err != nil {
		t.Fatalf("%s as %s: %v", r, c.name, err)
	}
	defer answer.Body.Close()
	if !strings.HasPrefix(answer.Header.Get("Content-Type"), "text/event-stream") {
		if _, err := io.Copy(io.Discard, answer.Body); err != nil {
			t.Fatalf("%s as %s: %v", r, c.name, err)
		}
	}
	return answer.StatusCode
}

// matrixOf asks every route with every credential, compares the answers with the
// description of the API, and returns them as a table.
func matrixOf(t *testing.T, a *app, folder, base, link string, routes []route, rules map[string][][]string) string {
	t.Helper()
	all := credentials(t, a, folder, base, link)
	var table strings.Builder
	table.WriteString("| route |")
	for _, c := range all {
		table.WriteString(" " + c.name + " |")
	}
	table.WriteString("\n|---|" + strings.Repeat("---|", len(all)) + "\n")
	for _, r := range routes {
		scopes, ofAPI := rules[r.String()]
		kind := "application/x-www-form-urlencoded"
		if ofAPI {
			kind = "application/json"
		}
		fmt.Fprintf(&table, "| `%s` |", r)
		for _, c := range all {
			if slices.Contains(openToAll, r.String()) {
				table.WriteString(" open |")
				continue
			}
			status := c.asked(t, base, r, kind)
			in := status != http.StatusUnauthorized && status != http.StatusForbidden
			switch {
			case status >= http.StatusInternalServerError:
				t.Errorf("%s answers %s with %d", r, c.name, status)
			case c.name == "another firm's owner":
				fmt.Fprintf(&table, " %d |", status) // what of it is told, strangersSeeNothing looks at
				continue
			case len(c.scopes) == 0 && status != http.StatusUnauthorized:
				t.Errorf("%s answers %s with %d", r, c.name, status)
			case c.name == string(httpd.RoleOwner) && !in:
				t.Errorf("%s answers the owner with %d", r, status)
			case ofAPI && len(c.scopes) > 0 && in != c.mayAsk(scopes):
				t.Errorf("%s answers %s with %d; the description lets in %v", r, c.name, status, scopes)
			}
			cell := "in"
			if !in {
				cell = fmt.Sprint(status)
			}
			table.WriteString(" " + cell + " |")
		}
		table.WriteString("\n")
	}
	return table.String()
}

// mayAsk reports whether the description of the API lets the credential in, with one of
// the sets of scopes that it names, whole.
func (c credential) mayAsk(alternatives [][]string) bool {
	caller := httpd.Caller{Scopes: c.scopes}
	return len(alternatives) == 0 || slices.ContainsFunc(alternatives, func(all []string) bool {
		return !slices.ContainsFunc(all, func(s string) bool { return !caller.May(httpd.Scope(s)) })
	})
}
