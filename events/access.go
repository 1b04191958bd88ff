package events

import (
	"fmt"
	"time"
)

// AccessChange says that somebody's access to the ledger changed, or was used in a way
// that the owner should know of. The ledger alone records it, before it makes the change.
// It holds no secret, no hash of one and no link.
type AccessChange struct {
	What    string   `json:"what" doc:"What happened" enum:"person-added,role-changed,person-locked,person-unlocked,person-removed,password-changed,password-reset,token-made,token-revoked,phone-paired,phone-revoked,link-made,link-revoked,sign-in-link-used,locked-out"`
	Name    string   `json:"name" doc:"Name of the person, token or phone, as the firm lists it; of a link its id" minLength:"1" maxLength:"240"`
	Role    string   `json:"role,omitempty" doc:"Role of the person from then on" enum:"owner,office,crew,reader"`
	Scopes  []string `json:"scopes,omitempty" doc:"What a token lets its holder do" enum:"read,record,admin" maxItems:"500"`
	Job     string   `json:"job,omitempty" doc:"Job that a link opens"`
	Purpose string   `json:"purpose,omitempty" doc:"What a link is good for" enum:"sign-off,read"`
	Expires string   `json:"expires,omitempty" doc:"When a token or link ends by itself, in UTC; none where it does not" pattern:"^[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}Z$"`
}

// What an [AccessChange] can be.
const (
	PersonAdded     = "person-added"
	RoleChanged     = "role-changed"
	PersonLocked    = "person-locked"
	PersonUnlocked  = "person-unlocked"
	PersonRemoved   = "person-removed"
	PasswordChanged = "password-changed" // by the person
	PasswordReset   = "password-reset"   // by somebody else
	TokenMade       = "token-made"
	TokenRevoked    = "token-revoked"
	PhonePaired     = "phone-paired"
	PhoneRevoked    = "phone-revoked"
	LinkMade        = "link-made"
	LinkRevoked     = "link-revoked"
	SignInLinkUsed  = "sign-in-link-used"
	LockedOut       = "locked-out" // too many tries with a wrong password
)

// accessNameMax is 60 characters in the longest form they have in UTF-8.
const accessNameMax = 240

// accessEnd is how the end of an access is written.
const accessEnd = "2006-01-02T15:04:05Z"

// AccessEnd writes when an access ends by itself; empty for the zero time, which is never.
func AccessEnd(at time.Time) string {
	if at.IsZero() {
		return ""
	}
	return at.UTC().Format(accessEnd)
}

func (a *AccessChange) check(c *checker) {
	c.oneOf("what", a.What, PersonAdded, RoleChanged, PersonLocked, PersonUnlocked, PersonRemoved, PasswordChanged,
		PasswordReset, TokenMade, TokenRevoked, PhonePaired, PhoneRevoked, LinkMade, LinkRevoked, SignInLinkUsed, LockedOut)
	c.text("name", a.Name, accessNameMax)
	if a.Role != "" {
		c.oneOf("role", a.Role, "owner", "office", "crew", "reader")
	}
	c.list("scopes", len(a.Scopes), 0)
	for i, s := range a.Scopes {
		c.oneOf(fmt.Sprintf("scopes[%d]", i), s, "read", "record", "admin")
	}
	c.optionalToken("job", a.Job)
	if a.Purpose != "" {
		c.oneOf("purpose", a.Purpose, "sign-off", "read")
	}
	if a.Expires != "" {
		if _, err := time.Parse(accessEnd, a.Expires); err != nil {
			c.refuse("expires", a.Expires, "a time in UTC as YYYY-MM-DDThh:mm:ssZ")
		}
	}
}
