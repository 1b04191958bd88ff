package httpd

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/base64"
	"encoding/hex"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"time"
	"unicode"
	"unicode/utf8"

	"daysheet/events"
	"daysheet/services/listfile"
)

// What [Tokens.Authenticate] can say against a secret.
var (
	errTokenUnknown = errors.New("the token is not known")
	errTokenExpired = errors.New("the token has expired")
	errTokenRevoked = errors.New("the token was revoked")
)

// Token describes one credential. Its secret is shown once, when it is made, and
// is not kept.
type Token struct {
	Firm     string    `json:"firm"`
	Name     string    `json:"name"` // unique within the firm, for ever: it stands beside what it recorded
	Scopes   []Scope   `json:"scopes"`
	Created  time.Time `json:"created"`
	Expires  time.Time `json:"expires,omitzero"`   // zero: never
	LastUsed time.Time `json:"last_used,omitzero"` // zero: never; written down now and then
	Revoked  time.Time `json:"revoked,omitzero"`   // zero: it holds
}

// keptToken is a token as it stands in the file.
type keptToken struct {
	Token
	SHA256 string `json:"sha256"` // of the secret, in hexadecimal
}

// Tokens keeps the credentials in one file of the data folder. The file is read
// again whenever it has changed, so another process can add and revoke while a
// server runs. All methods are safe for concurrent use.
type Tokens struct {
	list    *listfile.List[keptToken]
	now     func() time.Time
	auditor Auditor

	mu   sync.Mutex
	used map[string]time.Time // by hash; not yet written down
}

const (
	secretPrefix = "ds_"
	secretBytes  = 32
	nameMax      = 60
)

// OpenTokens reads the tokens in the file at path. A file that does not exist is
// a ledger to which nobody has access yet.
func OpenTokens(path string) (*Tokens, error) { return openTokens(path, time.Now) }

func openTokens(path string, now func() time.Time) (*Tokens, error) {
	t := &Tokens{list: listfile.New[keptToken](path, "tokens"), now: now, used: map[string]time.Time{}}
	if _, err := t.list.Items(); err != nil {
		return nil, err
	}
	return t, nil
}

// Audit has every change recorded from now on. It is called before the first one.
func (t *Tokens) Audit(a Auditor) { t.auditor = a }

// Add makes a token from its firm, name, scopes and expiry, and returns the
// secret, which cannot be had again. It refuses a name that the firm has used
// before, even if that token was revoked. by is the name of who makes it.
func (t *Tokens) Add(ctx context.Context, by string, token Token) (secret string, err error) {
	t.mu.Lock()
	defer t.mu.Unlock()
	now := t.now().UTC().Truncate(time.Second)
	if err := checkToken(token, now); err != nil {
		return "", err
	}
	secret = secretPrefix + randomText(secretBytes)
	token.Created, token.LastUsed, token.Revoked = now, time.Time{}, time.Time{}
	err = t.list.Change(func(tokens []keptToken) ([]keptToken, error) {
		if find(tokens, token.Firm, token.Name) >= 0 {
			return nil, &events.Error{Code: events.Conflict, Field: "name", Value: fmt.Sprintf("%q", token.Name),
				Rule: "the firm has had a token of this name; choose another"}
		}
		err := t.auditor.Record(ctx, token.Firm, by, token.change(events.TokenMade, events.PhonePaired))
		return append(tokens, keptToken{token, hashOf(secret)}), err
	})
	if err != nil {
		return "", err
	}
	return secret, nil
}

// randomText returns n random bytes in letters that are safe in an address.
func randomText(n int) string {
	random := make([]byte, n)
	_, _ = rand.Read(random) // cannot fail: the program is stopped where there is no randomness
	return base64.RawURLEncoding.EncodeToString(random)
}

func checkToken(token Token, now time.Time) error {
	if err := validFirm(token.Firm); err != nil {
		return err
	}
	if n := utf8.RuneCountInString(token.Name); n == 0 || n > nameMax || strings.TrimSpace(token.Name) != token.Name ||
		strings.ContainsFunc(token.Name, unicode.IsControl) || !utf8.ValidString(token.Name) {
		return events.Refuse("name", token.Name, "1 to %d characters that say who holds it", nameMax)
	}
	if len(token.Scopes) == 0 {
		return events.Refuse("scopes", nil, "give at least one of read, record, admin")
	}
	for _, s := range token.Scopes {
		if !slices.Contains(Scopes(), s) {
			return events.Refuse("scopes", string(s), "use read, record or admin")
		}
	}
	if !token.Expires.IsZero() && !token.Expires.After(now) {
		return events.Refuse("expires", token.Expires.Format(time.RFC3339), "a time to come")
	}
	return nil
}

// List returns every token, revoked ones too, in the order in which they were
// made. Where the file cannot be read now, the list is as it was read before.
func (t *Tokens) List() []Token {
	t.mu.Lock()
	defer t.mu.Unlock()
	tokens, _ := t.list.Items() // what is wrong with the file is said to those who ask for access
	list := make([]Token, len(tokens))
	for i, kept := range tokens {
		list[i] = kept.Token
		if used := t.used[kept.SHA256]; used.After(kept.LastUsed) {
			list[i].LastUsed = used
		}
	}
	return list
}

// Revoke ends a token at once. Revoking it again changes nothing. by is the name of who
// ends it.
func (t *Tokens) Revoke(ctx context.Context, by, firm, name string) error {
	t.mu.Lock()
	defer t.mu.Unlock()
	return t.list.Change(func(tokens []keptToken) ([]keptToken, error) {
		i := find(tokens, firm, name)
		if i < 0 {
			return nil, &events.Error{Code: events.NotFound, Field: "name", Value: fmt.Sprintf("%q", name),
				Rule: "the firm has no token of this name"}
		}
		if !tokens[i].Revoked.IsZero() {
			return tokens, nil
		}
		tokens[i].Revoked = t.now().UTC().Truncate(time.Second)
		return tokens, t.auditor.Record(ctx, firm, by, tokens[i].change(events.TokenRevoked, events.PhoneRevoked))
	})
}

// Authenticate returns whom a secret speaks for. It fails with errTokenUnknown,
// errTokenExpired or errTokenRevoked, or because the file cannot be read:
// nobody is let in then.
func (t *Tokens) Authenticate(secret string) (Caller, error) {
	hash := hashOf(secret)
	t.mu.Lock()
	defer t.mu.Unlock()
	tokens, err := t.list.Items()
	if err != nil {
		return Caller{}, err
	}
	// Every token is compared, each in constant time, so that the time taken
	// says nothing about how near a guess came.
	found := -1
	for i := range tokens {
		if subtle.ConstantTimeCompare([]byte(tokens[i].SHA256), []byte(hash)) == 1 {
			found = i
		}
	}
	if found < 0 {
		return Caller{}, errTokenUnknown
	}
	token, now := tokens[found].Token, t.now().UTC()
	switch {
	case !token.Revoked.IsZero():
		return Caller{}, errTokenRevoked
	case !token.Expires.IsZero() && !now.Before(token.Expires):
		return Caller{}, errTokenExpired
	}
	t.used[hash] = now.Truncate(time.Second)
	return Caller{Firm: token.Firm, Name: token.Name, Scopes: token.Scopes}, nil
}

// Flush writes down when tokens were last used. The server calls it now and
// then: a write for each request would be slow.
func (t *Tokens) Flush() error {
	t.mu.Lock()
	defer t.mu.Unlock()
	if len(t.used) == 0 {
		return nil
	}
	err := t.list.Change(func(tokens []keptToken) ([]keptToken, error) {
		for i := range tokens {
			if used := t.used[tokens[i].SHA256]; used.After(tokens[i].LastUsed) {
				tokens[i].LastUsed = used
			}
		}
		return tokens, nil
	})
	if err == nil {
		clear(t.used)
	}
	return err
}

// Close writes down what [Tokens.Flush] would. The tokens stay usable.
func (t *Tokens) Close() error { return t.Flush() }

func find(tokens []keptToken, firm, name string) int {
	return slices.IndexFunc(tokens, func(t keptToken) bool { return t.Firm == firm && t.Name == name })
}

func hashOf(secret string) string {
	sum := sha256.Sum256([]byte(secret))
	return hex.EncodeToString(sum[:])
}
