package events

import (
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"
)

// happened makes an event of the job stairwell-7 with a short id, and requires
// that it can be true on its own.
func happened(tb testing.TB, id string, kind Type, payload Payload) Event {
	tb.Helper()
	data, err := json.Marshal(payload)
	if err != nil {
		tb.Fatal(err)
	}
	e := Event{ID: "tap-" + id, Source: "/phones/van-2", Type: kind, Subject: "stairwell-7",
		Time: "2026-03-04T16:20:00+01:00", Data: data}
	if kind.OfFirm() {
		e.Subject = FirmJob
	}
	if err := e.Validate(); err != nil {
		tb.Fatal(err)
	}
	return e
}

// journal is a job with its stored commits. Sequences are 10, 20, 30 and so on,
// since other jobs stand between.
type journal struct {
	*Job
	stored []Stored
}

func newJournal(key string) *journal { return &journal{Job: NewJob("north-light", key)} }

// record plans a submission and, where there is something new, applies the
// commit as it comes back from its stored bytes.
func (l *journal) record(tb testing.TB, submitted ...Event) ([]Receipt, error) {
	tb.Helper()
	fresh, receipts, err := l.Plan(submitted)
	if err != nil || len(fresh) == 0 {
		return receipts, err
	}
	c := Commit{Firm: l.Firm, Job: l.Key, Version: l.Version + 1, Previous: l.Head, RecordedBy: "van-2",
		RecordedAt: time.Date(2026, 3, 4, 15, 21, 0, 0, time.UTC), Events: fresh}
	raw, err := c.Encode()
	if err != nil {
		tb.Fatal(err)
	}
	read, err := DecodeCommit(raw)
	if err != nil {
		tb.Fatal(err)
	}
	s := Stored{Sequence: uint64(len(l.stored)+1) * 10, Raw: raw}
	if err := l.Apply(read, s.Sequence, raw); err != nil {
		tb.Fatalf("the commit was planned and cannot be applied: %v", err)
	}
	l.stored = append(l.stored, s)
	return receipts, nil
}

// replay folds the stored commits into a new job.
func (l *journal) replay(tb testing.TB) *Job {
	tb.Helper()
	j := NewJob(l.Firm, l.Key)
	for _, s := range l.stored {
		c, err := DecodeCommit(s.Raw)
		if err != nil {
			tb.Fatal(err)
		}
		if err := j.Apply(c, s.Sequence, s.Raw); err != nil {
			tb.Fatal(err)
		}
	}
	return j
}

// story is one event of each kind that a job can meet, by a short name.
func story(tb testing.TB) map[string]Event {
	tb.Helper()
	events := map[string]Event{}
	add := func(id string, kind Type, payload Payload) { events[id] = happened(tb, id, kind, payload) }
	void := func(id string) { add("void-"+id, EventVoided, &Void{Event: "tap-" + id, Reason: "a mistake"}) }

	add("open", JobOpened, &Opening{JobType: "stairwell-joinery", Title: "Stairwell"})
	add("reopen-by-opening", JobOpened, &Opening{JobType: "stairwell-joinery", Title: "Stairwell, two floors"})
	lines := []EstimateLine{{Task: "coat", Minutes: 60}}
	for _, id := range []string{"estimate", "estimate-2"} {
		add(id, EstimateIssued, &Estimate{Lines: lines, PriceE4: 1})
	}
	add("accept", EstimateAccepted, &Acceptance{Estimate: "tap-estimate"})
	add("accept-2", EstimateAccepted, &Acceptance{Estimate: "tap-estimate-2"})
	add("vary", VariationAgreed, &Variation{Reason: "more"})
	add("condition", ConditionRecorded, &Condition{Location: "hall", Finding: "sound"})
	add("hours", HoursBooked, &Hours{Person: "anna", Task: "sand", Minutes: 60})
	add("sanded", SurfacePrepared, &Preparation{Task: "sand", QuantityMilli: 1000, Unit: SquareMetre})
	add("coated", CoatApplied, &Coat{Task: "coat", Coat: 1, QuantityMilli: 1000, Unit: SquareMetre})
	add("used", MaterialUsed, &Usage{Product: "filler", QuantityMilli: 1000, Unit: Kilogram})
	add("returned", MaterialReturned, &Return{Product: "filler", QuantityMilli: 1000, Unit: Kilogram})
	for _, id := range []string{"laid", "laid-2"} {
		add(id, ProtectionLaid, &Protection{Task: "protect-floor", QuantityMilli: 5000, Unit: SquareMetre})
	}
	add("checked", ProtectionChecked, &ProtectionCheck{Laid: "tap-laid", Finding: "sound", Sound: true})
	add("lift-2m2", ProtectionLifted, &Lifting{Laid: "tap-laid", QuantityMilli: 2000})
	add("lift-4m2", ProtectionLifted, &Lifting{Laid: "tap-laid", QuantityMilli: 4000})
	add("lift-rest", ProtectionLifted, &Lifting{Laid: "tap-laid"})
	add("damage", DamageFound, &Damage{Location: "hall", Item: "switch", Finding: "paint", Cause: "ours"})
	add("good", DamageMadeGood, &MakingGood{Damage: "tap-damage", Work: "changed"})
	add("snag", SnagRaised, &Snag{Location: "hall", Finding: "mark", RaisedBy: "firm"})
	add("clear", SnagCleared, &SnagClearance{Snag: "tap-snag"})
	photo := strings.Repeat("0", 64)
	add("photo", PhotoAttached, &Photo{Photo: photo})
	add("note", NoteAdded, &Note{Text: "The key is with the neighbour"})
	add("note-of-hours", NoteAdded, &Note{Text: "Half of it was waiting", Of: "tap-hours"})
	add("photo-of-hours", PhotoAttached, &Photo{Photo: photo, Of: "tap-hours"})
	add("lift-hours", ProtectionLifted, &Lifting{Laid: "tap-hours"})
	for _, id := range []string{"sign", "sign-2"} {
		add(id, JobSignedOff, &SignOff{Role: "owner"})
	}
	add("close", JobClosed, &Closing{})
	for _, id := range []string{"reopen", "reopen-2"} {
		add(id, JobReopened, &Reopening{Reason: "more"})
	}
	for _, id := range slices.Collect(maps.Keys(events)) {
		void(id)
	}
	add("void-void-hours", EventVoided, &Void{Event: "tap-void-hours", Reason: "a mistake"})
	add("void-hours-again", EventVoided, &Void{Event: "tap-hours", Reason: "a mistake"})
	add("void-itself", EventVoided, &Void{Event: "tap-void-itself", Reason: "a mistake"})
	return events
}

func TestRefusalsOfJobsHaveCodesAndNameTheEvent(t *testing.T) {
	all := story(t)
	other := all["hours"]
	other.Time = "2026-03-04T16:21:00+01:00"
	elsewhere := all["hours"]
	elsewhere.Subject = "stairwell-8"
	unwritable := all["hours"]
	unwritable.Data = json.RawMessage(`{`)
	for _, test := range []struct {
		history   []Event
		submitted Event
		code      Code
		field     string
	}{
		{nil, all["hours"], NotFound, "subject"},
		{[]Event{all["open"]}, all["lift-rest"], Invalid, "data.laid"},
		{[]Event{all["open"], all["hours"]}, other, Conflict, "id"},
		{[]Event{all["open"]}, elsewhere, Invalid, "subject"},
		{[]Event{all["open"]}, unwritable, Invalid, ""},
	} {
		l := newJournal("stairwell-7")
		for _, e := range test.history {
			if _, err := l.record(t, e); err != nil {
				t.Fatal(err)
			}
		}
		_, err := l.record(t, test.submitted)
		var refusal *Error
		if !errors.As(err, &refusal) {
			t.Errorf("%s: got %v", test.submitted.ID, err)
			continue
		}
		if refusal.Code != test.code || refusal.Field != test.field || refusal.EventID != test.submitted.ID {
			t.Errorf("%s: got %+v, want %s of %q", test.submitted.ID, refusal, test.code, test.field)
		}
	}
}

// TestNothingIsCountedTwice sends events again: alone, with others, within one
// submission, and with other content.
func TestNothingIsCountedTwice(t *testing.T) {
	all := story(t)
	l := newJournal("stairwell-7")
	if _, err := l.record(t, all["open"], all["hours"]); err != nil {
		t.Fatal(err)
	}
	again := all["hours"] // the same content, written in another way
	again.Data = json.RawMessage(` { "task":"s\u0061nd", "minutes":60, "person":"anna" } `)
	other := all["hours"]
	other.Source = "/phones/van-3"

	fresh, receipts, err := l.Plan([]Event{all["sanded"], again, all["sanded"], all["open"]})
	want := []Receipt{
		{ID: "tap-sanded", Job: "stairwell-7"},
		{ID: "tap-hours", Job: "stairwell-7", Sequence: 10, Duplicate: true},
		{ID: "tap-sanded", Job: "stairwell-7", Duplicate: true}, // its sequence is not known yet
		{ID: "tap-open", Job: "stairwell-7", Sequence: 10, Duplicate: true},
	}
	if err != nil || len(fresh) != 1 || fresh[0].ID != "tap-sanded" || !reflect.DeepEqual(receipts, want) {
		t.Errorf("planned %v with %+v, %v; want %+v", fresh, receipts, err, want)
	}
	for name, submitted := range map[string][]Event{
		"other content":                          {other},
		"other content after something new":      {all["sanded"], other},
		"other content within one submission":    {all["coated"], change(all["coated"], "/phones/van-3")},
		"a refusal after something that is true": {all["sanded"], all["lift-rest"]},
	} {
		if fresh, receipts, err := l.Plan(submitted); err == nil || fresh != nil || receipts != nil {
			t.Errorf("%s: planned %v, %v", name, fresh, receipts)
		}
	}
	if _, err := l.record(t, all["void-hours"]); err != nil {
		t.Fatal(err)
	}
	// A voided event stays recorded: its retry is a duplicate, not new work.
	if receipts, err := l.record(t, again); err != nil || receipts[0] != want[1] {
		t.Errorf("sent again after its void: %+v, %v", receipts, err)
	}
	if got := l.State(); got != Opened {
		t.Errorf("the state is %s", got)
	}
	if sequence, ok := l.Recorded("tap-void-hours"); !ok || sequence != 20 {
		t.Errorf("the void was recorded under %d, %t", sequence, ok)
	}
	if sequence, ok := l.Recorded("tap-sanded"); ok || sequence != 0 {
		t.Errorf("what was only planned is recorded under %d", sequence)
	}
}

func change(e Event, source string) Event { e.Source = source; return e }

func TestBrokenChainsAreNamed(t *testing.T) {
	all := story(t)
	l := newJournal("stairwell-7")
	for _, name := range []string{"open", "hours", "sanded"} {
		if _, err := l.record(t, all[name]); err != nil {
			t.Fatal(err)
		}
	}
	for _, test := range []struct {
		name   string
		change func(*Commit)
		want   string
	}{
		{"a commit left out", func(c *Commit) { c.Version = 5 },
			"sequence 40: commit 5 of job stairwell-7 does not follow commit 3: the chain is broken"},
		{"a commit that comes twice", func(c *Commit) { c.Version = 3 }, "commit 3 of job stairwell-7 does not follow commit 3"},
		{"another commit before it", func(c *Commit) { c.Previous = Hash([]byte("another")) }, "the chain is broken"},
		{"another job", func(c *Commit) { c.Job = "stairwell-8" }, "commit of north-light/stairwell-8 applied to north-light/stairwell-7"},
		{"another firm", func(c *Commit) { c.Firm = "south-light" }, "commit of south-light/stairwell-7 applied to"},
		{"an event of another job", func(c *Commit) { c.Events[0].Subject = "stairwell-8" },
			"sequence 40: event tap-coated: subject is \"stairwell-8\": the event belongs to another job"},
		{"an event of the future", func(c *Commit) { c.Events[0].Type = "daysheet.coat.applied.v2" },
			`sequence 40: event tap-coated: unknown type "daysheet.coat.applied.v2"`},
		{"an event that is there", func(c *Commit) { c.Events[0] = all["hours"] },
			"sequence 40: event tap-hours: it was recorded before, in sequence 20"},
		{"an event that cannot be true", func(c *Commit) { c.Events[0] = all["lift-rest"] },
			"sequence 40: event tap-lift-rest: data.laid"},
		{"an event that cannot be read", func(c *Commit) { c.Events[0].Data = json.RawMessage(`{"coat":"first"}`) },
			"sequence 40: event tap-coated: data.coat is \"first\""},
	} {
		j := l.replay(t)
		c := Commit{Firm: "north-light", Job: "stairwell-7", Version: 4, Previous: j.Head, Events: []Event{all["coated"]}}
		test.change(&c)
		err := j.Apply(&c, 40, []byte("raw"))
		if !strings.Contains(fmt.Sprint(err), test.want) {
			t.Errorf("%s: got %v, want %q", test.name, err, test.want)
		}
		if CodeOf(err) != Internal {
			t.Errorf("%s: the code is %q: a damaged log is not the fault of who reads it", test.name, CodeOf(err))
		}
	}
}

// TestFirmsOwnJob folds a firm's own events as a job.
func TestFirmsOwnJob(t *testing.T) {
	product := happened(t, "product", ProductListed, &Product{Product: "tape", Name: "Tape", Unit: Roll})
	bought := happened(t, "bought", MaterialPurchased, &Purchase{Product: "tape", QuantityMilli: 1000, Unit: Roll})
	void := func(id string) Event {
		e := happened(t, "void-"+id, EventVoided, &Void{Event: "tap-" + id, Reason: "a mistake"})
		e.Subject = FirmJob
		return e
	}
	l := newJournal(FirmJob)
	if _, err := l.record(t, product, bought); err != nil {
		t.Fatalf("a firm needs no opening: %v", err)
	}
	if _, err := l.record(t, void("bought")); err != nil {
		t.Error(err)
	}
	if _, err := l.record(t, void("product")); !strings.Contains(fmt.Sprint(err), "cannot be taken back: record it again") {
		t.Errorf("void of a product: %v", err)
	}
	if got := l.State(); got != "" {
		t.Errorf("the firm is %s", got)
	}
}
