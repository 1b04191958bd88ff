package httpd

import (
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"daysheet/events"
)

// clock is a time that stands until it is moved.
type clock struct{ at time.Time }

func (c *clock) now() time.Time { return c.at }

func newTokens(t *testing.T) (*Tokens, *clock, string) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "tokens.json")
	c := &clock{time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)}
	tokens, err := openTokens(path, c.now)
	must(t, err)
	return tokens, c, path
}

func TestTokenLife(t *testing.T) {
	tokens, c, _ := newTokens(t)
	secret, err := tokens.Add(t.Context(), "tests", Token{Firm: "north", Name: "van 2", Scopes: []Scope{ScopeRecord}, Expires: c.at.Add(time.Hour)})
	must(t, err)
	if !strings.HasPrefix(secret, "ds_") || len(secret) != len("ds_")+43 { // 32 bytes in base64 without padding
		t.Errorf("secret %q is not ds_ and 32 bytes", secret)
	}
	caller, err := tokens.Authenticate(secret)
	must(t, err)
	if caller.Firm != "north" || caller.Name != "van 2" || !caller.May(ScopeRecord) || caller.May(ScopeRead) || caller.May(ScopeAdmin) {
		t.Errorf("caller is %+v", caller)
	}
	for _, wrong := range []string{"", "ds_", secret[:len(secret)-1], secret + "A", hashOf(secret), strings.ToUpper(secret)} {
		if _, err := tokens.Authenticate(wrong); !errors.Is(err, errTokenUnknown) {
			t.Errorf("secret %q: %v, want %v", wrong, err, errTokenUnknown)
		}
	}
	c.at = c.at.Add(time.Hour)
	if _, err := tokens.Authenticate(secret); !errors.Is(err, errTokenExpired) {
		t.Errorf("at its end: %v, want %v", err, errTokenExpired)
	}
	must(t, tokens.Revoke(t.Context(), "tests", "north", "van 2"))
	if _, err := tokens.Authenticate(secret); !errors.Is(err, errTokenRevoked) {
		t.Errorf("after it was revoked: %v, want %v", err, errTokenRevoked)
	}
	revokedAt := tokens.List()[0].Revoked
	c.at = c.at.Add(time.Hour)
	must(t, tokens.Revoke(t.Context(), "tests", "north", "van 2"))
	if got := tokens.List()[0].Revoked; !got.Equal(revokedAt) {
		t.Errorf("revoking it again moved %v to %v", revokedAt, got)
	}
	if code := events.CodeOf(tokens.Revoke(t.Context(), "tests", "south", "van 2")); code != events.NotFound {
		t.Errorf("revoking a token of no such firm: %q, want %q", code, events.NotFound)
	}
	_, err = tokens.Add(t.Context(), "tests", Token{Firm: "north", Name: "van 2", Scopes: []Scope{ScopeRead}})
	if code := events.CodeOf(err); code != events.Conflict {
		t.Errorf("the name of a revoked token: %v, want %q", err, events.Conflict)
	}
	if _, err = tokens.Add(t.Context(), "tests", Token{Firm: "south", Name: "van 2", Scopes: []Scope{ScopeRead}}); err != nil {
		t.Errorf("the same name in another firm: %v", err)
	}
}

func TestTokenRules(t *testing.T) {
	tokens, c, path := newTokens(t)
	good := Token{Firm: "north", Name: "van", Scopes: []Scope{ScopeRead}}
	for name, change := range map[string]func(*Token){
		"firm": func(t *Token) { t.Firm = "North Yard" }, "no firm": func(t *Token) { t.Firm = "" },
		"no name": func(t *Token) { t.Name = "" }, "blank name": func(t *Token) { t.Name = " van" },
		"line break": func(t *Token) { t.Name = "van\n2" }, "long name": func(t *Token) { t.Name = strings.Repeat("x", 61) },
		"no UTF-8": func(t *Token) { t.Name = "\xff" }, "no scope": func(t *Token) { t.Scopes = nil },
		"unknown scope": func(t *Token) { t.Scopes = []Scope{"write"} }, "expired": func(t *Token) { t.Expires = c.at },
	} {
		token := good
		change(&token)
		if secret, err := tokens.Add(t.Context(), "tests", token); events.CodeOf(err) != events.Invalid || secret != "" {
			t.Errorf("%s: secret %q, error %v; want a refusal", name, secret, err)
		}
	}
	if _, err := os.Stat(path); !os.IsNotExist(err) {
		t.Errorf("what was refused made a file: %v", err)
	}
}

func TestSecretsAreHashedAtRest(t *testing.T) {
	tokens, _, path := newTokens(t)
	secret, err := tokens.Add(t.Context(), "tests", Token{Firm: "north", Name: "van", Scopes: []Scope{ScopeAdmin}})
	must(t, err)
	_, err = tokens.Authenticate(secret)
	must(t, err)
	must(t, tokens.Close())
	raw, err := os.ReadFile(path)
	must(t, err)
	if strings.Contains(string(raw), strings.TrimPrefix(secret, "ds_")) {
		t.Error("the file holds the secret")
	}
	if !strings.Contains(string(raw), hashOf(secret)) {
		t.Error("the file lacks the hash of the secret")
	}
	info, err := os.Stat(path)
	must(t, err)
	if info.Mode().Perm() != 0o600 {
		t.Errorf("the file has mode %o, want 600", info.Mode().Perm())
	}
	names, err := filepath.Glob(filepath.Join(filepath.Dir(path), "*"))
	must(t, err)
	if len(names) != 2 { // the file and its lock
		t.Errorf("the folder holds %q", names)
	}
}

// TestTokensAreReadAgain has two stores on one file, as a server and a command
// have.
func TestTokensAreReadAgain(t *testing.T) {
	server, c, path := newTokens(t)
	command, err := openTokens(path, c.now)
	must(t, err)
	secret, err := command.Add(t.Context(), "tests", Token{Firm: "north", Name: "van", Scopes: []Scope{ScopeRecord}})
	must(t, err)
	_, err = server.Authenticate(secret)
	must(t, err)
	c.at = c.at.Add(time.Minute)
	_, err = server.Authenticate(secret)
	must(t, err)
	if used := command.List()[0].LastUsed; !used.IsZero() {
		t.Errorf("last use %v was written before it was time", used)
	}
	must(t, command.Revoke(t.Context(), "tests", "north", "van"))
	must(t, server.Flush()) // must not bring back what the command has just ended
	if _, err := server.Authenticate(secret); !errors.Is(err, errTokenRevoked) {
		t.Errorf("revoked elsewhere: %v, want %v", err, errTokenRevoked)
	}
	if used := command.List()[0].LastUsed; !used.Equal(c.at) {
		t.Errorf("last use is %v, want %v", used, c.at)
	}
	must(t, os.Remove(path))
	if _, err := server.Authenticate(secret); !errors.Is(err, errTokenUnknown) {
		t.Errorf("without a file: %v, want %v", err, errTokenUnknown)
	}
}

func TestDamagedTokensLetNobodyIn(t *testing.T) {
	tokens, _, path := newTokens(t)
	secret, err := tokens.Add(t.Context(), "tests", Token{Firm: "north", Name: "van", Scopes: []Scope{ScopeAdmin}})
	must(t, err)
	whole, err := os.ReadFile(path)
	must(t, err)
	for name, content := range map[string]string{
		"empty": "", "cut": string(whole[:len(whole)/2]), "newer": strings.Replace(string(whole), `"version": 1`, `"version": 2`, 1),
		"unknown member": strings.Replace(string(whole), `"version": 1`, `"version": 1, "more": true`, 1),
		"twice":          string(whole) + string(whole),
	} {
		must(t, os.WriteFile(path, []byte(content), 0o600))
		if _, err := tokens.Authenticate(secret); err == nil || isAccessError(err) {
			t.Errorf("%s: %v, want a fault that names the file", name, err)
		}
		if _, err := tokens.Add(t.Context(), "tests", Token{Firm: "north", Name: "new", Scopes: []Scope{ScopeRead}}); err == nil {
			t.Errorf("%s: a token was added, which would have dropped the others", name)
		}
		if _, err := OpenTokens(path); err == nil || !strings.Contains(err.Error(), path) {
			t.Errorf("%s: opened with %v, want an error that names the file", name, err)
		}
	}
	must(t, os.WriteFile(path, whole, 0o600))
	_, err = tokens.Authenticate(secret)
	must(t, err)
}

// TestTokensAtOnce adds, uses, revokes and flushes at the same time through two
// stores on one file. Nothing may be lost.
func TestTokensAtOnce(t *testing.T) {
	first, c, path := newTokens(t)
	second, err := openTokens(path, c.now)
	must(t, err)
	const each = 15
	var working sync.WaitGroup
	for n, store := range []*Tokens{first, second, first, second} {
		working.Go(func() {
			for i := range each {
				name := fmt.Sprintf("%d-%d", n, i)
				secret, err := store.Add(t.Context(), "tests", Token{Firm: "north", Name: name, Scopes: []Scope{ScopeRead}})
				if err != nil {
					t.Errorf("add %s: %v", name, err)
					continue
				}
				for _, s := range []*Tokens{first, second} {
					if _, err := s.Authenticate(secret); err != nil {
						t.Errorf("use %s: %v", name, err)
					}
				}
				if i%2 == 1 {
					err = store.Revoke(t.Context(), "tests", "north", name)
				}
				if err := errors.Join(err, store.Flush()); err != nil {
					t.Errorf("revoke or flush %s: %v", name, err)
				}
			}
		})
	}
	working.Wait()
	raw, err := os.ReadFile(path)
	must(t, err)
	var file struct{ Tokens []keptToken }
	must(t, json.Unmarshal(raw, &file))
	revoked := 0
	for _, token := range file.Tokens {
		if !token.Revoked.IsZero() {
			revoked++
		}
		if token.LastUsed.IsZero() {
			t.Errorf("last use of %s was lost", token.Name)
		}
	}
	if len(file.Tokens) != 4*each || revoked != 4*(each/2) {
		t.Errorf("%d tokens, %d revoked; want %d and %d", len(file.Tokens), revoked, 4*each, 4*(each/2))
	}
}
