package demo

import (
	"math"

	"daysheet/events"
)

// How often a room comes to harm during a job, by what lies on its floor, and
// what that costs.
const (
	harmBare, harmFilm, harmBoard = .05, .012, .004
	harmMedian, harmSpread        = 250, .8
)

// findDamage finds what was harmed below and beside the protection.
func (j *job) findDamage() {
	j.damages = nil
	for _, room := range j.rooms {
		chance := harmBare
		for _, l := range j.laid {
			switch {
			case l.room != room:
			case l.task == "protect-floor":
				chance = min(chance, harmBoard)
			default:
				chance = min(chance, harmFilm)
			}
		}
		if j.rng.Float64() >= chance*2 { // two things in a room that can come to harm
			continue
		}
		cause := "ours"
		switch draw := j.rng.Float64(); {
		case draw < .2:
			cause = "others"
		case draw < .3:
			cause = "unknown"
		}
		cost := harmMedian * math.Exp(j.rng.NormFloat64()*harmSpread)
		const five = 50_000
		e4 := int64(math.Round(cost/5)) * five
		id := j.add(j.crew.people[0], j.at, events.DamageFound, &events.Damage{Location: room, Item: "floor covering",
			Finding: "Paint on the floor beside the wall", Cause: cause, Task: "protect-floor", CostE4: e4})
		j.damages = append(j.damages, id)
	}
}

// finish makes good, clears snags, has the job signed off and closes it.
func (j *job) finish() {
	for _, id := range j.damages {
		minutes := 30 + 15*j.rng.IntN(6)
		if j.capacity-j.worked[j.crew.people[0]] < minutes {
			j.nextDay()
		}
		j.spend(j.crew.people[0], "make-good", minutes)
		const five = 50_000
		e4 := int64(math.Round(harmMedian*.8*math.Exp(j.rng.NormFloat64()*harmSpread)/5)) * five
		j.add(j.crew.people[0], j.at, events.DamageMadeGood,
			&events.MakingGood{Damage: id, Work: "Cleaned, the mark is gone", CostE4: e4})
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
	roles := []string{"owner", "site manager", "caretaker"}
	j.add(j.crew.people[0], j.clock(j.day, 15*60+j.rng.IntN(60)), events.JobSignedOff,
		&events.SignOff{Role: roles[j.rng.IntN(len(roles))]})
	closed := workdayOn(j.day.Add(3 + j.rng.IntN(12)))
	j.add(office, j.clock(closed, 9*60+j.rng.IntN(200)), events.JobClosed, &events.Closing{BilledE4: j.priceE4})
}

// spend books hours of one person beside the planned lines.
func (j *job) spend(person, task string, minutes int) {
	j.worked[person] += minutes
	j.add(person, j.now(person), events.HoursBooked,
		&events.Hours{Person: person, Task: task, Minutes: int64(minutes)})
}
