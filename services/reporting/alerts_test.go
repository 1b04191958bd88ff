package reporting

import (
	"slices"
	"strings"
	"testing"

	"golang.org/x/net/html"

	"daysheet/events"
)

// alertsOn reads what the board says of each job that needs a look, in its order.
func (s *stack) alertsOn(path string) (jobs []string, about map[string][]string) {
	s.t.Helper()
	about = map[string][]string{}
	walk(s.page(path), func(n *html.Node) {
		if class, _ := attribute(n, "class"); n.Data != "section" || !strings.Contains(class, "alerts") {
			return
		}
		walk(n, func(c *html.Node) {
			href, _ := attribute(c, "href")
			if job, ok := strings.CutPrefix(href, "/jobs/"); ok {
				jobs = append(jobs, job)
			}
			if c.Data == "li" && c.FirstChild == c.LastChild && len(jobs) > 0 {
				last := jobs[len(jobs)-1]
				about[last] = append(about[last], textOf(c))
			}
		})
	})
	return jobs, about
}

// TestCoveredDetectorsComeFirst: a detector that was covered on a day before today
// does not warn over night, which the board tells before all else; the page of the job
// says of it, and of covered lights, what to do. What was covered today is still work.
func TestCoveredDetectorsComeFirst(t *testing.T) {
	s := newStack(t)
	laid := func(task, day string, pieces int64) events.Event {
		return s.act(events.ProtectionLaid, day, events.Protection{Task: task, QuantityMilli: pieces * 1000,
			Unit:     events.Each,
			Location: "Hall"})
	}
	for _, job := range []string{"bare", "slept", "today"} {
		s.record("north", job, s.act(events.JobOpened, "2026-06-01", events.Opening{JobType: "exterior",
			Title: "Job " + job}))
	}
	over := s.act(events.ProtectionLaid, "2026-06-10", events.Protection{Task: "mask-edge", QuantityMilli: 5_000,
		Unit:     events.Metre,
		RemoveBy: "2026-06-20"})
	s.record("north", "bare", over, s.act(events.SnagRaised, "2026-06-20", events.Snag{Location: "Hall",
		Finding: "run", RaisedBy: "firm"}))
	s.record("north", "slept", laid("protect-floor", "2026-06-28", 3), laid("protect-light-fitting", "2026-06-28", 1),
		laid("protect-detector", "2026-06-29", 2))
	s.record("north", "today", laid("protect-detector", "2026-06-30", 1))
	jobs, about := s.alertsOn("/")
	if !slices.Equal(jobs, []string{"slept", "bare"}) ||
		!slices.Equal(about["slept"], []string{"Detectors covered since an earlier day: 2. Covered, they do not warn."}) {
		t.Errorf("the board says of %v: %q", jobs, about)
	}
	said := strings.Join(strings.Fields(textOf(s.page("/jobs/slept"))), " ")
	detector := strings.Index(said, "a covered detector does not warn: uncover it when work stops")
	light := strings.Index(said, "a covered light can start a fire")
	if floor := strings.Index(said, "Protect floor"); detector < 0 || light < detector || floor < light {
		t.Errorf("detectors at %d, lights at %d, floors at %d of %s", detector, light, floor, said)
	}
}

// TestAlertsComeFirst: the board tells at its top what is overdue, open, outside its
// limits or over its hours, of jobs under way; the job with the most first.
func TestAlertsComeFirst(t *testing.T) {
	s := newStack(t)
	s.settle("north")
	if said := textOf(s.page("/")); !strings.Contains(said, "No job needs a look") {
		t.Errorf("a quiet board says %s", said)
	}
	coat := func(minutes, milli int64) events.EstimateLine {
		return events.EstimateLine{Task: "coat", Surface: "wall", QuantityMilli: milli, Unit: events.SquareMetre,
			Minutes: minutes}
	}
	open := func(job string, due events.Day, lines ...events.EstimateLine) {
		s.record("north", job, s.act(events.JobOpened, "2026-06-01", events.Opening{JobType: "exterior",
			Title: "Job " + job, Due: due}),
			s.act(events.EstimateIssued, "2026-06-01", events.Estimate{Lines: lines}))
	}
	hours := func(minutes int64) events.Event {
		return s.act(events.HoursBooked, "2026-06-20", events.Hours{Person: "una", Task: "coat", Minutes: minutes})
	}
	done := func(milli int64) events.Event {
		return s.act(events.CoatApplied, "2026-06-20", events.Coat{Task: "coat", Surface: "wall", Coat: 1,
			QuantityMilli: milli,
			Unit:          events.SquareMetre})
	}
	open("calm", "2026-07-30", coat(600, 100_000))
	s.record("north", "calm", hours(300), done(50_000))
	open("fast", "", coat(600, 100_000)) // 5:00 booked for a quarter of 10:00
	s.record("north", "fast", hours(300), done(25_000))
	open("full", "2026-06-29", coat(240, 0))
	laid := s.act(events.ProtectionLaid, "2026-06-10", events.Protection{Task: "mask-edge", QuantityMilli: 5_000,
		Unit:     events.Metre,
		RemoveBy: "2026-06-29"})
	snag := s.act(events.SnagRaised, "2026-06-20", events.Snag{Location: "Hall", Finding: "run", RaisedBy: "firm"})
	cold := s.act(events.CoatApplied, "2026-06-21", events.Coat{Task: "coat", Surface: "wall", Coat: 1,
		QuantityMilli: 10_000,
		Unit:          events.SquareMetre, AirCelsiusMilli: milli(10_000), SurfaceCelsiusMilli: milli(5_000),
		HumidityPercentMilli: milli(95_000)})
	s.record("north", "full", laid, snag, cold, hours(300),
		s.act(events.ProtectionLaid, "2026-06-29", events.Protection{Task: "protect-floor", QuantityMilli: 9_000,
			Unit:     events.SquareMetre,
			RemoveBy: "2026-06-30"}), // its last day is today
		s.act(events.DamageFound, "2026-06-20", events.Damage{Location: "Hall", Item: "rail", Finding: "paint",
			Cause: "ours"}))
	jobs, about := s.alertsOn("/")
	want := []string{"Protection past its last day for clean removal: 1", "Coats applied outside their limits: 1",
		"Snags open: 1",
		"Damage not made good: 1", "Hours over the estimate: 1:00", "Agreed handover was 29 Jun 2026"}
	if !slices.Equal(jobs, []string{"full", "fast"}) || !slices.Equal(about["full"], want) ||
		!slices.Equal(about["fast"], []string{"Hours burnt faster than earned: 5:00 booked, 2:30 earned"}) {
		t.Errorf("the board says of %v: %q", jobs, about)
	}
	for path, says := range map[string]string{"/": "earned 2:30", "/jobs/fast": "5:00 booked of 10:00, 2:30 earned"} {
		if said := strings.Join(strings.Fields(textOf(s.page(path))), " "); !strings.Contains(said, says) {
			t.Errorf("%s does not say %q: %s", path, says, said)
		}
	}
	// What is put right is gone at once, and comes back where that is taken back.
	cleared := s.act(events.SnagCleared, "2026-06-22", events.SnagClearance{Snag: snag.ID})
	s.record("north", "full", cleared, s.act(events.ProtectionLifted, "2026-06-22", events.Lifting{Laid: laid.ID}),
		s.act(events.EventVoided, "2026-06-22", events.Void{Event: cold.ID, Reason: "read wrongly"}))
	if _, about := s.alertsOn("/"); len(about["full"]) != 3 {
		t.Errorf("the board still says %q", about["full"])
	}
	s.record("north", "full", s.act(events.EventVoided, "2026-06-22", events.Void{Event: cleared.ID, Reason: "not yet"}))
	if _, about := s.alertsOn("/?job_type=exterior"); !slices.Contains(about["full"], "Snags open: 1") {
		t.Errorf("the board says %q", about["full"])
	}
	if jobs, _ := s.alertsOn("/?job_type=stairwell"); len(jobs) != 0 {
		t.Errorf("alerts of other job types: %v", jobs)
	}
	if jobs, _ := s.alertsOn("/?state=running"); len(jobs) != 0 {
		t.Errorf("a list of one state has alerts: %v", jobs)
	}
}
