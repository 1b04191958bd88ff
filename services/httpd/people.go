package httpd

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"daysheet/events"
	"daysheet/services/listfile"
)

// Role is what a person is in the firm, and with it what the person may do.
type Role string

// The roles.
const (
	RoleOwner  Role = "owner"  // everything
	RoleOffice Role = "office" // see and record
	RoleCrew   Role = "crew"   // record
	RoleReader Role = "reader" // see
)

// Roles returns every role, from the one that may do most.
func Roles() []Role { return []Role{RoleOwner, RoleOffice, RoleCrew, RoleReader} }

// Scopes returns what the role lets its holder do; nothing for an unknown one.
func (r Role) Scopes() []Scope {
	switch r {
	case RoleOwner:
		return []Scope{ScopeAdmin}
	case RoleOffice:
		return []Scope{ScopeRead, ScopeRecord}
	case RoleCrew:
		return []Scope{ScopeRecord}
	case RoleReader:
		return []Scope{ScopeRead}
	}
	return nil
}

// Person is somebody who signs in by name and password.
type Person struct {
	Firm     string    `json:"firm"`
	Name     string    `json:"name"` // to sign in by; one in the whole ledger, whatever the case
	Role     Role      `json:"role"`
	Created  time.Time `json:"created"`
	Disabled time.Time `json:"disabled,omitzero"`  // zero: may sign in
	SignedIn time.Time `json:"signed_in,omitzero"` // last time by name and password; zero: never
	Removed  time.Time `json:"removed,omitzero"`   // zero: is still one of the firm; else the name alone is kept
}

// keptPerson is a person as the file has it.
type keptPerson struct {
	Person
	Password string    `json:"password"` // hash in the PHC string format
	Changed  time.Time `json:"changed"`  // when password, role or standing last changed: sessions from before are over
}

// session is a browser that is signed in.
type session struct {
	Firm   string    `json:"firm"`
	Name   string    `json:"name"`
	Began  time.Time `json:"began"`
	Ends   time.Time `json:"ends"`
	SHA256 string    `json:"sha256"` // of the secret in the cookie
}

// clockSlack is how far a session may seem to have begun in the future: the clocks of
// processes that share the file, and one that is set, differ by less.
const clockSlack = 5 * time.Minute

// over reports whether a session has ended. One that has yet to begin was begun while the
// clock was wrong: it would last until that time has come, and on from then.
func (s session) over(now time.Time) bool {
	return !now.Before(s.Ends) || s.Began.After(now.Add(clockSlack))
}

func (s session) of(p Person) bool { return s.Firm == p.Firm && strings.EqualFold(s.Name, p.Name) }

// People keeps who signs in by name and password, and who is signed in, in two files
// that several processes may share. All methods are safe for concurrent use.
type People struct {
	people   *listfile.List[keptPerson]
	sessions *listfile.List[session]
	now      func() time.Time
	hashing  chan struct{} // holds as many as hash at one time: each takes memory
	tries    *tries
	owners   bool // see [People.KeepOwners]
	auditor  Auditor
	lockOuts *Limits // that are recorded
}

const (
	sessionPrefix = "dp_"
	sessionLasts  = 12 * time.Hour
	sessionStays  = 30 * 24 * time.Hour // where the person asked to stay signed in
	sessionsMost  = 10_000
	hashingMost   = 2
)

// What [People.SignIn] can say against a try. It does not say which of name and password
// is wrong, nor that somebody may not sign in any more.
var errWrongPassword = errors.New("the name or the password is wrong")

// OpenPeople opens the two files, which need not exist.
func OpenPeople(path, sessionsPath string) (*People, error) {
	return openPeople(path, sessionsPath, time.Now)
}

func openPeople(path, sessionsPath string, now func() time.Time) (*People, error) {
	p := &People{people: listfile.New[keptPerson](path, "people"), sessions: listfile.New[session](sessionsPath,
		"sessions"),
		now: now, hashing: make(chan struct{}, hashingMost), tries: newTries(now),
		lockOuts: NewLimits(lockOutEvery, lockOutBurst)}
	_, err := p.people.Items()
	if err == nil {
		_, err = p.sessions.Items()
	}
	return p, err
}

// Audit has every change recorded from now on. It is called before the first one.
func (p *People) Audit(a Auditor) { p.auditor = a }

// Add adds somebody with a first password. It refuses a name that was ever used, by a
// person or by one of the firm's tokens: it stands beside what was recorded. by is the
// name of who adds, as below.
func (p *People) Add(ctx context.Context, by string, person Person, password string, tokens []Token) error {
	now := p.now().UTC()
	person.Created, person.Disabled = now.Truncate(time.Second), time.Time{}
	if err := checkToken(Token{Firm: person.Firm, Name: person.Name, Scopes: []Scope{ScopeRead}}, now); err != nil {
		return err
	}
	if person.Role.Scopes() == nil {
		return events.Refuse("role", string(person.Role), "use owner, office, crew or reader")
	}
	if err := checkPassword(person.Name, password); err != nil {
		return err
	}
	used := slices.ContainsFunc(tokens, func(t Token) bool { return t.Firm == person.Firm && t.Name == person.Name })
	hash := hashPassword(password)
	return p.people.Change(func(people []keptPerson) ([]keptPerson, error) {
		if used || findPerson(people, person.Name) >= 0 {
			return nil, &events.Error{Code: events.Conflict, Field: "name", Value: fmt.Sprintf("%q", person.Name),
				Rule: "this name was used before; choose another"}
		}
		change := events.AccessChange{What: events.PersonAdded, Name: person.Name, Role: string(person.Role)}
		return append(people, keptPerson{person, hash, now}), p.auditor.Record(ctx, person.Firm, by, change)
	})
}

// List returns everybody, also who may not sign in any more, in the order in which they
// were added; but not who was removed.
func (p *People) List() ([]Person, error) {
	people, err := p.people.Items()
	list := make([]Person, 0, len(people))
	for _, kept := range people {
		if kept.Removed.IsZero() {
			list = append(list, kept.Person)
		}
	}
	return list, err
}

// SetPassword gives somebody of the firm another password and ends every session of that
// person. Whoever was locked out can try again.
func (p *People) SetPassword(ctx context.Context, by, firm, name, password string) error {
	if err := checkPassword(name, password); err != nil {
		return err
	}
	hash := hashPassword(password)
	what := events.PasswordReset
	if strings.EqualFold(by, name) {
		what = events.PasswordChanged
	}
	return p.change(ctx, by, firm, name, what, func(k *keptPerson) { k.Password = hash })
}

// SetRole gives somebody another role, and ends every session of that person.
func (p *People) SetRole(ctx context.Context, by, firm, name string, role Role) error {
	if role.Scopes() == nil {
		return events.Refuse("role", string(role), "use owner, office, crew or reader")
	}
	return p.change(ctx, by, firm, name, events.RoleChanged, func(k *keptPerson) { k.Role = role })
}

// Disable takes the access of somebody away at once, or gives it back.
func (p *People) Disable(ctx context.Context, by, firm, name string, disable bool) error {
	what, at := events.PersonUnlocked, time.Time{}
	if disable {
		what, at = events.PersonLocked, p.now().UTC().Truncate(time.Second)
	}
	return p.change(ctx, by, firm, name, what, func(k *keptPerson) { k.Disabled = at })
}

func (p *People) change(ctx context.Context, by, firm, name, what string, change func(*keptPerson)) error {
	err := p.people.Change(func(people []keptPerson) ([]keptPerson, error) {
		i := findPerson(people, name)
		if i < 0 || people[i].Firm != firm || !people[i].Removed.IsZero() {
			return nil, &events.Error{Code: events.NotFound, Field: "name", Value: fmt.Sprintf("%q", name),
				Rule: "the firm has nobody of this name"}
		}
		k := &people[i]
		owned := k.owns()
		k.Changed = p.now().UTC()
		change(k)
		if p.owners && owned && !slices.ContainsFunc(people, func(k keptPerson) bool { return k.Firm == firm && k.owns() }) {
			return nil, &events.Error{Code: events.Conflict, Field: "name", Value: fmt.Sprintf("%q", name), Rule: lastOwner}
		}
		return people, p.auditor.Record(ctx, firm, by,
			events.AccessChange{What: what, Name: k.Name, Role: string(k.Role)})
	})
	if err != nil {
		return err
	}
	// They are over by Changed already, but where the clock went back since they began.
	return p.sessions.Change(func(sessions []session) ([]session, error) {
		return slices.DeleteFunc(sessions, func(s session) bool { return s.of(Person{Firm: firm, Name: name}) }), nil
	})
}

func findPerson(people []keptPerson, name string) int {
	return slices.IndexFunc(people, func(k keptPerson) bool { return strings.EqualFold(k.Name, name) })
}

// SignIn checks name and password of somebody at an address, and returns the secret of a
// new session. wait is above 0 where too many tries failed before: the password is not
// looked at then.
func (p *People) SignIn(ctx context.Context, name, password, address string, stay bool) (secret string,
	lasts, wait time.Duration, err error) {
	people, err := p.people.Items()
	if err != nil {
		return "", 0, 0, err
	}
	known := keptPerson{Password: noPassword}
	if i := findPerson(people, name); i >= 0 {
		known = people[i]
	}
	key := fmt.Sprintf("%s\x00%s\x00%d", strings.ToLower(name), address, known.Changed.UnixNano())
	if wait = p.tries.wait(key); wait > 0 {
		return "", 0, wait, errWrongPassword
	}
	p.hashing <- struct{}{}
	matches := matchesPassword(known.Password, password)
	<-p.hashing
	if !matches || known.Name == "" || !known.Disabled.IsZero() {
		if lockedOut := p.tries.failed(key); lockedOut && known.Name != "" {
			err = p.recordLockOut(ctx, known.Person)
		}
		return "", 0, 0, cmp.Or(err, errWrongPassword)
	}
	p.tries.succeeded(key)
	if err := p.noteSignIn(known.Person); err != nil {
		return "", 0, 0, err
	}
	lasts = sessionLasts
	if stay {
		lasts = sessionStays
	}
	secret, err = p.begin(known.Person, lasts)
	return secret, lasts, 0, err
}

// recordLockOut records that too many tries failed for somebody. It does not say from
// where: an address is personal data too.
func (p *People) recordLockOut(ctx context.Context, person Person) error {
	if p.lockOuts.Wait(person.Firm+"/"+person.Name) > 0 {
		return nil
	}
	change := events.AccessChange{What: events.LockedOut, Name: person.Name, Role: string(person.Role)}
	return p.auditor.Record(ctx, person.Firm, Ledger, change)
}

// noPassword is compared for a name that nobody has, so that the time taken does not tell.
const noPassword = "$argon2id$v=19$m=19456,t=2,p=1$AAAAAAAAAAAAAAAAAAAAAA$AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA"

// begin begins a session. Those that are over are forgotten.
func (p *People) begin(person Person, lasts time.Duration) (string, error) {
	secret, now := sessionPrefix+randomText(secretBytes), p.now().UTC()
	return secret, p.sessions.Change(func(sessions []session) ([]session, error) {
		sessions = slices.DeleteFunc(sessions, func(s session) bool {
			return s.over(now) || s.of(person) && s.Began.After(now)
		})
		if len(sessions) >= sessionsMost {
			return nil, &events.Error{Code: events.Unavailable, Field: "session", Rule: "too many are signed in"}
		}
		return append(sessions, session{person.Firm, person.Name, now, now.Add(lasts), hashOf(secret)}), nil
	})
}

// Authenticate returns whom the secret of a session speaks for. It fails with
// errTokenUnknown where the session is over, for whatever reason.
func (p *People) Authenticate(secret string) (Caller, error) {
	sessions, err := p.sessions.Items()
	if err != nil {
		return Caller{}, err
	}
	found, hash := -1, hashOf(secret)
	for i := range sessions { // as tokens are compared
		if equalSecrets(sessions[i].SHA256, hash) {
			found = i
		}
	}
	if found < 0 || sessions[found].over(p.now()) {
		return Caller{}, errTokenUnknown
	}
	people, err := p.people.Items()
	if err != nil {
		return Caller{}, err
	}
	i := findPerson(people, sessions[found].Name)
	if i < 0 || people[i].Firm != sessions[found].Firm || !people[i].Disabled.IsZero() ||
		!people[i].Changed.Before(sessions[found].Began) {
		return Caller{}, errTokenUnknown
	}
	return Caller{Firm: people[i].Firm, Name: people[i].Name, Scopes: people[i].Role.Scopes(), Person: true}, nil
}

// SignOut ends the session of a secret; none, if there is no such session.
func (p *People) SignOut(secret string) error {
	hash := hashOf(secret)
	return p.sessions.Change(func(sessions []session) ([]session, error) {
		return slices.DeleteFunc(sessions, func(s session) bool { return s.SHA256 == hash }), nil
	})
}
