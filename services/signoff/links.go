package signoff

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/base64"
	"encoding/hex"
	"fmt"
	"slices"
	"time"

	"daysheet/events"
	"daysheet/services/httpd"
	"daysheet/services/listfile"
)

// Purpose is what a link is good for.
type Purpose string

// The purposes.
const (
	ToSign Purpose = "sign-off" // see the job, and sign it off
	ToRead Purpose = "read"     // see the job
)

// Link lets whoever holds it see one job. Its secret is shown once and is not kept.
type Link struct {
	ID        string    `json:"id"` // stands beside what was recorded through it
	Firm      string    `json:"firm"`
	Job       string    `json:"job"`
	Purpose   Purpose   `json:"purpose"`
	Created   time.Time `json:"created"`
	CreatedBy string    `json:"created_by"` // the name of a credential, or the link whose copy this is
	Expires   time.Time `json:"expires"`
	Revoked   time.Time `json:"revoked,omitzero"` // zero: it was not taken back
}

// keptLink is a link as it stands in the file.
type keptLink struct {
	Link
	SHA256 string `json:"sha256"` // of the secret, in hexadecimal
}

// Links keeps the links in one file, as tokens are kept. All methods are safe for
// concurrent use.
type Links struct {
	list    *listfile.List[keptLink]
	now     func() time.Time
	auditor httpd.Auditor
}

// Bounds of links.
const (
	linkLasts   = 400 * 24 * time.Hour // at most
	linksMost   = 20_000               // in the file
	linkKept    = 90 * 24 * time.Hour  // after its end, so that who opens it is told
	secretBytes = 32
)

// OpenLinks opens the file at path; one that does not exist holds no link.
func OpenLinks(path string, now func() time.Time) (*Links, error) {
	l := &Links{list: listfile.New[keptLink](path, "links"), now: now}
	_, err := l.list.Items()
	return l, err
}

// Audit has every change recorded from now on. It is called before the first one.
func (l *Links) Audit(a httpd.Auditor) { l.auditor = a }

// Add makes a link and returns it with its secret, which cannot be had again.
func (l *Links) Add(ctx context.Context, link Link) (Link, string, error) {
	random := make([]byte, secretBytes)
	_, _ = rand.Read(random) // cannot fail: the program is stopped where there is no randomness
	secret := base64.RawURLEncoding.EncodeToString(random)
	link, err := l.put(ctx, link, secret)
	return link, secret, err
}

// Copy makes the link to read by that goes with what was signed. Signing again after a
// lost answer gives the same one: its secret follows from that of the first link.
func (l *Links) Copy(ctx context.Context, of Link, secret, event string) (string, error) {
	sum := sha256.Sum256([]byte("daysheet copy\x00" + secret + "\x00" + event))
	derived := base64.RawURLEncoding.EncodeToString(sum[:])
	_, err := l.put(ctx, Link{Firm: of.Firm, Job: of.Job, Purpose: ToRead, CreatedBy: "link " + of.ID,
		Expires: l.now().Add(linkLasts)}, derived)
	return derived, err
}

// put adds a link, unless there is one with this secret.
func (l *Links) put(ctx context.Context, link Link, secret string) (Link, error) {
	now := l.now().UTC().Truncate(time.Second)
	link.Expires = link.Expires.UTC().Truncate(time.Second)
	if err := checkLink(link, now); err != nil {
		return Link{}, err
	}
	random := make([]byte, 8)
	_, _ = rand.Read(random) // as above
	link.ID, link.Created, link.Revoked = hex.EncodeToString(random), now, time.Time{}
	err := l.list.Change(func(links []keptLink) ([]keptLink, error) {
		links = slices.DeleteFunc(links, func(k keptLink) bool { return now.After(k.end().Add(linkKept)) })
		if i := find(links, secret); i >= 0 {
			link = links[i].Link
			return links, nil
		}
		if len(links) >= linksMost {
			return nil, &events.Error{Code: events.Unavailable, Field: "job", Value: fmt.Sprintf("%q", link.Job),
				Rule: "too many links are open; take back those that are not needed"}
		}
		return append(links, keptLink{link, hashOf(secret)}), l.auditor.Record(ctx, link.Firm, link.CreatedBy,
			link.change(events.LinkMade))
	})
	return link, err
}

// change describes what became of the link.
func (l *Link) change(what string) events.AccessChange {
	return events.AccessChange{What: what, Name: l.ID, Job: l.Job, Purpose: string(l.Purpose),
		Expires: events.AccessEnd(l.Expires)}
}

func checkLink(link Link, now time.Time) error {
	switch {
	case !events.ValidToken(link.Firm):
		return events.Refuse("firm", link.Firm, "%s", events.TokenRule)
	case !events.ValidToken(link.Job) || link.Job == events.FirmJob:
		return events.Refuse("job", link.Job, "%s", events.TokenRule)
	case link.Purpose != ToSign && link.Purpose != ToRead:
		return events.Refuse("purpose", string(link.Purpose), "use %s or %s", ToSign, ToRead)
	case !link.Expires.After(now) || link.Expires.After(now.Add(linkLasts)):
		return events.Refuse("expires", link.Expires.Format(time.RFC3339), "a time within the next 400 days")
	}
	return nil
}

// end returns when the link ended, or will.
func (l *Link) end() time.Time {
	if !l.Revoked.IsZero() {
		return l.Revoked
	}
	return l.Expires
}

// OfJob returns the links of a job, oldest first.
func (l *Links) OfJob(firm, job string) ([]Link, error) {
	all, err := l.list.Items()
	found := []Link{}
	for _, k := range all {
		if k.Firm == firm && k.Job == job {
			found = append(found, k.Link)
		}
	}
	return found, err
}

// Revoke takes a link back at once. Doing so again changes nothing. by is the name of who
// takes it back.
func (l *Links) Revoke(ctx context.Context, by, firm, job, id string) (Link, error) {
	var revoked Link
	err := l.list.Change(func(links []keptLink) ([]keptLink, error) {
		i := slices.IndexFunc(links, func(k keptLink) bool { return k.Firm == firm && k.Job == job && k.ID == id })
		if i < 0 {
			return nil, &events.Error{Code: events.NotFound, Field: "link", Value: fmt.Sprintf("%q", id),
				Rule: "the job has no link with this id"}
		}
		revoked = links[i].Link
		if !revoked.Revoked.IsZero() {
			return links, nil
		}
		revoked.Revoked = l.now().UTC().Truncate(time.Second)
		links[i].Link = revoked
		return links, l.auditor.Record(ctx, firm, by, revoked.change(events.LinkRevoked))
	})
	return revoked, err
}

// Standing says whether a link can be used.
type Standing string

// What [Links.Find] can say of a link.
const (
	Unknown Standing = "unknown"
	Holds   Standing = "holds"
	Ended   Standing = "ended"
	Revoked Standing = "revoked"
)

// Find returns the link of a secret and whether it can be used.
func (l *Links) Find(secret string) (Link, Standing, error) {
	all, err := l.list.Items()
	if err != nil {
		return Link{}, Unknown, err
	}
	i := find(all, secret)
	switch {
	case i < 0:
		return Link{}, Unknown, nil
	case !all[i].Revoked.IsZero():
		return all[i].Link, Revoked, nil
	case !l.now().Before(all[i].Expires):
		return all[i].Link, Ended, nil
	}
	return all[i].Link, Holds, nil
}

// find compares every link, each in constant time, so that the time taken says nothing
// about how near a guess came.
func find(links []keptLink, secret string) int {
	hash, found := []byte(hashOf(secret)), -1
	for i := range links {
		if subtle.ConstantTimeCompare([]byte(links[i].SHA256), hash) == 1 {
			found = i
		}
	}
	return found
}

func hashOf(secret string) string {
	sum := sha256.Sum256([]byte(secret))
	return hex.EncodeToString(sum[:])
}
