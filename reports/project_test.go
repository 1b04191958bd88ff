package reports

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"daysheet/events"
)

// start is how every history of these tests begins.
const start = `2026-01-02 settings EUR; types redecoration stairwell; grades painter=30.00; people anna=painter; ` +
	`tasks strip-paper=preparation/m2
2026-01-02 product-listed emulsion l 6.00
2026-01-02 product-listed film roll 20.00
2026-02-02 job-opened hall redecoration Hall
`

// told records lines in the notation of the scenarios after start.
func told(t *testing.T, text string) *scenario {
	t.Helper()
	s := &scenario{history: newHistory(), names: map[string]string{}, at: map[string]uint64{}}
	job := ""
	for _, l := range lines(start + text) {
		var err error
		if job, err = s.happen(job, l); err != nil {
			t.Fatalf("%s: %v", l, err)
		}
	}
	return s
}

// brief writes a fact with what the tests below look at.
func brief(f Fact) string {
	words := []string{fmt.Sprintf("%+d", f.Sign), string(f.Side), string(f.Kind)}
	for _, w := range []string{string(f.Family), f.Task, f.Method, f.Product, f.Grade, f.Person} {
		if w != "" {
			words = append(words, w)
		}
	}
	if f.Minutes != 0 {
		words = append(words, MinutesText(f.Minutes))
	}
	if f.QuantityMilli != 0 {
		words = append(words, strings.TrimRight(strings.TrimRight(decimal(f.QuantityMilli, 3), "0"), ".")+string(f.Unit))
	}
	if f.CostE4 != 0 {
		words = append(words, MoneyText(f.CostE4, ""))
	}
	if f.Place != "" {
		words = append(words, "@"+f.Place)
	}
	return strings.Join(words, " ")
}

// TestFactsOfEachEvent requires, for each type of event, the facts that the
// last line makes.
func TestFactsOfEachEvent(t *testing.T) {
	const offer = "2026-02-02 estimate-issued 500.00; coat 40m2 240min painter; uses emulsion 8l as=offer\n"
	held := []string{"+1 estimate labour coating coat painter 4 h 120.00", "+1 estimate quantity coating coat 40m2",
		"+1 estimate material emulsion 8l 48.00", "+1 estimate price 500.00"}
	const laid = "2026-02-03 protection-laid protect-floor 20m2 film 1roll as=floor\n"
	const damaged = "2026-02-03 damage-found ours 80.00 as=stain\n"
	tried := map[events.Type]bool{}
	for _, c := range []struct {
		name, before, line string
		want               []string
	}{
		{"settings make no facts", "", "2026-02-03 settings EUR; types a; grades b=1.00", nil},
		{"nor does a product", "", "2026-02-03 product-listed tape roll 4.00", nil},
		{"nor a rate book", "", "2026-02-03 rate-book-revised spring", nil},
		{"a purchase", "", "2026-02-03 material-purchased emulsion 10l 55.00",
			[]string{"+1 actual purchase emulsion 10l 55.00"}},
		{"opening makes no facts", "", "2026-02-03 job-opened attic redecoration Attic", nil},
		{"an estimate", "", offer, held},
		{"an acceptance of what holds", offer, "2026-02-03 estimate-accepted offer", nil},
		{"an estimate given by cost, with no quantity", "",
			"2026-02-02 estimate-issued 0.00; travel 60min cost 25.00; uses film 1roll cost 18.00",
			[]string{"+1 estimate labour travel travel 1 h 25.00", "+1 estimate material film 1roll 18.00"}},
		{"a customer", "", "2026-02-03 customer-recorded c-1", nil},
		{"a customer erased", "2026-02-03 customer-recorded c-1\n", "2026-02-04 customer-erased c-1", nil},
		{"a change of access", "", "2026-02-03 access-changed desk", nil},
		{"a rate that is not taken", "", "2026-02-03 rate-rejected coat", nil},
		{"a move", "", "2026-02-03 material-moved film 3roll from=store to=van",
			[]string{"+1 actual move film -3roll @store", "+1 actual move film 3roll @van"}},
		{"a stock count", "", "2026-02-03 material-counted film 3roll at=van", []string{"+1 actual count film 3roll @van"}},
		{"a stock count that holds instead of another of the day", "2026-02-03 material-counted film 3roll at=van\n",
			"2026-02-03 material-counted film 4roll at=van",
			[]string{"-1 actual count film 3roll @van", "+1 actual count film 4roll @van"}},
		{"a variation that saves money", "", "2026-02-03 variation-agreed -40.00; fill 5m2 30min painter",
			[]string{"+1 variation labour preparation fill painter 30 min 15.00",
				"+1 variation quantity preparation fill 5m2", "+1 variation price -40.00"}},
		{"a sign-off", "", "2026-02-03 signed-off", nil},
		{"a closing", "", "2026-02-03 closed 510.00", []string{"+1 actual price 510.00"}},
		{"a second closing replaces the bill", "2026-02-03 closed 510.00\n", "2026-02-04 closed 520.00",
			[]string{"-1 actual price 510.00", "+1 actual price 520.00"}},
		{"a reopening", "2026-02-03 signed-off\n", "2026-02-04 reopened", nil},
		{"hours", "", "2026-02-03 hours-booked anna coat 90min",
			[]string{"+1 actual labour coating coat painter anna 1 h 30 min 45.00"}},
		{"hours on the firm's own task", "", "2026-02-03 hours-booked anna strip-paper 60min",
			[]string{"+1 actual labour preparation strip-paper painter anna 1 h 30.00"}},
		{"a condition", "", "2026-02-03 condition-recorded hall", nil},
		{"protection", "", laid, []string{"+1 actual quantity protection protect-floor film 20m2",
			"+1 actual material protection protect-floor film 1roll 20.00",
			"+1 actual down protection protect-floor film 20m2"}},
		{"protection laid again consumes nothing", "", "2026-02-03 protection-laid protect-floor 20m2",
			[]string{"+1 actual quantity protection protect-floor 20m2", "+1 actual down protection protect-floor 20m2"}},
		{"a check", laid, "2026-02-04 protection-checked floor", nil},
		{"lifting a part", laid, "2026-02-04 protection-lifted floor 5m2",
			[]string{"+1 actual quantity lifting lift-protection 5m2",
				"-1 actual down protection protect-floor film 20m2", "+1 actual down protection protect-floor film 15m2"}},
		{"lifting what is left", laid + "2026-02-04 protection-lifted floor 5m2\n", "2026-02-05 protection-lifted floor",
			[]string{"+1 actual quantity lifting lift-protection 15m2",
				"-1 actual down protection protect-floor film 15m2"}},
		{"lifting all after a lifting was voided", laid + "2026-02-04 protection-lifted floor 5m2 as=part\n" +
			"2026-02-04 voided part\n", "2026-02-05 protection-lifted floor",
			[]string{"+1 actual quantity lifting lift-protection 20m2",
				"-1 actual down protection protect-floor film 20m2"}},
		{"preparation", "", "2026-02-03 surface-prepared sand 12.5m2",
			[]string{"+1 actual quantity preparation sand 12.5m2"}},
		{"a coat", "", "2026-02-03 coat-applied coat 40m2 emulsion 4.5l", []string{
			"+1 actual quantity coating coat emulsion 40m2", "+1 actual material coating coat emulsion 4.5l 27.00"}},
		{"use", "", "2026-02-03 material-used film 2roll for protect-floor",
			[]string{"+1 actual material protection protect-floor film 2roll 40.00"}},
		{"use at a cost of its own", "", "2026-02-03 material-used film 2roll cost 33.00",
			[]string{"+1 actual material film 2roll 33.00"}},
		{"a return", "", "2026-02-03 material-returned film 1roll", []string{"+1 actual material film -1roll -20.00"}},
		{"our damage", "", damaged, []string{"+1 actual damage ours 1each 80.00"}},
		{"unknown damage is ours until known", "", "2026-02-03 damage-found unknown 80.00",
			[]string{"+1 actual damage unknown 1each 80.00"}},
		{"damage by others costs us nothing", "", "2026-02-03 damage-found others 80.00",
			[]string{"+1 actual damage others 1each"}},
		{"damage from before costs us nothing", "", "2026-02-03 damage-found before 80.00",
			[]string{"+1 actual damage before 1each"}},
		{"making good replaces the expected cost", damaged, "2026-02-04 damage-made-good stain 60.00",
			[]string{"+1 actual damage ours -80.00", "+1 actual damage ours 60.00"}},
		{"making good again adds its cost", damaged + "2026-02-04 damage-made-good stain 60.00\n",
			"2026-02-05 damage-made-good stain 10.00", []string{"+1 actual damage ours 10.00"}},
		{"a snag", "", "2026-02-03 snag-raised", nil},
		{"a clearance", "2026-02-03 snag-raised as=thin\n", "2026-02-04 snag-cleared thin",
			[]string{"+1 actual quantity snagging snag 1each"}},
		{"a photo", "", "2026-02-03 photo-attached", nil},
		{"a note", "", "2026-02-03 note-added", nil},
		{"a void", "2026-02-03 hours-booked anna coat 90min as=morning\n", "2026-02-03 voided morning",
			[]string{"-1 actual labour coating coat painter anna 1 h 30 min 45.00"}},
		{"another acceptance changes what holds",
			offer + "2026-02-02 estimate-issued 450.00; coat 30m2 240min painter as=b\n",
			"2026-02-03 estimate-accepted offer", append([]string{"-1 estimate labour coating coat painter 4 h 120.00",
				"-1 estimate quantity coating coat 30m2", "-1 estimate price 450.00"}, held...)},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := told(t, c.before+c.line)
			tried[typeOf(s.history.log[len(s.history.log)-1].payload)] = true
			var got []string
			for _, f := range s.history.facts {
				if f.Sequence == s.history.sequence {
					got = append(got, brief(f))
					if f.Firm != testFirm || f.EventID == "" || !f.Day.Valid() || f.OccurredAt == 0 || f.Partition != 3 {
						t.Errorf("fact is not filled in: %+v", f)
					}
				}
			}
			if !slices.Equal(got, c.want) {
				t.Errorf("facts:\n%s\nwant:\n%s", strings.Join(got, "\n"), strings.Join(c.want, "\n"))
			}
		})
	}
	for _, typ := range events.Types() {
		if !tried[typ] {
			t.Errorf("no case for %s", typ)
		}
	}
}

// TestMarks requires the marks that hold after the lines, each with how often.
func TestMarks(t *testing.T) {
	const damaged = "2026-02-03 damage-found ours 80.00 as=stain\n"
	for _, c := range []struct{ name, text, want string }{
		{"nothing unusual", "2026-02-03 hours-booked anna coat 60min", ""},
		{"work after the finish", "2026-02-03 signed-off\n2026-02-04 hours-booked anna coat 60min", "after-finish 1"},
		{"work on the day of the finish", "2026-02-03 signed-off\n2026-02-03 hours-booked anna coat 60min", ""},
		{"work before the opening", "2026-02-01 hours-booked anna coat 60min recorded=2026-02-02", "before-opening 1"},
		{"a clock ahead", "2026-02-05 hours-booked anna coat 60min recorded=2026-02-04", "clock-ahead 1"},
		{"seven days late is in time", "2026-02-03 snag-raised recorded=2026-02-09", ""},
		{"more than seven days late", "2026-02-03 hours-booked anna coat 60min recorded=2026-02-11", "recorded-late 1"},
		{"an unknown job type", "2026-02-03 job-opened yard fences Yard", "unknown-job-type 1"},
		{"a job type put right", "2026-02-03 job-opened yard fences Yard\n2026-02-04 job-opened yard stairwell Yard", ""},
		{"an unknown task", "2026-02-03 hours-booked anna gild 60min", "unknown-task 1"},
		{"an unknown task in an estimate", "2026-02-03 estimate-issued 1.00; gild 60min painter", "unknown-task 1"},
		{"an estimate that no longer holds",
			"2026-02-03 estimate-issued 1.00; gild 60min painter\n2026-02-03 estimate-issued 1.00; coat 60min painter", ""},
		{"an unknown person", "2026-02-03 hours-booked cara coat 60min painter", "unknown-person 1"},
		{"an unknown wage", "2026-02-03 hours-booked anna coat 60min foreman", "unpriced 1"},
		{"an unknown wage in an estimate", "2026-02-03 estimate-issued 1.00; coat 60min foreman", "unpriced 1"},
		{"an unknown wage with a stated cost", "2026-02-03 estimate-issued 1.00; coat 60min foreman cost 20.00", ""},
		{"an unknown product", "2026-02-03 material-used filler 1kg cost 3.00", "unknown-product 1"},
		{"an unknown product without a price", "2026-02-03 material-used filler 1kg", "unknown-product 1, unpriced 1"},
		{"a product in another unit", "2026-02-03 material-used film 2sheet cost 3.00", "unit-differs 1"},
		{"a task in another unit", "2026-02-03 surface-prepared sand 4m", "unit-differs 1"},
		{"a planned task in another unit", "2026-02-03 estimate-issued 1.00; sand 4m 60min painter", "unit-differs 1"},
		{"an open snag", "2026-02-03 snag-raised\n2026-02-03 signed-off", "open-snags 1"},
		{"a cleared snag", "2026-02-03 snag-raised as=s\n2026-02-03 snag-cleared s\n2026-02-03 signed-off", ""},
		{"a snag whose clearance was voided", "2026-02-03 snag-raised as=s\n2026-02-03 snag-cleared s as=c\n" +
			"2026-02-03 voided c\n2026-02-03 signed-off", "open-snags 1"},
		{"a snag cleared twice, once voided", "2026-02-03 snag-raised as=s\n2026-02-03 snag-cleared s\n" +
			"2026-02-03 snag-cleared s as=c\n2026-02-03 voided c\n2026-02-03 signed-off", ""},
		{"a voided snag", "2026-02-03 snag-raised as=s\n2026-02-03 voided s\n2026-02-03 signed-off", ""},
		{"open damage", damaged + "2026-02-03 signed-off", "open-damage 1"},
		{"damage made good", damaged + "2026-02-03 damage-made-good stain 1.00\n2026-02-03 signed-off", ""},
		{"damage whose making good was voided", damaged + "2026-02-03 damage-made-good stain 1.00 as=m\n" +
			"2026-02-03 voided m\n2026-02-03 signed-off", "open-damage 1"},
		{"protection still down", "2026-02-03 protection-laid protect-floor 20m2 as=p\n" +
			"2026-02-03 protection-lifted p 5m2\n2026-02-03 signed-off", "protection-down 1"},
		{"protection whose lifting was voided", "2026-02-03 protection-laid protect-floor 20m2 as=p\n" +
			"2026-02-03 protection-lifted p as=l\n2026-02-03 voided l\n2026-02-03 signed-off", "protection-down 1"},
		{"voided protection", "2026-02-03 protection-laid protect-floor 20m2 as=p\n2026-02-03 voided p\n" +
			"2026-02-03 signed-off", ""},
		{"protection lifted", "2026-02-03 protection-laid protect-floor 20m2 as=p\n" +
			"2026-02-03 protection-lifted p\n2026-02-03 signed-off", ""},
		{"a voided sign-off", "2026-02-03 snag-raised\n2026-02-03 signed-off as=o\n2026-02-03 voided o", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			h := told(t, c.text).history
			var got []string
			for _, total := range h.sum(Query{Firm: testFirm, By: []Dimension{ByTask}}.With(ByKind, string(KindMark))) {
				got = append(got, fmt.Sprintf("%s %d", total.By[0], total.Facts))
				if total.QuantityMilli != total.Facts*1000 || total.CostE4 != 0 || total.Minutes != 0 {
					t.Errorf("a mark counts more than itself: %+v", total)
				}
			}
			if strings.Join(got, ", ") != c.want {
				t.Errorf("marks %q, want %q", strings.Join(got, ", "), c.want)
			}
		})
	}
}

// TestJobRow requires the state and days of a job after the lines.
func TestJobRow(t *testing.T) {
	const offer = "2026-02-03 estimate-issued 5.00; coat 60min painter as=offer\n"
	for _, c := range []struct{ name, text, want string }{
		{"opened", "", "opened, accepted , finished "},
		{"estimated", offer, "estimated, accepted , finished "},
		{"accepted", offer + "2026-02-04 estimate-accepted offer", "accepted, accepted 2026-02-04, finished "},
		{"acceptance voided", offer + "2026-02-04 estimate-accepted offer as=yes\n2026-02-05 voided yes",
			"estimated, accepted , finished "},
		{"estimate voided", offer + "2026-02-05 voided offer", "opened, accepted , finished "},
		{"running", "2026-02-04 hours-booked anna coat 5min", "running, accepted , finished "},
		{"work voided", "2026-02-04 hours-booked anna coat 5min as=w\n2026-02-05 voided w", "opened, accepted , finished "},
		{"signed off", "2026-02-05 signed-off", "signed-off, accepted , finished 2026-02-05"},
		{"closed after signing", "2026-02-05 signed-off\n2026-02-09 closed 1.00", "closed, accepted , finished 2026-02-05"},
		{"closed without signing", "2026-02-09 closed 1.00", "closed, accepted , finished 2026-02-09"},
		{"closing voided", "2026-02-05 signed-off\n2026-02-09 closed 1.00 as=c\n2026-02-10 voided c",
			"signed-off, accepted , finished 2026-02-05"},
		{"reopened", "2026-02-05 signed-off\n2026-02-06 reopened", "opened, accepted , finished "},
		{"reopening voided", "2026-02-05 signed-off\n2026-02-06 reopened as=r\n2026-02-06 voided r",
			"signed-off, accepted , finished 2026-02-05"},
		{"finished again", "2026-02-05 signed-off\n2026-02-06 reopened\n2026-02-08 signed-off",
			"signed-off, accepted , finished 2026-02-08"},
	} {
		t.Run(c.name, func(t *testing.T) {
			h := told(t, c.text).history
			j := h.jobs(JobQuery{Firm: testFirm})[0]
			if got := fmt.Sprintf("%s, accepted %s, finished %s", j.State, j.Accepted, j.Finished); got != c.want {
				t.Errorf("%q, want %q", got, c.want)
			}
			if j.Sequence != h.sequence || j.Opened != "2026-02-02" || j.Title != "Hall" || j.JobType != "redecoration" {
				t.Errorf("the row is not filled in: %+v", j)
			}
		})
	}
}

// TestApplyRefuses requires that a commit out of order stops the projection.
func TestApplyRefuses(t *testing.T) {
	p := NewJobProjection(new(events.Firm), testFirm, "hall", 0)
	c := &events.Commit{Firm: testFirm, Job: "hall", Version: 2, Previous: "00",
		Events: []events.Event{{ID: "event-0001"}}}
	if _, err := p.Apply(events.Stored{Sequence: 9}, c); err == nil || !strings.Contains(err.Error(), "sequence 9") {
		t.Errorf("a commit out of order: %v, want an error that names the sequence", err)
	}
	c.Version, c.Previous, c.Events[0].Type = 1, "", "daysheet.unheard.of.v9"
	if _, err := p.Apply(events.Stored{Sequence: 10}, c); err == nil || !strings.Contains(err.Error(), "event-0001") {
		t.Errorf("an unknown event: %v, want an error that names it", err)
	}
	if p.Version() != 0 {
		t.Errorf("a refused commit was counted: version %d", p.Version())
	}
}
