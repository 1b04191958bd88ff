package httpd

import (
	"context"
	"errors"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"daysheet/events"
)

// TestWhatCannotBeRecordedIsNotChanged: where the log does not take a change of access,
// the files stay as they were, to the byte, and the server says that it was not made.
func TestWhatCannotBeRecordedIsNotChanged(t *testing.T) {
	ctx := t.Context()
	people, _ := newPeople(t)
	tokens, err := OpenTokens(filepath.Join(t.TempDir(), "tokens.json"))
	must(t, err)
	_, err = tokens.Add(ctx, "office", Token{Firm: "north", Name: "desk", Scopes: []Scope{ScopeAdmin}})
	must(t, err)
	var asked []events.AccessChange
	away := func(_ context.Context, firm, by string, change events.AccessChange) error {
		if firm != "north" || by != "office" {
			t.Errorf("%s of %s by %s", change.What, firm, by)
		}
		asked = append(asked, change)
		return &events.Error{Code: events.Unavailable, Rule: "the log cannot answer now"}
	}
	people.Audit(away)
	tokens.Audit(away)
	files := func() (all string) {
		for _, path := range []string{people.people.Path(), people.sessions.Path(), tokens.list.Path()} {
			raw, err := os.ReadFile(path)
			if !errors.Is(err, os.ErrNotExist) {
				must(t, err)
			}
			all += string(raw)
		}
		return all
	}
	before := files()
	secret, err := tokens.Add(ctx, "office", Token{Firm: "north", Name: "van", Scopes: []Scope{ScopeRecord}})
	if secret != "" {
		t.Error("a token that was not recorded is handed out")
	}
	for what, err := range map[string]error{
		events.PhonePaired:   err,
		events.TokenRevoked:  tokens.Revoke(ctx, "office", "north", "desk"),
		events.PersonAdded:   people.Add(ctx, "office", Person{Firm: "north", Name: "Bo", Role: RoleCrew}, annasPassword, nil),
		events.PasswordReset: people.SetPassword(ctx, "office", "north", "anna", "nine other invented words"),
		events.RoleChanged:   people.SetRole(ctx, "office", "north", "anna", RoleOwner),
		events.PersonLocked:  people.Disable(ctx, "office", "north", "anna", true),
	} {
		if events.CodeOf(err) != events.Unavailable || !strings.Contains(err.Error(), "was not made") {
			t.Errorf("%s: %v", what, err)
		}
	}
	if len(asked) != 6 || files() != before {
		t.Errorf("%d changes were to be recorded, and the files are the same: %v", len(asked), files() == before)
	}
}

// TestSignInLinkIsRecordedFirst: the link lets nobody in whom the log does not know of.
func TestSignInLinkIsRecordedFirst(t *testing.T) {
	b := newBench(t, nil, nil)
	b.tokens.Audit(func(context.Context, string, string, events.AccessChange) error {
		return &events.Error{Code: events.Unavailable, Rule: "the log cannot answer now"}
	})
	answer, err := b.client.Get(b.server.SignInLink(b.address, b.secrets["reader"]))
	must(t, err)
	must(t, answer.Body.Close())
	if answer.StatusCode != http.StatusServiceUnavailable || len(answer.Cookies()) > 0 {
		t.Errorf("the link is answered with %d and %v", answer.StatusCode, answer.Cookies())
	}
}
