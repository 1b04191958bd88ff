package events

import (
	"fmt"
	"reflect"
	"strings"
	"testing"
)

// TestRulesOfJobs records a history, each event in a commit of its own unless
// joined by +, and wants the last submission to be taken or refused.
func TestRulesOfJobs(t *testing.T) {
	all := story(t)
	for _, test := range []struct {
		history string
		want    string // refusal of the last; empty where it is taken
		state   State
		down    string // what is down in the end
	}{
		{"hours", "subject is \"stairwell-7\": this job was never opened", "", ""},
		{"void-hours", "this job was never opened", "", ""},
		{"open", "", Opened, ""},
		{"open hours+open", "", Running, ""}, // open again is a duplicate
		{"hours+open", "this job was never opened", "", ""},
		{"open+hours", "", Running, ""},
		{"open reopen-by-opening", "", Opened, ""},
		{"open void-open", "daysheet.job.opened.v1 cannot be taken back", Opened, ""},

		{"open estimate", "", Estimated, ""},
		{"open accept", `data.estimate is "tap-estimate": no event with this id`, Opened, ""},
		{"open estimate accept", "", Accepted, ""},
		{"open+estimate+accept", "", Accepted, ""},
		{"open estimate void-estimate", "", Opened, ""},
		{"open estimate estimate-2 void-estimate-2", "", Estimated, ""},
		{"open estimate void-estimate accept", "data.estimate is \"tap-estimate\": the event it refers to was taken back", Opened, ""},
		{"open estimate accept void-estimate", "another event stands on it: take that one back first", Accepted, ""},
		{"open estimate accept void-accept", "", Estimated, ""},
		{"open estimate accept void-accept+void-estimate", "", Opened, ""},
		{"open estimate estimate-2 accept accept-2 void-accept-2", "", Accepted, ""},
		{"open estimate estimate-2 accept accept-2 void-accept-2 void-accept", "", Estimated, ""},
		{"open vary", "", Opened, ""},
		{"open condition", "", Opened, ""},
		{"open photo", "", Opened, ""},
		{"open returned", "", Opened, ""},

		{"open sanded", "", Running, ""},
		{"open coated", "", Running, ""},
		{"open used", "", Running, ""},
		{"open hours void-hours", "", Opened, ""},
		{"open estimate accept hours void-hours", "", Accepted, ""},
		{"open hours sanded void-hours", "", Running, ""},
		{"open hours photo-of-hours", "", Running, ""},
		{"open hours photo-of-hours void-hours", "", Opened, ""}, // a photo does not stand in the way
		{"open photo-of-hours", `data.of is "tap-hours": no event with this id`, Opened, ""},
		{"open hours void-hours photo-of-hours", "data.of is \"tap-hours\": the event it refers to was taken back", Opened, ""},

		{"open laid", "", Running, "tap-laid 5000"},
		{"open laid void-laid", "", Opened, ""},
		{"open lift-rest", `data.laid is "tap-laid": no event with this id`, Opened, ""},
		{"open hours lift-hours", "it refers to an event of type daysheet.hours.booked.v1; it must be a daysheet.protection.laid.v1",
			Running, ""},
		{"open laid lift-2m2", "", Running, "tap-laid 3000"},
		{"open laid+lift-2m2", "", Running, "tap-laid 3000"},
		{"open laid laid-2 lift-rest", "", Running, "tap-laid-2 5000"},
		{"open laid laid-2", "", Running, "tap-laid 5000 tap-laid-2 5000"},
		{"open laid lift-2m2 lift-4m2", "data.quantity_milli is 4000: only 3000 thousandths are still down", Running, "tap-laid 3000"},
		{"open laid lift-2m2+lift-4m2", "only 3000 thousandths are still down", Running, "tap-laid 5000"},
		{"open laid lift-2m2 lift-rest", "", Running, ""},
		{"open laid lift-rest lift-2m2", "all of this protection was lifted before", Running, ""},
		{"open laid lift-2m2 lift-rest void-lift-2m2", "", Running, "tap-laid 2000"},
		{"open laid lift-2m2 lift-rest void-lift-rest", "", Running, "tap-laid 3000"},
		{"open laid lift-2m2 void-lift-2m2+lift-4m2", "", Running, "tap-laid 1000"},
		{"open laid lift-2m2 void-laid", "another event stands on it", Running, "tap-laid 3000"},
		{"open laid lift-2m2 void-lift-2m2+void-laid", "", Opened, ""},
		{"open laid void-laid lift-rest", "the event it refers to was taken back", Opened, ""},
		{"open laid checked void-laid", "", Opened, ""}, // a check does not stand in the way
		{"open checked", "no event with this id", Opened, ""},

		{"open good", "data.damage is \"tap-damage\": no event with this id", Opened, ""},
		{"open damage good", "", Opened, ""},
		{"open damage good void-damage", "another event stands on it", Opened, ""},
		{"open damage good void-good void-damage", "", Opened, ""},
		{"open clear", "data.snag is \"tap-snag\": no event with this id", Opened, ""},
		{"open snag clear", "", Opened, ""},
		{"open snag clear void-snag", "another event stands on it", Opened, ""},

		{"open void-hours", `data.event is "tap-hours": no event with this id was recorded on this job`, Opened, ""},
		{"open void-itself", "no event with this id", Opened, ""},
		{"open hours void-hours void-void-hours", "what took an event back cannot be taken back", Opened, ""},
		{"open hours void-hours void-hours-again", "it was taken back before", Opened, ""},
		{"open hours void-hours+void-hours-again", "it was taken back before", Running, ""},
		{"open hours+void-hours", "", Opened, ""},
		{"open void-hours+hours", "no event with this id", Opened, ""},

		{"open reopen", "the job is opened: only a job that was signed off or closed can be reopened", Opened, ""},
		{"open hours reopen", "the job is running: only", Running, ""},
		{"open hours sign", "", SignedOff, ""},
		{"open hours close", "", Closed, ""},
		{"open hours sign close", "", Closed, ""},
		{"open hours sign hours+coated", "", SignedOff, ""}, // facts beat rules: late work is taken
		{"open hours sign reopen", "", Running, ""},
		{"open hours sign close reopen", "", Running, ""},
		{"open hours sign reopen reopen-2", "the job is running: only", Running, ""},
		{"open hours sign void-sign", "", Running, ""},
		{"open hours sign close void-close", "", SignedOff, ""},
		{"open hours sign close void-sign", "the job was signed off, closed or reopened after it", Closed, ""},
		{"open hours sign close void-close void-sign", "", Running, ""},
		{"open hours sign close void-close+void-sign", "", Running, ""},
		{"open hours sign close reopen void-reopen", "", Closed, ""},
		{"open hours sign reopen void-sign", "the job was signed off, closed or reopened after it", Running, ""},
		{"open hours sign reopen sign-2 void-sign-2", "", Running, ""},
		{"open hours sign sign-2 void-sign-2", "", SignedOff, ""},
		{"open hours sign sign-2 void-sign-2 void-sign", "", Running, ""},
		{"open hours sign+void-sign+reopen", "the job is running: only", Running, ""},
		{"open hours sign void-hours", "", SignedOff, ""},
	} {
		l := newJournal("stairwell-7")
		var err error
		for _, submission := range strings.Fields(test.history) {
			if err != nil {
				t.Errorf("%s: refused too early: %v", test.history, err)
			}
			var submitted []Event
			for _, name := range strings.Split(submission, "+") {
				e, ok := all[name]
				if !ok {
					t.Fatalf("%s: there is no event %s", test.history, name)
				}
				submitted = append(submitted, e)
			}
			_, err = l.record(t, submitted...)
		}
		if test.want == "" && err != nil || test.want != "" && !strings.Contains(fmt.Sprint(err), test.want) {
			t.Errorf("%s: got %v, want %q", test.history, err, test.want)
		}
		if got := l.State(); got != test.state || got.Finished() != (got == SignedOff || got == Closed) {
			t.Errorf("%s: the state is %q, want %q", test.history, got, test.state)
		}
		if got := down(l.Job); got != test.down {
			t.Errorf("%s: down is %q, want %q", test.history, got, test.down)
		}
		if !reflect.DeepEqual(l.replay(t), l.Job) {
			t.Errorf("%s: replayed, the job is another", test.history)
		}
	}
}

func down(j *Job) string {
	var parts []string
	ids, milli := j.Down()
	for _, id := range ids {
		parts = append(parts, fmt.Sprint(id, " ", milli[id]))
	}
	return strings.Join(parts, " ")
}
