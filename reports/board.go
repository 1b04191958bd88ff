package reports

import "daysheet/events"

// JobHours is how the labour of one job stands, in minutes.
type JobHours struct {
	Planned int64 // by the estimate in force and the variations agreed since
	Earned  int64 // planned for what is done, see HoursOf
	Booked  int64
	// Measured is false where nothing planned has a quantity that could be done in
	// part: then there is nothing to earn by.
	Measured bool
}

// The sums that hours of jobs are made of, in the order of the queries.
const (
	boardHours      = iota // minutes by job, task and side
	boardQuantities        // by job, task, unit and side
)

// HoursQueries asks for the hours of several jobs.
func HoursQueries(firm string, asOf uint64, jobs []string) []Query {
	q := Query{Firm: firm, AsOf: asOf}.With(ByJob, jobs...)
	return []Query{
		grouped(only(q, KindLabour), ByJob, ByTask, BySide), grouped(only(q, KindQuantity), ByJob, ByTask, ByUnit, BySide),
	}
}

// HoursOf makes the hours of each job from the answers to [HoursQueries]. A task is
// done in the share that was measured of its planned quantity, and what is planned
// without one in the same share as the rest; see progress.
func HoursOf(sums [][]Total) map[string]JobHours {
	plans, hours := map[string]*progress{}, map[string]JobHours{}
	if len(sums) <= boardQuantities {
		return hours
	}
	of := func(job string) *progress {
		if plans[job] == nil {
			plans[job] = newProgress()
		}
		return plans[job]
	}
	for _, t := range sums[boardQuantities] {
		of(t.By[0]).measure(t.By[1], events.Unit(t.By[2]), Side(t.By[3]), "", t.QuantityMilli)
	}
	for _, t := range sums[boardHours] {
		h := hours[t.By[0]]
		if Side(t.By[2]) == SideActual {
			h.Booked += t.Minutes
		} else {
			h.Planned += t.Minutes
			of(t.By[0]).plan(t.By[1], t.Minutes)
		}
		hours[t.By[0]] = h
	}
	for job, h := range hours {
		p := of(job)
		for _, task := range p.tasks {
			h.Measured = h.Measured || task.measured() && task.budget > 0
		}
		if h.Measured {
			h.Earned = p.earned(maxDay)
		}
		hours[job] = h
	}
	return hours
}
