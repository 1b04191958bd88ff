package demo

import (
	"math"
	"slices"

	"daysheet/events"
)

// How often a thing in a room comes to harm during a job, by what covers it, and
// what that costs. Sizes are invented.
const (
	harmBare, harmFilm, harmBoard = .05, .012, .004
	harmMedian, harmSpread        = 250, .8 // the spread is that of the logarithm
)

// thing is what can come to harm, with the task that prevents it.
type thing struct{ task, item string }

var things = []thing{
	{"protect-floor", "floor covering"}, {"protect-glass", "window"}, {"protect-joinery", "window board"},
	{"protect-radiator", "radiator"}, {"protect-worktop", "worktop"}, {"protect-handrail", "handrail"},
}

// findDamage finds what was harmed below and beside the protection.
func (j *job) findDamage() {
	for _, room := range j.rooms {
		for _, t := range things {
			if j.rng.Float64() < j.harm(room, t.task) {
				j.findOne(room, t)
			}
		}
	}
}

// harm returns how likely a thing in a room was harmed: never where the kind of
// job has none, most where its floor was left bare.
func (j *job) harm(room, task string) float64 {
	if !slices.ContainsFunc(j.kind.works, func(w work) bool { return w.task == task }) {
		return 0
	}
	if task != "protect-floor" {
		return harmFilm
	}
	if slices.ContainsFunc(j.laid, func(l laying) bool { return l.task == task && l.room == room }) {
		return harmBoard
	}
	return harmBare
}

// harmCost draws what harm costs, to the nearest five.
func (j *job) harmCost(median float64) int64 {
	const five = 50_000
	return int64(math.Round(median*math.Exp(j.rng.NormFloat64()*harmSpread)/5)) * five
}

func (j *job) findOne(room string, t thing) {
	cause := "ours"
	switch draw := j.rng.Float64(); {
	case draw < .2:
		cause = "others"
	case draw < .3:
		cause = "unknown"
	}
	j.damages = append(j.damages, j.add(j.crew.people[0], j.at, events.DamageFound, &events.Damage{
		Location: room, Item: t.item, Finding: "Paint on it, a hand wide", Cause: cause, Task: t.task,
		CostE4: j.harmCost(harmMedian)}))
}

// finish makes good, clears snags, has the job signed off and closes it.
func (j *job) finish() {
	for _, id := range j.damages {
		minutes := 30 + 15*j.rng.IntN(6)
		if j.capacity-j.worked[j.crew.people[0]] < minutes {
			j.nextDay()
		}
		j.spend(j.crew.people[0], "make-good", minutes)
		j.add(j.crew.people[0], j.at, events.DamageMadeGood, &events.MakingGood{Damage: id,
			Work: "Cleaned and touched up, the mark is gone", CostE4: j.harmCost(harmMedian * .8)})
	}
	day := nextWorkday(j.day)
	var snags []string
	for range j.rng.IntN(4) {
		by := "customer"
		if j.rng.Float64() < .3 {
			by = "firm"
		}
		room := j.rooms[j.rng.IntN(len(j.rooms))]
		snags = append(snags, j.add(office, j.clock(day, 10*60+j.rng.IntN(20)), events.SnagRaised,
			&events.Snag{Location: room, Finding: "Edge not straight beside the door", RaisedBy: by}))
	}
	j.day = day
	if len(snags) > 0 || len(j.mistakes) > 0 {
		j.nextDay()
	}
	for i, id := range snags {
		person := j.crew.people[i%len(j.crew.people)]
		j.spend(person, "snag", 15+5*j.rng.IntN(6))
		j.add(person, j.at, events.SnagCleared, &events.SnagClearance{Snag: id, Work: "Cut in again"})
	}
	j.leave()
	j.tell(j.crew.people[0], j.at, events.NoteAdded, &events.Note{Text: "The key is back with the neighbour"})
	j.tell(j.crew.people[0], j.at, events.NoteAdded, &events.Note{ForCustomer: true,
		Text: "Leave the windows ajar until the paint is hard"})
	roles := []string{"owner", "site manager", "caretaker"}
	j.add(j.crew.people[0], j.clock(j.day, 15*60+j.rng.IntN(60)), events.JobSignedOff,
		&events.SignOff{Role: roles[j.rng.IntN(len(roles))]})
	closed := workdayOn(j.day.Add(3 + j.rng.IntN(12)))
	j.add(office, j.clock(closed, 9*60+j.rng.IntN(200)), events.JobClosed, &events.Closing{BilledE4: j.priceE4})
}

// leave leaves some of the last coating with the customer, to touch up with.
func (j *job) leave() {
	for _, l := range slices.Backward(j.lines) {
		if l.coat == 0 || l.product == "" {
			continue
		}
		const half = 500
		j.tell(j.crew.people[0], j.at, events.MaterialUsed, &events.Usage{Product: l.product, QuantityMilli: half,
			Unit: productOf(l.product).Unit, Place: van, Left: true}, taken{l.product, half})
		return
	}
}

// spend books hours of one person beside the planned lines.
func (j *job) spend(person, task string, minutes int) {
	j.worked[person] += minutes
	j.add(person, j.now(person), events.HoursBooked,
		&events.Hours{Person: person, Task: task, Minutes: int64(minutes)})
}
