package demo

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"time"

	"daysheet/events"
)

// job is one job being made up. Its clock only goes forward.
type job struct {
	*generator
	rng     *rand.Rand
	key     string
	number  int
	kind    kindOfJob
	jobType string
	crew    crew
	effect  float64 // of this job on all its lines
	start   events.Day

	day      events.Day
	worked   map[string]int // minutes of each person on the day at hand
	capacity int            // minutes that a person works on the day at hand
	at       time.Time      // of the last event
	lines    []line
	rooms    []string
	priceE4  int64
	chargeE4 int64 // for an hour

	laid     []laying
	hoods    []string // events that covered detectors
	quiet    int      // events that only tell more, and change nothing of the work
	liftedAt time.Time
	damages  []string
	mistakes []mistake
	made     []made
}

// line is one piece of work with its plan and what it will come to.
type line struct {
	work
	coat     int64
	location string
	planned  int64 // thousandths of the unit
	actual   int64
	minutes  int // planned
	takes    int // minutes in truth
	extra    bool
}

// laying is protection that is down.
type laying struct {
	id, task, room string
	milli          int64
}

// made is an event with who sends it and what it takes from stock.
type made struct {
	at    time.Time
	by    string
	event events.Event
	uses  []taken
}

type taken struct {
	product string
	milli   int64
}

// office is who sends what is not done on site.
const office = "office"

// newJob draws a job: its size, its lines, and what they will come to.
func (g *generator) newJob(number int, k kindOfJob, c crew, start events.Day) *job {
	j := &job{
		generator: g, number: number, key: g.jobKey(number), kind: k, jobType: k.jobType, crew: c,
		rng: g.truth.rand(fmt.Sprintf("job %d", number)), start: start, day: start, worked: map[string]int{},
	}
	j.effect = j.rng.NormFloat64() * jobSD
	if j.rng.Float64() < badJob {
		j.effect += .5
	}
	floor := k.floor * math.Exp(min(.5, max(-.5, j.rng.NormFloat64()*.3)))
	if len(c.people) == 1 {
		floor *= .6 // one painter gets the smaller jobs
	}
	rooms := 3 + j.rng.IntN(len(k.rooms)-2)
	j.rooms = k.rooms[:rooms]
	revision := 1
	if g.progress(j.offered()) >= bookRevisedAt {
		revision = 2
	}
	j.addLine(revision, work{phase: settingUp, task: "set-up"}, floor)
	for _, w := range k.works {
		j.addLine(revision, w, floor*(.85+.3*j.rng.Float64()))
	}
	var down float64
	for _, l := range j.lines {
		if l.phase == protecting && unitOf(l.task) == events.SquareMetre {
			down += float64(l.planned) / 1000
		}
	}
	j.coatTheSame()
	j.addLine(revision, work{phase: lifting, task: "lift-protection", perFloor: 1}, down)
	j.addLine(revision, work{phase: cleaning, task: "clean", perFloor: 1}, floor)
	return j
}

// jobKey returns the key of a job by its number.
func (g *generator) jobKey(number int) string { return fmt.Sprintf("d-%04d", number) }

// offered returns the day of the estimate.
func (j *job) offered() events.Day { return workdayOn(j.start.Add(-16 - j.number%9)) }

// addLine plans a line and draws what it will come to.
func (j *job) addLine(revision int, w work, floor float64) {
	l := line{work: w, location: j.rooms[j.rng.IntN(len(j.rooms))]}
	step := stepOf(w.task)
	if w.phase == settingUp {
		l.minutes = 60 * (1 + j.rng.IntN(2)) * len(j.crew.people)
		l.takes = roundTo(float64(l.minutes)*j.lineFactor(j, w), 15)
		j.lines = append(j.lines, l)
		return
	}
	switch w.phase {
	case firstCoat:
		l.coat = 1
	case secondCoat:
		l.coat = 2
	}
	if w.task == "coat-door" {
		l.coat = 1
	}
	l.planned = max(step, int64(math.Round(w.perFloor*floor*1000/float64(step)))*step)
	l.actual = max(step, int64(math.Round(float64(l.planned)*math.Exp(j.rng.NormFloat64()*.05)/float64(step)))*step)
	l.minutes = roundTo(float64(l.planned)/1000*bookMinutes(revision, w), 5)
	l.takes = roundTo(float64(l.actual)/1000*bookMinutes(1, w)*j.lineFactor(j, w), 5)
	j.lines = append(j.lines, l)
}

// stepOf returns the thousandths to which amounts of a task are measured: half
// a unit, but no half doors.
func stepOf(task string) int64 {
	if unitOf(task) == events.Each {
		return 1000
	}
	return 500
}

// roundTo rounds minutes to a step, and to one step at least.
func roundTo(minutes float64, step int) int {
	return max(1, int(math.Round(minutes/float64(step)))) * step
}

// add records an event at a time, or at that of the last event if it is later.
func (j *job) add(by string, at time.Time, t events.Type, payload events.Payload, uses ...taken) string {
	if at.Before(j.at) {
		at = j.at
	}
	j.at = at
	source := "/demo/phones/" + by
	if by == office {
		source = "/demo/office"
	} else {
		by = j.crew.key
	}
	e := j.event(j.key, source, t, at, j.rng, payload)
	j.made = append(j.made, made{at, by, e, uses})
	return e.ID
}

// tell records an event that only tells more of the job. It has draws of its own, so
// that the work is the same with it and without.
func (j *job) tell(by string, at time.Time, t events.Type, payload events.Payload, uses ...taken) string {
	draws := j.rng
	j.rng = j.truth.rand(fmt.Sprintf("job %d tells %d", j.number, j.quiet))
	j.quiet++
	id := j.add(by, at, t, payload, uses...)
	j.rng = draws
	return id
}

// coatTheSame puts second coats where the first ones are, on as much of it.
func (j *job) coatTheSame() {
	for i := range j.lines {
		for _, l := range j.lines[:i] {
			if j.lines[i].coat == 2 && l.coat == 1 && l.task == j.lines[i].task && l.surface == j.lines[i].surface {
				j.lines[i].location = l.location
				j.lines[i].resize(l.planned)
			}
		}
	}
}

// resize plans a line for another quantity, with all that follows from it.
func (l *line) resize(planned int64) {
	ratio, step := float64(planned)/float64(l.planned), stepOf(l.task)
	l.planned = planned
	l.actual = max(step, int64(math.Round(float64(l.actual)*ratio/float64(step)))*step)
	l.minutes = roundTo(float64(l.minutes)*ratio, 5)
	l.takes = roundTo(float64(l.takes)*ratio, 5)
}

// markSlip marks the last event as a slip of the demo, so that a test can tell
// it from the work.
func (j *job) markSlip() {
	j.made[len(j.made)-1].event.Extensions = map[string]json.RawMessage{"demoslip": json.RawMessage(`true`)}
}

// run lets the job happen.
func (j *job) run() {
	j.offer()
	j.arrive()
	extra := -1
	if j.rng.Float64() < .3 {
		extra = j.firstOf(firstCoat)
	}
	for i := 0; i < len(j.lines); i++ {
		if i == extra {
			j.vary(i)
		}
		if i > 0 && j.lines[i].coat == 2 && j.lines[i-1].phase == firstCoat {
			j.nextDay() // the first coat dries
		}
		if j.lines[i].phase == lifting {
			j.findDamage()
		}
		j.do(j.lines[i])
	}
	j.finish()
}

// firstOf returns the first line of a phase.
func (j *job) firstOf(p phase) int {
	for i, l := range j.lines {
		if l.phase == p {
			return i
		}
	}
	return -1
}
