package httpd

import (
	"context"
	"fmt"
	"time"

	"daysheet/events"
)

// Auditor records a change of access into the log of a firm before the change is made. by
// is the name of who makes it. Where it fails, the change is refused: an access that
// nobody can read of later is not given, nor taken. The zero value records nothing.
type Auditor func(ctx context.Context, firm, by string, change events.AccessChange) error

// auditWait is how long a change of access waits for the log. Meanwhile nobody is let in
// by the list that is to be changed.
const auditWait = 10 * time.Second

// Record records the change.
func (a Auditor) Record(ctx context.Context, firm, by string, change events.AccessChange) error {
	if a == nil {
		return nil
	}
	ctx, cancel := context.WithTimeout(ctx, auditWait)
	defer cancel()
	if err := a(ctx, firm, by, change); err != nil {
		return fmt.Errorf("the change of access was not made, because it could not be recorded: %w", err)
	}
	return nil
}

// Ledger is by whose name the ledger records what nobody asked for.
const Ledger = "daysheet"

// Phone reports whether the token may record and nothing else, as that of a phone.
func (t Token) Phone() bool { return len(t.Scopes) == 1 && t.Scopes[0] == ScopeRecord }

// change describes what became of the token.
func (t Token) change(what, ofPhone string) events.AccessChange {
	if t.Phone() {
		what = ofPhone
	}
	c := events.AccessChange{What: what, Name: t.Name, Expires: events.AccessEnd(t.Expires)}
	for _, s := range t.Scopes {
		c.Scopes = append(c.Scopes, string(s))
	}
	return c
}

// lockOutEvery and lockOutBurst bound what whoever guesses passwords can make the ledger
// record of one name.
const (
	lockOutEvery = 10 * time.Minute
	lockOutBurst = 6
)
