package events

import (
	"cmp"
	"fmt"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"
)

// TestRandomJobs plays random submissions, true and untrue, and holds the laws
// of the fold after each: planning changes nothing, what was planned can be
// applied, a replay gives the same job, and the state is what the live events
// say.
func TestRandomJobs(t *testing.T) {
	const seed, jobs, submissions = 20260304, 60, 60
	planned, refusals := 0, 0
	for n := range jobs {
		r := rand.New(rand.NewPCG(seed, uint64(n)))
		l := newJournal("stairwell-7")
		for step := range submissions {
			at := fmt.Sprintf("seed %d, job %d, submission %d", seed, n, step)
			submitted := randomSubmission(t, r, l, step)
			shadow := l.replay(t)
			fresh, receipts, err := l.Plan(submitted)
			if !reflect.DeepEqual(shadow, l.Job) {
				t.Fatalf("%s: planning changed the job", at)
			}
			if err != nil {
				refusals++
				if code := CodeOf(err); code == Internal || code == "" {
					t.Fatalf("%s: %v", at, err)
				}
				continue
			}
			planned++
			requireReceipts(t, at, l, submitted, fresh, receipts)
			if _, err := l.record(t, submitted...); err != nil {
				t.Fatalf("%s: %v", at, err)
			}
			if got, want := l.State(), stateOfLiveEvents(t, l); got != want {
				t.Fatalf("%s: the state is %q, the live events say %q", at, got, want)
			}
			requireDuplicates(t, at, l, submitted)
		}
		if !reflect.DeepEqual(l.replay(t), l.Job) {
			t.Fatalf("seed %d, job %d: replayed, the job is another", seed, n)
		}
	}
	if planned < 500 || refusals < 500 {
		t.Errorf("%d submissions were taken and %d refused: the play is too one-sided to prove anything", planned, refusals)
	}
}

// randomSubmission returns 1 to 3 events that refer to recorded ones or not.
func randomSubmission(t *testing.T, r *rand.Rand, l *journal, step int) []Event {
	t.Helper()
	if step == 0 {
		return []Event{happened(t, "0000-0", JobOpened, &Opening{JobType: "exterior", Title: "Gable"})}
	}
	var submitted []Event
	for i := range 1 + r.IntN(2)*r.IntN(3) {
		id := fmt.Sprintf("%04d-%d", step, i)
		switch n := len(submitted); {
		case r.IntN(15) == 0: // recorded before, most likely with other content
			id = l.order[r.IntN(len(l.order))][len("tap-"):]
		case n > 0 && r.IntN(10) == 0: // twice in one submission
			submitted = append(submitted, submitted[r.IntN(n)])
			continue
		}
		submitted = append(submitted, randomEvent(t, r, id, func(kinds ...Type) string {
			// Mostly an event that fits, and at times any, of this submission too.
			for range 3 {
				ref := l.order[r.IntN(len(l.order))]
				if slices.Contains(kinds, l.entries[ref].kind) {
					return ref
				}
			}
			return fmt.Sprintf("tap-%04d-%d", r.IntN(step+1), r.IntN(2))
		}))
	}
	return submitted
}

func randomEvent(t *testing.T, r *rand.Rand, id string, ref func(...Type) string) Event {
	t.Helper()
	switch r.IntN(16) {
	case 0:
		return happened(t, id, EstimateIssued, &Estimate{Lines: []EstimateLine{{Task: "coat", Minutes: 1}}})
	case 1:
		return happened(t, id, EstimateAccepted, &Acceptance{Estimate: ref(EstimateIssued)})
	case 2:
		return happened(t, id, HoursBooked, &Hours{Person: "anna", Task: "sand", Minutes: 1 + r.Int64N(600)})
	case 3, 4:
		return happened(t, id, ProtectionLaid, &Protection{Task: "mask-edge", QuantityMilli: 1 + r.Int64N(5), Unit: Metre})
	case 5, 6:
		return happened(t, id, ProtectionLifted, &Lifting{Laid: ref(ProtectionLaid), QuantityMilli: r.Int64N(4)})
	case 7:
		return happened(t, id, JobSignedOff, &SignOff{Role: "owner"})
	case 8:
		return happened(t, id, JobClosed, &Closing{})
	case 9:
		return happened(t, id, JobReopened, &Reopening{Reason: "more"})
	case 10:
		return happened(t, id, SnagRaised, &Snag{Location: "hall", Finding: "mark", RaisedBy: "firm"})
	case 11:
		return happened(t, id, SnagCleared, &SnagClearance{Snag: ref(SnagRaised)})
	case 12, 13:
		return happened(t, id, EventVoided, &Void{Event: ref(JobSignedOff, JobClosed, JobReopened, EstimateAccepted), Reason: "a mistake"})
	}
	return happened(t, id, EventVoided, &Void{Event: ref(Types()...), Reason: "a mistake"})
}

// requireReceipts wants one receipt for each event in order, and the fresh ones
// to be those without a duplicate.
func requireReceipts(t *testing.T, at string, l *journal, submitted, fresh []Event, receipts []Receipt) {
	t.Helper()
	var ids, freshIDs []string
	for i, r := range receipts {
		if r.ID != submitted[i].ID || r.Job != l.Key {
			t.Fatalf("%s: receipt %d is %+v", at, i, r)
		}
		if sequence, known := l.Recorded(r.ID); known != (r.Sequence > 0) || sequence != r.Sequence || known && !r.Duplicate {
			t.Fatalf("%s: receipt %d is %+v, recorded under %d", at, i, r, sequence)
		}
		if !r.Duplicate {
			ids = append(ids, r.ID)
		}
	}
	for _, e := range fresh {
		freshIDs = append(freshIDs, e.ID)
	}
	if len(receipts) != len(submitted) || !slices.Equal(ids, freshIDs) {
		t.Fatalf("%s: %d receipts for %d events; new %v, planned %v", at, len(receipts), len(submitted), ids, freshIDs)
	}
}

// requireDuplicates sends a recorded submission again.
func requireDuplicates(t *testing.T, at string, l *journal, submitted []Event) {
	t.Helper()
	fresh, receipts, err := l.Plan(submitted)
	if err != nil || len(fresh) > 0 {
		t.Fatalf("%s: sent again: %d new, %v", at, len(fresh), err)
	}
	for _, r := range receipts {
		if sequence, ok := l.Recorded(r.ID); !ok || !r.Duplicate || r.Sequence != sequence {
			t.Fatalf("%s: sent again: %+v, recorded under %d", at, r, sequence)
		}
	}
}

// stateOfLiveEvents works the state out from scratch: it strikes what was voided
// from the list of events and reads the rest from the top.
func stateOfLiveEvents(t *testing.T, l *journal) State {
	t.Helper()
	var all []Event
	voided := map[string]bool{}
	for _, s := range l.stored {
		c, err := DecodeCommit(s.Raw)
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range c.Events {
			all = append(all, e)
			if e.Type == EventVoided {
				payload, err := e.Payload()
				if err != nil {
					t.Fatal(err)
				}
				voided[payload.(*Void).Event] = true
			}
		}
	}
	reached, finished := State(""), State("")
	rank := []State{"", Opened, Estimated, Accepted, Running}
	reach := func(s State) {
		if slices.Index(rank, s) > slices.Index(rank, reached) {
			reached = s
		}
	}
	for _, e := range all {
		if voided[e.ID] {
			continue
		}
		switch e.Type {
		case JobOpened:
			reach(Opened)
		case EstimateIssued:
			reach(Estimated)
		case EstimateAccepted:
			reach(Accepted)
		case HoursBooked, ProtectionLaid:
			reach(Running)
		case JobSignedOff:
			if finished != Closed {
				finished = SignedOff
			}
		case JobClosed:
			finished = Closed
		case JobReopened:
			finished = ""
		}
	}
	return cmp.Or(finished, reached)
}
