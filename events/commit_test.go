package events

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"
)

// TestGoldenCommit holds the stored form of a commit for ever: the hash chain of
// every job stands on these bytes. The content is invented.
func TestGoldenCommit(t *testing.T) {
	const hash = "ce307664987655627ac38ff8ce46a2adbdb1071aec3a3340ebca1c0db36b0577"
	raw, err := os.ReadFile(filepath.Join("testdata", "commit-v1.json"))
	if err != nil {
		t.Fatal(err)
	}
	if got := Hash(raw); got != hash {
		t.Fatalf("the hash is %s, want %s", got, hash)
	}
	c, err := DecodeCommit(raw)
	if err != nil {
		t.Fatal(err)
	}
	again, err := c.Encode()
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(again, raw) {
		t.Errorf("encoded again it is\n%s\nwant\n%s", again, raw)
	}
	if c.Firm != "north-light" || c.Job != "stairwell-7" || c.Version != 2 || c.RecordedBy != `van "2"` ||
		!c.RecordedAt.Equal(time.Date(2026, 3, 4, 15, 20, 1, 230_000_000, time.UTC)) || len(c.Events) != 3 {
		t.Errorf("read %+v", c)
	}
}

func TestHash(t *testing.T) {
	// SHA-256 of "abc": FIPS 180-4, the one-block example.
	if got := Hash([]byte("abc")); got != "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad" {
		t.Errorf("the hash of abc is %s", got)
	}
}

// TestCommitsRoundTrip encodes every golden event in one commit.
func TestCommitsRoundTrip(t *testing.T) {
	c := Commit{Firm: "north-light", Job: "stairwell-7", Version: 1<<53 - 1, Previous: Hash(nil), RecordedBy: "van-2\n",
		RecordedAt: time.Date(2026, 3, 4, 16, 20, 1, 999_999_999, time.FixedZone("", 3600))}
	for _, kind := range Types() {
		c.Events = append(c.Events, golden(t, kind))
	}
	raw, err := c.Encode()
	if err != nil {
		t.Fatal(err)
	}
	if canonical, err := Canonical(raw); err != nil || !bytes.Equal(canonical, raw) {
		t.Errorf("the stored form is not canonical (%v):\n%s", err, raw)
	}
	read, err := DecodeCommit(raw)
	if err != nil {
		t.Fatal(err)
	}
	again, err := read.Encode()
	if err != nil || !bytes.Equal(again, raw) {
		t.Errorf("encoded again it is %s, %v", again, err)
	}
	if want := time.Date(2026, 3, 4, 15, 20, 1, 999_000_000, time.UTC); !read.RecordedAt.Equal(want) || read.Version != c.Version {
		t.Errorf("read version %d of %s", read.Version, read.RecordedAt)
	}
	clear(raw) // a commit keeps nothing of the bytes it was read from
	if after, err := read.Encode(); err != nil || !bytes.Equal(after, again) {
		t.Errorf("the commit became %s, %v", after, err)
	}
	second, err := DecodeCommit(again)
	if err != nil || !reflect.DeepEqual(second, read) {
		t.Errorf("read again it is %+v, %v", second, err)
	}
}

func TestCommitsThatCannotBeEncoded(t *testing.T) {
	good := func() *Commit {
		return &Commit{Firm: "north-light", Job: "stairwell-7", Version: 1, Events: []Event{golden(t, JobOpened)}}
	}
	for name, change := range map[string]func(*Commit){
		"a name that is not UTF-8": func(c *Commit) { c.RecordedBy = "\xff" },
		"a year of five digits":    func(c *Commit) { c.RecordedAt = time.Date(10_000, 1, 1, 0, 0, 0, 0, time.UTC) },
		"data that is not JSON":    func(c *Commit) { c.Events[0].Data = []byte("{") },
	} {
		c := good()
		if _, err := c.Encode(); err != nil {
			t.Fatal(err)
		}
		change(c)
		if raw, err := c.Encode(); err == nil {
			t.Errorf("%s: encoded as %s", name, raw)
		}
	}
}

func TestDecodeCommitRefuses(t *testing.T) {
	raw, err := os.ReadFile(filepath.Join("testdata", "commit-v1.json"))
	if err != nil {
		t.Fatal(err)
	}
	whole := string(raw)
	previous := whole[strings.Index(whole, `"previous":"`)+12:][:64]
	events := whole[strings.Index(whole, `[`) : strings.Index(whole, `],"firm"`)+1]
	for _, test := range []struct{ name, old, new, want string }{
		{"nothing", whole, "", "the text ends where an object is needed"},
		{"a list", whole, "[]", "an object is needed"},
		{"half of it", whole[len(whole)/2:], "", "not valid JSON"},
		{"something behind it", `"version":2}`, `"version":2}{}`, "the end is needed"},
		{"a member nobody knows", `"version":2`, `"version":2,"zone":1`, `member "zone" does not belong here`},
		{"a member missing", `"recorded_by":"van \"2\"",`, ``, `member "version" does not belong here`},
		{"the last member missing", `,"version":2`, ``, `member "version" is missing`},
		{"a member twice", `"version":2`, `"version":2,"version":3`, `member "version" does not belong here`},
		{"another order", `"firm":"north-light","job":"stairwell-7"`, `"job":"stairwell-7","firm":"north-light"`,
			`member "job" does not belong here`},
		{"another case", `"firm"`, `"Firm"`, `member "Firm" does not belong here`},
		{"no events", events, `[]`, "no events"},
		{"events of null", events, `null`, "a list is needed"},
		{"an event that is none", events, `[1]`, "events[0]: an event is a JSON object"},
		{"an event of another standard", `"specversion":"1.0"`, `"specversion":"0.3"`, "events[0].specversion"},
		{"a firm that is no key", `"north-light"`, `"North Light"`, `firm "North Light"`},
		{"a firm of null", `"north-light"`, `null`, "a text in quotes is needed"},
		{"a job that is no key", `"job":"stairwell-7"`, `"job":""`, `job ""`},
		{"version 0", `"version":2`, `"version":0`, "version 0 with previous"},
		{"version 1 with a commit before it", `"version":2`, `"version":1`, "version 1 with previous"},
		{"version 2 without", previous, ``, `version 2 with previous ""`},
		{"a version in quotes", `"version":2`, `"version":"2"`, "a value is needed"},
		{"half a version", `"version":2`, `"version":2.5`, "invalid syntax"},
		{"a version below 0", `"version":2`, `"version":-2`, "invalid syntax"},
		{"no time", `"2026-03-04T15:20:01.23Z"`, `""`, "parsing time"},
		{"not UTF-8", "north", "n\xffrth", "not UTF-8"},
	} {
		changed := strings.Replace(whole, test.old, test.new, 1)
		if changed == whole {
			t.Fatalf("%s: %q is not in the golden commit", test.name, test.old)
		}
		c, err := DecodeCommit([]byte(changed))
		if err == nil || !strings.Contains(err.Error(), test.want) || !strings.HasPrefix(err.Error(), "read commit") {
			t.Errorf("%s: got %v, %v, want %q", test.name, c, err, test.want)
		}
		if CodeOf(err) != Internal {
			t.Errorf("%s: the code is %q: a damaged log is not the fault of who reads it", test.name, CodeOf(err))
		}
	}
}

func TestErrors(t *testing.T) {
	for _, test := range []struct {
		err  error
		code Code
		text string
	}{
		{nil, "", "<nil>"},
		{fmt.Errorf("disk full"), Internal, "disk full"},
		{fmt.Errorf("record: %w", &Error{Code: Conflict, Rule: "the job moved on"}), Conflict, "record: the job moved on"},
		{Refuse("data.minutes", -3, "at least %d", 1), Invalid, "data.minutes is -3: at least 1"},
		{Refuse("data.title", "a\n", "one line"), Invalid, `data.title is "a\n": one line`},
		{Refuse("data.title", strings.Repeat("é", 60), "short"), Invalid, `data.title is "` + strings.Repeat("é", 39) + `…: short`},
		{Refuse("data", nil, "missing"), Invalid, "data: missing"},
		{&Error{Code: NotFound, EventID: "tap-0001", Field: "subject", Value: `"x"`, Rule: "no such job"}, NotFound,
			`event tap-0001: subject is "x": no such job`},
	} {
		if got := CodeOf(test.err); got != test.code {
			t.Errorf("the code of %v is %q, want %q", test.err, got, test.code)
		}
		if got := fmt.Sprint(test.err); got != test.text {
			t.Errorf("got %s, want %s", got, test.text)
		}
	}
}
