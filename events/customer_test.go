package events

import (
	"slices"
	"strings"
	"testing"
)

func customerEvents(t *testing.T) (record func(id, customer, box string) Event, erase func(id, customer string) Event) {
	t.Helper()
	record = func(id, customer, box string) Event {
		return happened(t, "customer-"+id, CustomerRecorded, &CustomerRecord{Customer: customer,
			Sealed: Sealed{SealedAES256GCM, "0f1e2d3c4b5a6978", strings.Repeat(box, 40)}})
	}
	erase = func(id, customer string) Event {
		return happened(t, "customer-"+id, CustomerErased, &CustomerErasure{Customer: customer, Reason: "asked for", Day: "2026-09-14"})
	}
	return record, erase
}

func TestCustomersOfAFirm(t *testing.T) {
	record, erase := customerEvents(t)
	f := firmWith(t, record("a-1", "c-1", "a"), record("b-1", "c-2", "b"), record("a-2", "c-1", "c"), erase("gone", "c-2"),
		erase("never", "c-3"))
	c, ok := f.Customer("c-1")
	if !ok || c.Event != "tap-customer-a-2" || c.Sealed.Box != strings.Repeat("c", 40) || c.Erased != "" || c.Recorded == "" {
		t.Errorf("c-1 is %+v", c)
	}
	if c, _ := f.Customer("c-2"); c.Erased != "2026-09-14" || c.Reason != "asked for" || c.Event != "tap-customer-b-1" {
		t.Errorf("c-2 is %+v", c)
	}
	if c, ok := f.Customer("c-3"); !ok || c.Erased == "" || c.Event != "" {
		t.Errorf("c-3 is %+v", c)
	}
	if c, ok := f.Customer("c-4"); ok {
		t.Errorf("c-4 is %+v", c)
	}
	var keys []string
	for _, c := range f.Customers() {
		keys = append(keys, c.Customer)
	}
	slices.Sort(keys)
	if !slices.Equal(keys, []string{"c-1", "c-2", "c-3"}) {
		t.Errorf("customers %v", keys)
	}
}

// TestAnErasureIsFinal: nothing is recorded of the customer afterwards, in the same
// submission or a later one, and the erasure cannot be taken back.
func TestAnErasureIsFinal(t *testing.T) {
	record, erase := customerEvents(t)
	j := NewJob("north-light", FirmJob)
	apply := func(version uint64, recorded ...Event) {
		t.Helper()
		c := &Commit{Firm: "north-light", Job: FirmJob, Version: version, Previous: j.Head, Events: recorded}
		if err := j.Apply(c, version, []byte{byte(version)}); err != nil {
			t.Fatal(err)
		}
	}
	refused := func(code Code, rule string, submitted ...Event) {
		t.Helper()
		if _, _, err := j.Plan(submitted); CodeOf(err) != code || !strings.Contains(err.Error(), rule) {
			t.Errorf("got %v, want %s with %q", err, code, rule)
		}
	}
	refused(Conflict, "was erased", erase("one", "c-1"), record("two", "c-1", "a"))
	if _, _, err := j.Plan([]Event{record("two", "c-1", "a")}); err != nil {
		t.Errorf("a submission that was refused left something behind: %v", err)
	}
	apply(1, record("first", "c-1", "a"), record("other", "c-2", "b"))
	apply(2, erase("gone", "c-1"))
	refused(Conflict, "under a new key", record("again", "c-1", "a"))
	refused(Conflict, "was erased", erase("again", "c-1"))
	void := func(id string) Event {
		e := happened(t, "void-"+id, EventVoided, &Void{Event: "tap-customer-" + id, Reason: "a mistake"})
		e.Subject = FirmJob
		return e
	}
	refused(Invalid, "the key of the customer is destroyed", void("gone"))
	refused(Invalid, "record it again as it should be", void("first"))
	if _, receipts, err := j.Plan([]Event{erase("gone", "c-1"), record("more", "c-2", "d")}); err != nil || !receipts[0].Duplicate {
		t.Errorf("a retry, and another customer: %v, %v", receipts, err)
	}
}

func TestWhatIsSealedSaysWhose(t *testing.T) {
	e := golden(t, JobSignedOff)
	refused(t, with(t, e, "customer", absent), "data.customer", "say whose")
	bare := with(t, e, "sealed", absent)
	refused(t, bare, "data.sealed", "leave the customer out")
	if bare = with(t, bare, "customer", absent); bare.Validate() != nil {
		t.Errorf("a sign-off as they were before: %v", bare.Validate())
	}
}
