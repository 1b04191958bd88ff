package httpd

import (
	"context"
	"crypto/rand"
	"daysheet/events"
	"strings"
	"time"
)

// lastOwner is the rule of [People.KeepOwners].
const lastOwner = "the last owner who may sign in stays: make somebody else an owner first"

// KeepOwners refuses from now on to lock, remove or demote the last owner of a firm who
// may sign in. It is called before the server serves. Whoever runs the ledger needs no
// such guard: a command gives the access back.
func (p *People) KeepOwners() { p.owners = true }

// owns reports whether the person is an owner who may sign in.
func (k keptPerson) owns() bool { return k.Role == RoleOwner && k.Disabled.IsZero() }

// Remove takes somebody off the list and the access away, at once and for good. The name
// stays taken: it stands beside what was recorded.
func (p *People) Remove(ctx context.Context, by, firm, name string) error {
	return p.change(ctx, by, firm, name, events.PersonRemoved, func(k *keptPerson) {
		k.Removed = p.now().UTC().Truncate(time.Second)
		k.Disabled, k.Password = k.Removed, ""
	})
}

// noteSignIn writes down that somebody signed in now.
func (p *People) noteSignIn(person Person) error {
	return p.people.Change(func(people []keptPerson) ([]keptPerson, error) {
		if i := findPerson(people, person.Name); i >= 0 {
			now := p.now().UTC()
			people[i].SignedIn = now.Truncate(time.Second)
			// A change that has yet to come was made while the clock was wrong. Sessions
			// begin after it; those that were begun by that clock are over.
			if !people[i].Changed.Before(now) {
				people[i].Changed = now.Add(-time.Nanosecond)
			}
		}
		return people, nil
	})
}

// NewPassword makes a password of 100 bits that can be read out.
func NewPassword() string {
	text := strings.ToLower(rand.Text()[:20])
	return text[:5] + "-" + text[5:10] + "-" + text[10:15] + "-" + text[15:]
}
