package signoff

import (
	"fmt"
	"regexp"
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"daysheet/events"
)

// Signing is what somebody signs. The id is made where it is signed, and is the same on
// every try, so that a lost answer leads to no second sign-off.
type Signing struct {
	ID      string   `json:"id" doc:"Made once where it is signed, the same on every try" pattern:"^[A-Za-z0-9._-]{8,64}$"`
	Name    string   `json:"name" doc:"Name of who signs" minLength:"1" maxLength:"120"`
	Role    string   `json:"role" doc:"In which role, for example owner or site manager" minLength:"1" maxLength:"120"`
	Remarks string   `json:"remarks,omitempty" doc:"Kept with the job for ever and not sealed: without personal data" maxLength:"2000"`
	Snags   []string `json:"snags,omitempty" doc:"Ids of the snags raised events that are open and agreed on" maxItems:"500"`
	Drawn   string   `json:"drawn,omitempty" doc:"The signature as strokes: M x y and L x y in whole numbers, in a field of 600 by 200" maxLength:"16000"`
	Typed   bool     `json:"typed,omitempty" doc:"True where the typed name is the signature"`
	Time    string   `json:"time,omitempty" doc:"When it was signed, as RFC 3339 with an offset; now if not given" maxLength:"35"`
}

// Signature is who signed, and how. It stands in the log sealed.
type Signature struct {
	Name  string `json:"name"`
	Drawn string `json:"drawn,omitempty"`
	Typed bool   `json:"typed,omitempty"`
}

// Bounds in bytes.
const (
	nameMax, remarksMax = 120, 2000
	drawnMax            = 16_000
)

// strokes is what a drawn signature is made of: nothing else gets into a page.
var strokes = regexp.MustCompile(`^(M\d{1,3} \d{1,3}(L\d{1,3} \d{1,3})*)+$`)

// check refuses the first member that is not what it should be. Members about which the
// event has rules are left to it.
func (s *Signing) check() error {
	s.Name, s.Role, s.Remarks = strings.TrimSpace(s.Name), strings.TrimSpace(s.Role), strings.TrimSpace(s.Remarks)
	for _, m := range []struct {
		field, value string
		most         int
		needed       bool
	}{{"name", s.Name, nameMax, true}, {"role", s.Role, nameMax, true}, {"remarks", s.Remarks, remarksMax, false}} {
		bad := func(r rune) bool { return unicode.IsControl(r) && r != '\n' && r != '\r' && r != '\t' }
		switch {
		case m.needed && m.value == "":
			return events.Refuse(m.field, m.value, "it must be given")
		case len(m.value) > m.most:
			return events.Refuse(m.field, m.value, "at most %d bytes", m.most)
		case !utf8.ValidString(m.value) || strings.ContainsFunc(m.value, bad):
			return events.Refuse(m.field, m.value, "text without control characters")
		}
	}
	switch {
	case s.Drawn == "" && !s.Typed:
		return events.Refuse("drawn", "", "draw a signature, or say that the typed name is the signature")
	case s.Drawn != "" && (len(s.Drawn) > drawnMax || !strokes.MatchString(s.Drawn)):
		return events.Refuse("drawn", s.Drawn, "strokes in at most %d bytes, made of M x y and L x y in whole numbers",
			drawnMax)
	}
	return nil
}

// signature returns what is sealed.
func (s *Signing) signature() Signature { return Signature{s.Name, s.Drawn, s.Typed} }

// signedAt returns when it was signed in words of the event. A clock that is wrong by
// more than a month, or ahead, is not believed.
func (s *Signing) signedAt(now time.Time) (string, error) {
	if s.Time == "" {
		return now.Format(time.RFC3339), nil
	}
	at, err := time.Parse(time.RFC3339, s.Time)
	if err != nil {
		return "", events.Refuse("time", s.Time, "when it was signed, as RFC 3339 with an offset")
	}
	const oldest, ahead = 31 * 24 * time.Hour, time.Hour
	if at.Before(now.Add(-oldest)) || at.After(now.Add(ahead)) {
		return now.Format(time.RFC3339), nil
	}
	return s.Time, nil
}

// says reports whether a recorded sign-off, opened, is what is signed now: the answer
// to it was lost, and it was sent again.
func (s *Signing) says(p *events.SignOff, opened Signature) bool {
	return opened == s.signature() && p.Role == s.Role && p.Remarks == s.Remarks && slices.Equal(p.Snags, s.Snags)
}

// another refuses an id that was used for something else.
func (s *Signing) another() error {
	return &events.Error{Code: events.Conflict, EventID: s.ID, Field: "id", Value: fmt.Sprintf("%q", s.ID),
		Rule: "something else was recorded under this id: reload the page and sign again"}
}
