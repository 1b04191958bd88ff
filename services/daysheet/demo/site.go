package demo

import (
	"math"
	"slices"
	"time"

	"daysheet/events"
)

const (
	dayStarts  = 7*60 + 30 // minutes after midnight
	breakAfter = 270       // minutes of work
	breakTakes = 30
)

// arrive starts the first day: how everything was found.
func (j *job) arrive() {
	j.day, j.capacity = j.start, j.hoursToday()
	for i, room := range j.rooms {
		c := &events.Condition{Location: room, Finding: "Sound, no damage seen"}
		if j.rng.Float64() < .2 {
			c.Item, c.Finding, c.Damaged = "window board", "Scratch of a hand's width, there before the work", true
		}
		j.add(j.crew.people[0], j.clock(j.day, dayStarts-15+i), events.ConditionRecorded, c)
	}
}

// hoursToday returns how many minutes people work on the day at hand.
func (j *job) hoursToday() int {
	minutes := 480
	if j.day.Time().Weekday() == time.Friday {
		minutes = 390
	}
	if j.rng.Float64() < .15 {
		minutes += 60
	}
	return minutes
}

// nextDay goes home and comes again.
func (j *job) nextDay() {
	j.day = nextWorkday(j.day)
	j.capacity = j.hoursToday()
	clear(j.worked)
	j.mend()
	if down := j.down(); len(down) > 0 && j.rng.Float64() < .3 {
		l := down[j.rng.IntN(len(down))]
		c := &events.ProtectionCheck{Laid: l.id, Finding: "Lies flat, edges hold", Sound: true}
		if j.rng.Float64() < .1 {
			c.Finding, c.Sound = "Edge had come loose, taped again", false
		}
		j.add(j.crew.people[0], j.clock(j.day, dayStarts-10), events.ProtectionChecked, c)
	}
}

// down returns the protection that is down.
func (j *job) down() []laying {
	if !j.liftedAt.IsZero() {
		return nil
	}
	return j.laid
}

// now returns the time of day of a person, lunch included.
func (j *job) now(person string) time.Time {
	worked := j.worked[person]
	if worked > breakAfter {
		worked += breakTakes
	}
	return j.clock(j.day, dayStarts+worked)
}

// do works off a line: hours of each person, and at the end of each day what
// was done of it.
func (j *job) do(l line) {
	left, milli := l.takes, l.actual
	for left > 0 {
		spent := 0
		var last string
		helpers := len(j.crew.people)
		if left <= 30 {
			helpers = 1
		}
		for i := range helpers {
			person := j.crew.people[(i+len(j.made)-j.quiet)%len(j.crew.people)]
			share := (left - spent + helpers - i - 1) / (helpers - i)
			share = min((share+4)/5*5, left-spent, j.capacity-j.worked[person])
			if share <= 0 {
				continue
			}
			j.worked[person] += share
			spent += share
			last = person
			j.book(person, l, share)
		}
		if spent == 0 {
			j.nextDay()
			continue
		}
		step := stepOf(l.task)
		done := int64(math.Round(float64(milli)*float64(spent)/float64(left)/float64(step))) * step
		if left == spent {
			done = milli
		}
		left -= spent
		milli -= done
		if done > 0 {
			j.record(last, l, done)
		}
	}
	if l.phase == lifting {
		j.lift()
	}
}

// book books hours, and now and then wrongly.
func (j *job) book(person string, l line, minutes int) {
	h := events.Hours{Person: person, Task: l.task, Surface: l.surface, Method: l.method, Minutes: int64(minutes)}
	if l.extra {
		h.Location = l.location
	}
	at := j.now(person)
	switch draw := j.rng.Float64(); {
	case draw < slip:
		wrong := h
		if wrong.Minutes *= 10; wrong.Minutes > events.MinutesMax {
			wrong.Minutes = int64(max(1, minutes/10))
		}
		id := j.add(person, at, events.HoursBooked, &wrong)
		j.markSlip()
		if j.rng.Float64() < .67 {
			h.Day = j.day
			j.mistakes = append(j.mistakes, mistake{id, h})
		}
	case draw < 2*slip:
		wrong := h
		wrong.Task, wrong.Surface, wrong.Method = "travel", "", ""
		id := j.add(person, at, events.HoursBooked, &wrong)
		j.add(person, at.Add(2*time.Minute), events.EventVoided, &events.Void{Event: id, Reason: "Booked on the wrong task"})
		j.add(person, at.Add(3*time.Minute), events.HoursBooked, &h)
	default:
		j.add(person, at, events.HoursBooked, &h)
	}
}

// mistake is a booking that somebody will find.
type mistake struct {
	event string
	right events.Hours
}

// mend puts found mistakes right.
func (j *job) mend() {
	for i, m := range j.mistakes {
		at := j.clock(j.day, dayStarts-9+i)
		j.add(m.right.Person, at, events.EventVoided, &events.Void{Event: m.event, Reason: "Typed ten times wrong"})
		j.add(m.right.Person, at, events.HoursBooked, &m.right)
	}
	j.mistakes = nil
}

// record says what was done of a line on the day at hand.
func (j *job) record(person string, l line, milli int64) {
	at := j.at.Add(time.Minute)
	uses := j.uses(l, milli)
	switch l.phase {
	case protecting:
		j.lay(person, at, l, milli)
	case preparing, priming:
		j.add(person, at, events.SurfacePrepared, &events.Preparation{Task: l.task, Surface: l.surface, Method: l.method,
			Location: l.location, QuantityMilli: milli, Unit: unitOf(l.task)})
		if uses == 0 {
			return
		}
		unit := productOf(l.product).Unit
		used := &events.Usage{Product: l.product, QuantityMilli: uses, Unit: unit, Task: l.task, Place: van}
		j.add(person, at, events.MaterialUsed, used, taken{l.product, uses})
		if back := uses / 4; back > 0 && j.rng.Float64() < .08 {
			j.add(person, at, events.MaterialReturned, &events.Return{Product: l.product, QuantityMilli: back, Unit: unit,
				Task: l.task, Place: van})
		}
	case firstCoat, secondCoat:
		j.coat(person, at, l, milli, uses)
	case cleaning:
		j.add(person, at, events.SurfacePrepared, &events.Preparation{Task: l.task, Location: l.location,
			QuantityMilli: milli, Unit: unitOf(l.task)})
	}
}

// uses draws what an amount of work takes of the line's product: pieces whole,
// sheets by halves.
func (j *job) uses(l line, milli int64) int64 {
	spread := .10
	if l.phase == protecting {
		spread = .13
	}
	step := 1.0
	switch productOf(l.product).Unit {
	case events.Each:
		step = 1000
	case events.Sheet:
		step = 500
	}
	return int64(math.Round(float64(l.consumes(milli))*math.Exp(.03+j.rng.NormFloat64()*spread)/step) * step)
}

// lay puts protection down: floors room by room, where a room may be left
// without, the rest in one place.
func (j *job) lay(person string, at time.Time, l line, milli int64) {
	rooms := []string{l.location}
	if l.task == "protect-floor" {
		rooms = slices.Clone(j.rooms)
		bare := .15
		if j.jobType == occupied {
			bare = .05
		}
		rooms = slices.DeleteFunc(rooms, func(string) bool { return j.rng.Float64() < bare })
		if len(rooms) == 0 || milli < 500*int64(len(rooms)) {
			rooms = j.rooms[:1]
		}
	}
	p := productOf(l.product)
	for i, room := range rooms {
		part := milli / int64(len(rooms)-i)
		milli -= part
		e := &events.Protection{Task: l.task, Surface: l.surface, Location: room, QuantityMilli: part, Unit: unitOf(l.task),
			Product: l.product, Reused: p.Reusable}
		var uses []taken
		if amount := j.uses(l, part); amount > 0 {
			e.ProductQuantityMilli, e.ProductUnit, e.Place = amount, p.Unit, van
			uses = append(uses, taken{l.product, amount})
		}
		if p.CleanRemovalDays > 0 {
			e.RemoveBy = j.day.Add(int(p.CleanRemovalDays))
		}
		id := j.add(person, at.Add(time.Duration(i)*time.Minute), events.ProtectionLaid, e, uses...)
		j.laid = append(j.laid, laying{id, l.task, room, part})
	}
	if l.task == "protect-light-fitting" && len(j.hoods) == 0 {
		j.hoods = append(j.hoods, j.tell(person, j.at, events.ProtectionLaid, &events.Protection{Task: "protect-detector",
			Location: l.location, QuantityMilli: 1000, Unit: events.Each, Product: "cover-cap", Reused: true}))
	}
}

// lift takes all protection up.
func (j *job) lift() {
	at := j.at.Add(time.Minute)
	for i, l := range j.laid {
		person := j.crew.people[i%len(j.crew.people)]
		j.add(person, at, events.ProtectionLifted, &events.Lifting{Laid: l.id})
	}
	for _, id := range j.hoods {
		j.tell(j.crew.people[0], j.at, events.ProtectionLifted, &events.Lifting{Laid: id})
	}
	j.liftedAt = at
}
