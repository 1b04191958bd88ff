package signoff

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"daysheet/events"
)

func must(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// clock stands still until it is moved.
type clock struct{ at time.Time }

func (c *clock) now() time.Time { return c.at }

func newLinks(t *testing.T) (*Links, *clock) {
	t.Helper()
	c := &clock{time.Date(2026, 6, 30, 12, 0, 0, 0, time.UTC)}
	l, err := OpenLinks(filepath.Join(t.TempDir(), "links.json"), c.now)
	must(t, err)
	return l, c
}

func TestLinksEndAndAreTakenBack(t *testing.T) {
	l, c := newLinks(t)
	want := func(secret string, standing Standing) {
		t.Helper()
		again, err := OpenLinks(l.list.Path(), c.now) // another process
		must(t, err)
		for _, links := range []*Links{l, again} {
			if _, got, err := links.Find(secret); err != nil || got != standing {
				t.Errorf("the link is %s, %v; want %s", got, err, standing)
			}
		}
	}
	made, secret, err := l.Add(t.Context(), Link{Firm: "north", Job: "stair-1", Purpose: ToSign, CreatedBy: "office",
		Expires: c.at.Add(time.Hour)})
	must(t, err)
	if len(secret) != 43 { // 32 bytes in base64: 256 bits
		t.Errorf("the secret has %d characters", len(secret))
	}
	raw, err := os.ReadFile(l.list.Path())
	must(t, err)
	if strings.Contains(string(raw), secret) {
		t.Error("the file holds the secret")
	}
	want(secret, Holds)
	for i := range secret {
		other := secret[:i] + string(secret[i]^1) + secret[i+1:]
		if _, got, _ := l.Find(other); got != Unknown {
			t.Errorf("a secret that differs in character %d is %s", i, got)
		}
	}
	for _, guess := range []string{"", "x", secret[:42], secret + "A", made.ID, hashOf(secret)} {
		want(guess, Unknown)
	}
	copied, err := l.Copy(t.Context(), made, secret, "event-0001")
	must(t, err)
	again, err := l.Copy(t.Context(), made, secret, "event-0001")
	must(t, err)
	other, err := l.Copy(t.Context(), made, secret, "event-0002")
	must(t, err)
	if copied != again || copied == other || copied == secret {
		t.Errorf("copies %s, %s, %s", copied, again, other)
	}
	c.at = c.at.Add(time.Hour)
	want(secret, Ended)
	want(copied, Holds)
	read, _, err := l.Find(copied)
	must(t, err)
	if read.Purpose != ToRead || read.Job != "stair-1" || read.Firm != "north" {
		t.Errorf("the copy is %+v", read)
	}
	for _, id := range []struct{ firm, job, id string }{{"south", "stair-1", read.ID}, {"north", "stair-2", read.ID},
		{"north", "stair-1", "0"}} {
		if _, err := l.Revoke(t.Context(), "office", id.firm, id.job, id.id); events.CodeOf(err) != events.NotFound {
			t.Errorf("%+v was taken back: %v", id, err)
		}
	}
	_, err = l.Revoke(t.Context(), "office", "north", "stair-1", read.ID)
	must(t, err)
	want(copied, Revoked)
	want(other, Holds)
	if list, err := l.OfJob("north", "stair-1"); err != nil || len(list) != 3 {
		t.Errorf("links %v, %v", list, err)
	}
	c.at = c.at.Add(linkKept + time.Hour)
	_, _, err = l.Add(t.Context(), Link{Firm: "north", Job: "stair-1", Purpose: ToRead, Expires: c.at.Add(time.Hour)})
	must(t, err)
	want(secret, Unknown) // its end is long ago
}

func TestLinkRefusals(t *testing.T) {
	l, c := newLinks(t)
	good := Link{Firm: "north", Job: "stair-1", Purpose: ToSign, Expires: c.at.Add(time.Hour)}
	for name, change := range map[string]func(*Link){
		"firm": func(l *Link) { l.Firm = "North" }, "job": func(l *Link) { l.Job = "../x" },
		"the firm's own job": func(l *Link) { l.Job = events.FirmJob }, "purpose": func(l *Link) { l.Purpose = "admin" },
		"ended": func(l *Link) { l.Expires = c.at }, "for ever": func(l *Link) { l.Expires = c.at.AddDate(2, 0, 0) },
		"no end": func(l *Link) { l.Expires = time.Time{} },
	} {
		link := good
		change(&link)
		if _, _, err := l.Add(t.Context(), link); events.CodeOf(err) != events.Invalid {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := os.Stat(l.list.Path()); !os.IsNotExist(err) {
		t.Errorf("what was refused made a file: %v", err)
	}
}

func TestSigningRules(t *testing.T) {
	good := Signing{ID: "signing-0001", Name: "Iris", Role: "owner", Drawn: "M1 2L3 4L600 200M0 0"}
	must(t, good.check())
	for name, change := range map[string]func(*Signing){
		"name": func(s *Signing) { s.Name = " " }, "role": func(s *Signing) { s.Role = "" },
		"long name": func(s *Signing) { s.Name = strings.Repeat("x", 121) },
		"control":   func(s *Signing) { s.Remarks = "a\x1b[2J" },
		"neither":   func(s *Signing) { s.Drawn = "" }, "no strokes": func(s *Signing) { s.Drawn = "hello" },
		"markup":      func(s *Signing) { s.Drawn = `M1 2"><script>` },
		"curves":      func(s *Signing) { s.Drawn = "M1 2C3 4 5 6 7 8" },
		"long number": func(s *Signing) { s.Drawn = "M1 2L3 4000" },
		"newline":     func(s *Signing) { s.Drawn = "M1 2\n" },
		"too long":    func(s *Signing) { s.Drawn = "M1 2" + strings.Repeat("L10 10", 3000) },
	} {
		s := good
		change(&s)
		if err := s.check(); events.CodeOf(err) != events.Invalid {
			t.Errorf("%s: %v", name, err)
		}
	}
	now := time.Date(2026, 6, 30, 12, 0, 0, 0, time.UTC)
	for given, want := range map[string]string{
		"": "2026-06-30T12:00:00Z", "2026-06-29T18:00:00+02:00": "2026-06-29T18:00:00+02:00",
		"2026-01-01T00:00:00Z": "2026-06-30T12:00:00Z", "2027-01-01T00:00:00Z": "2026-06-30T12:00:00Z",
	} {
		s := Signing{Time: given}
		if got, err := s.signedAt(now); err != nil || got != want {
			t.Errorf("signed at %q is %q, %v; want %q", given, got, err, want)
		}
	}
}

// TestLinksThatCannotBeRecorded: where the log does not take it, no link is made or taken
// back.
func TestLinksThatCannotBeRecorded(t *testing.T) {
	l, c := newLinks(t)
	link := Link{Firm: "north", Job: "stair-1", Purpose: ToSign, CreatedBy: "office", Expires: c.at.Add(time.Hour)}
	made, secret, err := l.Add(t.Context(), link)
	must(t, err)
	l.Audit(func(context.Context, string, string, events.AccessChange) error {
		return &events.Error{Code: events.Unavailable, Rule: "the log cannot answer now"}
	})
	if _, _, err := l.Add(t.Context(), link); events.CodeOf(err) != events.Unavailable {
		t.Errorf("making gives %v", err)
	}
	if _, err := l.Revoke(t.Context(), "office", "north", "stair-1", made.ID); events.CodeOf(err) != events.Unavailable {
		t.Errorf("taking back gives %v", err)
	}
	if list, err := l.OfJob("north", "stair-1"); err != nil || len(list) != 1 {
		t.Errorf("links %v, %v", list, err)
	}
	if _, standing, err := l.Find(secret); err != nil || standing != Holds {
		t.Errorf("the link is %s, %v", standing, err)
	}
}
