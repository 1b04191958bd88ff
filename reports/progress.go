package reports

import (
	"maps"
	"slices"

	"daysheet/events"
)

// progress is what was planned for a job and how much of it is done. A task is
// done in the share that was measured of its planned quantity, and never more
// than whole. What is planned and not measured, such as setting up, is done in
// the same share as what is: nobody guesses.
type progress struct {
	tasks      map[string]*taskPlan
	unmeasured int64 // the budget of what has no quantity
	cost       map[events.Day]int64
	finished   events.Day
}

// taskPlan is the plan of one task and what was measured of it. A budget is money in
// ten-thousandths, or minutes.
type taskPlan struct {
	budget  int64
	planned map[events.Unit]int64
	done    map[events.Unit]map[events.Day]int64
}

// The sums that progress is made of, in the order of the question.
const (
	progressCosts      = iota // budget by task; only planned sides
	progressQuantities        // by task, unit, side and day
	progressActual            // actual cost by day
)

// progressQueries asks for what progress is made of.
func progressQueries(f Filter) []Query {
	q := scope(f)
	return []Query{
		grouped(on(only(q, costs...), planned...), ByTask),
		grouped(only(q, KindQuantity), ByTask, ByUnit, BySide, ByDay),
		grouped(on(only(q, costs...), SideActual), ByDay),
	}
}

// progressOf makes the progress of a job from the answers to [progressQueries].
func progressOf(sums [][]Total, job JobRow) *progress {
	p := newProgress()
	p.finished = job.Finished
	for _, t := range sums[progressQuantities] {
		p.measure(t.By[0], events.Unit(t.By[1]), Side(t.By[2]), events.Day(t.By[3]), t.QuantityMilli)
	}
	for _, t := range sums[progressCosts] {
		p.plan(t.By[0], t.CostE4)
	}
	for _, t := range sums[progressActual] {
		p.cost[events.Day(t.By[0])] += t.CostE4
	}
	return p
}

func newProgress() *progress {
	return &progress{tasks: map[string]*taskPlan{}, cost: map[events.Day]int64{}}
}

// measure takes in a quantity of a task, planned or done on a day.
func (p *progress) measure(task string, unit events.Unit, side Side, day events.Day, milli int64) {
	plan := p.tasks[task]
	if plan == nil {
		plan = &taskPlan{planned: map[events.Unit]int64{}, done: map[events.Unit]map[events.Day]int64{}}
		p.tasks[task] = plan
	}
	if side != SideActual {
		plan.planned[unit] += milli
		return
	}
	if plan.done[unit] == nil {
		plan.done[unit] = map[events.Day]int64{}
	}
	plan.done[unit][day] += milli
}

// plan takes in the budget of a task, once its quantities are known.
func (p *progress) plan(task string, budget int64) {
	if plan := p.tasks[task]; plan != nil && plan.measured() {
		plan.budget += budget
	} else {
		p.unmeasured += budget
	}
}

// measured reports whether the task has one planned quantity: in two units, a
// share of one says nothing of the other.
func (t *taskPlan) measured() bool {
	n := 0
	for _, milli := range t.planned {
		if milli > 0 {
			n++
		}
	}
	return n == 1
}

// earnedBy returns what the task has earned up to the end of a day.
func (t *taskPlan) earnedBy(until events.Day) int64 {
	for unit, planned := range t.planned {
		if planned <= 0 {
			continue
		}
		var done int64
		for day, milli := range t.done[unit] {
			if day <= until {
				done += milli
			}
		}
		return ratio(t.budget, min(max(done, 0), planned), planned)
	}
	return 0
}

// bac returns the whole budget.
func (p *progress) bac() int64 {
	all := p.unmeasured
	for _, t := range p.tasks {
		all += t.budget
	}
	return all
}

// earned returns what was earned up to the end of a day. A finished job has
// earned everything.
func (p *progress) earned(until events.Day) int64 {
	if p.finished != "" && until >= p.finished {
		return p.bac()
	}
	var budget, earned int64
	for _, task := range slices.Sorted(maps.Keys(p.tasks)) {
		if t := p.tasks[task]; t.measured() {
			budget += t.budget
			earned += t.earnedBy(until)
		}
	}
	return earned + ratio(p.unmeasured, earned, budget)
}

// spent returns what was spent up to the end of a day.
func (p *progress) spent(until events.Day) int64 {
	var e4 int64
	for day, cost := range p.cost {
		if day <= until {
			e4 += cost
		}
	}
	return e4
}

// days returns every day on which something was measured or spent, in order.
func (p *progress) days() []events.Day {
	found := map[events.Day]bool{}
	for _, t := range p.tasks {
		for _, byDay := range t.done {
			for day := range byDay {
				found[day] = true
			}
		}
	}
	for day := range p.cost {
		found[day] = true
	}
	return slices.Sorted(maps.Keys(found))
}

// mergeDays returns the days of both lists once each, in order.
func mergeDays(a, b []events.Day) []events.Day {
	all := slices.Concat(a, b)
	slices.Sort(all)
	return slices.Compact(all)
}

// schedule is when a job is planned to be done. It is empty where a day is missing.
type schedule struct{ start, due events.Day }

// scheduleOf returns the planned days of a job: from its planned start, or else
// from the acceptance of its estimate, to the day agreed for handover.
func scheduleOf(job JobRow) schedule {
	s := schedule{job.Start, job.Due}
	if s.start == "" {
		s.start = job.Accepted
	}
	if s.start == "" || s.due == "" || s.due < s.start {
		return schedule{}
	}
	return s
}

// planned returns the share of a budget that is planned to be done by the end of
// a day: evenly over the working days from Monday to Friday, or over all days
// where there is no working day among them.
func (s schedule) planned(e4 int64, until events.Day) int64 {
	if s.start == "" || until < s.start {
		return 0
	}
	until = min(until, s.due)
	all := workingDays(s.start, s.due)
	if all == 0 {
		return ratio(e4, daysBetween(s.start, until), daysBetween(s.start, s.due))
	}
	return ratio(e4, workingDays(s.start, until), all)
}

// daysBetween counts the days from one to another, both included.
func daysBetween(from, to events.Day) int64 {
	const day = 24 * 60 * 60
	whole, _ := split(to.Time().Unix()-from.Time().Unix(), day)
	return whole + 1
}

// workingDays counts the days from Monday to Friday between two, both included.
func workingDays(from, to events.Day) int64 {
	days := daysBetween(from, to)
	weeks, rest := split(days, 7)
	n := weeks * 5
	first := int64(from.Time().Weekday()) // 0 is Sunday
	for i := range rest {
		_, weekday := split(first+i, 7)
		if weekday != 0 && weekday != 6 {
			n++
		}
	}
	return n
}
