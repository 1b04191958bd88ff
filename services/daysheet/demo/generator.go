package demo

import (
	"encoding/json"
	"fmt"
	"maps"
	"math/rand/v2"
	"slices"
	"time"

	"daysheet/events"
)

// generator makes up one firm.
type generator struct {
	opts  Options
	zone  *time.Location
	name  string
	begin events.Day // when the firm starts to use the ledger
	today events.Day
	years float64 // from begin to today
	truth truth

	repeats map[string]int                  // how often a crew did a task
	used    map[events.Day]map[string]int64 // thousandths of products used, by first day of the quarter
	out     []Submission
	err     error
}

func newGenerator(opts Options, zone *time.Location, name string) *generator {
	now := opts.Today.In(zone)
	days := max(3*365*opts.Jobs/jobsDefault, 420)
	g := &generator{
		opts: opts, zone: zone, name: name, today: events.DayOf(now), begin: events.DayOf(now).Add(-days),
		years: float64(days) / 365, truth: truth{opts.Seed},
		repeats: map[string]int{}, used: map[events.Day]map[string]int64{},
	}
	return g
}

// progress returns how much of the firm's time has gone by on a day, 0 to 1.
func (g *generator) progress(d events.Day) float64 {
	return d.Time().Sub(g.begin.Time()).Hours() / g.today.Time().Sub(g.begin.Time()).Hours()
}

// clock returns a time of day, given in minutes after midnight.
func (g *generator) clock(d events.Day, minutes int) time.Time {
	t := d.Time()
	return time.Date(t.Year(), t.Month(), t.Day(), 0, minutes, 0, 0, g.zone)
}

// event makes an event. Ids are in the form of those a phone makes at the tap
// (RFC 9562, version 7), with draws in place of true randomness.
func (g *generator) event(job, source string, t events.Type, at time.Time, rng *rand.Rand,
	payload events.Payload) events.Event {
	data, err := json.Marshal(payload)
	if err != nil && g.err == nil {
		g.err = fmt.Errorf("write %s of %s: %w", t, job, err)
	}
	ms, a, b := at.UnixMilli(), rng.Uint64(), rng.Uint64()
	return events.Event{
		ID: fmt.Sprintf("%08x-%04x-7%03x-%04x-%012x",
			ms>>16, ms&0xffff, a&0xfff, 0x8000|a>>12&0x3fff, b&0xffffffffffff),
		Source: source, Type: t, Subject: job, Time: at.Format(time.RFC3339), Data: data,
	}
}

// workday reports whether the firm works on a day: not at weekends and not
// between the years.
func workday(d events.Day) bool {
	t := d.Time()
	between := t.Month() == time.December && t.Day() >= 24 || t.Month() == time.January && t.Day() <= 6
	return t.Weekday() != time.Saturday && t.Weekday() != time.Sunday && !between
}

// workdayOn returns d if the firm works then, else the next day on which it does.
func workdayOn(d events.Day) events.Day {
	for !workday(d) {
		d = d.Add(1)
	}
	return d
}

func nextWorkday(d events.Day) events.Day { return workdayOn(d.Add(1)) }

// quarterOf returns the first day of d's quarter of the firm's time, and its
// number.
func (g *generator) quarterOf(d events.Day) (events.Day, int) {
	const days = 91
	n := max(0, int(d.Time().Sub(g.begin.Time()).Hours()/24)/days)
	return g.begin.Add(n * days), n
}

// slot is a place in the calendar of a crew.
type slot struct {
	crew  crew
	start events.Day
}

// slots spreads the finished jobs evenly over the firm's time, each crew its
// share.
func (g *generator) slots() []slot {
	const leadDays, tailDays = 50, 40
	load := 0
	for _, c := range crews {
		load += c.load
	}
	span := int(g.today.Time().Sub(g.begin.Time()).Hours()/24) - leadDays - tailDays
	var all []slot
	left, leftLoad := g.opts.Jobs, load
	for _, c := range crews {
		n := left * c.load / leftLoad
		left, leftLoad = left-n, leftLoad-c.load
		for i := range n {
			all = append(all, slot{c, g.begin.Add(leadDays + (i*span+c.load)/n)})
		}
	}
	slices.SortStableFunc(all, func(a, b slot) int {
		if a.start != b.start {
			return a.start.Time().Compare(b.start.Time())
		}
		return slices.IndexFunc(crews, func(c crew) bool { return c.key == a.crew.key }) -
			slices.IndexFunc(crews, func(c crew) bool { return c.key == b.crew.key })
	})
	return all
}

// jobs makes up every job in the order in which they start.
func (g *generator) jobs() {
	deck := g.truth.rand("deck")
	var kinds []kindOfJob
	free := map[string]events.Day{}
	for i, s := range g.slots() {
		if len(kinds) == 0 {
			kinds = shuffledKinds(deck)
		}
		start := workdayOn(max(s.start, free[s.crew.key]))
		j := g.newJob(i+1, kinds[0], s.crew, start)
		kinds = kinds[1:]
		j.run()
		free[s.crew.key] = nextWorkday(j.day)
		g.keep(j)
	}
	for i, k := range []int{1, 0} { // occupied redecoration, new dwelling
		g.keep(g.runningJob(g.opts.Jobs+i+1, kindsOfJob[k], crews[i], free[crews[i].key]))
	}
	for i, k := range []int{1, 4} { // accepted, and to begin in the next days
		j := g.newJob(g.opts.Jobs+3+i, kindsOfJob[k], crews[i], workdayOn(g.today.Add(4+3*i)))
		j.run()
		g.keep(j)
	}
}

// shuffledKinds returns ten jobs' kinds by their share, shuffled.
func shuffledKinds(rng *rand.Rand) (kinds []kindOfJob) {
	for _, k := range kindsOfJob {
		for range k.share {
			kinds = append(kinds, k)
		}
	}
	rng.Shuffle(len(kinds), func(a, b int) { kinds[a], kinds[b] = kinds[b], kinds[a] })
	return kinds
}

// runningJob makes up a job that is under way today: begun as long ago as it
// can be with its protection still down.
func (g *generator) runningJob(number int, k kindOfJob, c crew, free events.Day) *job {
	before := maps.Clone(g.repeats)
	var best *job
	start := g.today
	for back := range 12 {
		for start = start.Add(-1); !workday(start); {
			start = start.Add(-1)
		}
		g.repeats = maps.Clone(before)
		j := g.newJob(number, k, c, start)
		j.run()
		if best != nil && (start < free || !j.liftedAt.After(g.opts.Today)) && back > 0 {
			break
		}
		best = j
	}
	return best
}

// keep cuts a job off at today and adds what is left in submissions: each
// week's events in one.
func (g *generator) keep(j *job) {
	const gap = 2 * 24 * time.Hour
	var s Submission
	send := func() {
		if len(s.Events) > 0 {
			g.out = append(g.out, s)
		}
		s = Submission{}
	}
	for _, m := range j.made {
		if m.at.After(g.opts.Today) {
			break
		}
		if len(s.Events) == batchMax || len(s.Events) > 0 && (m.at.Sub(s.At) > gap || m.by != s.By) {
			send()
		}
		s.Job, s.By, s.At = j.key, m.by, m.at
		s.Events = append(s.Events, m.event)
		quarter, _ := g.quarterOf(events.DayOf(m.at))
		if g.used[quarter] == nil {
			g.used[quarter] = map[string]int64{}
		}
		for _, u := range m.uses {
			g.used[quarter][u.product] += u.milli
		}
	}
	send()
}
