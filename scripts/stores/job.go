package main

import (
	"fmt"
	"math/rand/v2"
	"slices"

	"daysheet/events"
	"daysheet/reports"
)

// material is something that a firm buys.
type material struct {
	key  string
	unit events.Unit
}

var (
	jobTypes  = []string{"occupied-home", "empty-home", "stairwell", "office", "school", "facade", "windows", "shop"}
	surfaces  = []string{"wall", "ceiling", "woodwork", "metal", "floor", "facade"}
	methods   = []string{"roller", "brush", "spray", "hand", "machine"}
	grades    = []string{"master", "journeyman", "apprentice", "helper"}
	places    = []string{"store", "van-1", "van-2", "van-3", "van-4"}
	causes    = []string{"ours", "customer", "other-trade", "unknown"}
	marks     = []reports.Mark{reports.MarkRecordedLate, reports.MarkUnpriced, reports.MarkUnknownPerson}
	tasks     = events.StandardTasks()
	laying    = tasks[2:12] // the tasks of protection
	materials = inventedMaterials()
)

func inventedMaterials() []material {
	units := []events.Unit{events.Litre, events.Kilogram, events.Roll, events.Sheet}
	made := make([]material, 60)
	for i := range made {
		made[i] = material{fmt.Sprintf("product-%02d", i), units[i%len(units)]}
	}
	return made
}

func pick[T any](random *rand.Rand, from []T) T { return from[random.IntN(len(from))] }

// job makes the commits of one job: it is opened, estimated, accepted, worked on
// for some steps, signed off and closed.
type job struct {
	lane  *lane
	row   reports.JobRow
	day   events.Day // of what happens next
	step  int
	steps int

	planned  int64            // price
	down     []reports.Fact   // protection that is down
	voidable [][]reports.Fact // what an event made that can still be taken back
}

// next makes the facts of the job's next commit, and says whether it is the last.
func (j *job) next() (rows []reports.Fact, over bool) {
	j.step++
	if j.lane.random.IntN(2) == 0 {
		j.day = j.day.Add(1)
	}
	switch j.step {
	case 1:
		return j.marked(60), false
	case 2:
		j.row.State = events.Estimated
		return j.estimate(reports.SideEstimate, 9+j.lane.random.IntN(6)), false
	case 3:
		j.row.State, j.row.Accepted = events.Accepted, j.day
		return nil, false
	case j.steps:
		j.row.State, j.row.Finished = events.SignedOff, j.day
		return j.marked(20), false
	case j.steps + 1:
		j.row.State = events.Closed
		f := j.fact(reports.SideActual, reports.KindPrice)
		f.CostE4 = j.planned
		return []reports.Fact{f}, true
	}
	j.row.State = events.Running
	return j.work(), false
}

// fact returns a fact of a new event.
func (j *job) fact(side reports.Side, kind reports.Kind) reports.Fact {
	return reports.Fact{
		Firm: j.row.Firm, Job: j.row.Job, JobType: j.row.JobType, Partition: j.row.Partition, EventID: j.lane.id(),
		OccurredAt: j.day.Time().Unix() + int64(21_600+j.lane.random.IntN(40_000)), Day: j.day,
		Side: side, Kind: kind, Sign: 1,
	}
}

// of returns a copy of a fact of the same event with another kind and measure.
func of(f reports.Fact, kind reports.Kind, minutes, milli, cost int64) reports.Fact {
	f.Kind, f.Minutes, f.QuantityMilli, f.CostE4 = kind, minutes, milli, cost
	return f
}

// marked returns a mark in one of so many cases.
func (j *job) marked(among int) []reports.Fact {
	if j.lane.random.IntN(among) > 0 {
		return nil
	}
	f := j.fact(reports.SideActual, reports.KindMark)
	f.Task, f.Unit, f.QuantityMilli = string(pick(j.lane.random, marks)), events.Each, 1000
	return []reports.Fact{f}
}

// estimate returns lines of an estimate or a variation, and their price.
func (j *job) estimate(side reports.Side, lines int) []reports.Fact {
	var (
		random = j.lane.random
		offer  = j.fact(side, reports.KindPrice)
		rows   []reports.Fact
		cost   int64
	)
	for range lines {
		task, line := pick(random, tasks), offer
		line.Task, line.Family, line.Surface = task.Task, task.Family, pick(random, surfaces)
		minutes := int64(30 + random.IntN(600))
		labour := of(line, reports.KindLabour, minutes, 0, minutes*4_200)
		labour.Grade = pick(random, grades)
		quantity := of(line, reports.KindQuantity, 0, int64(1000+random.IntN(90_000)), 0)
		quantity.Unit = task.Unit
		used := pick(random, materials)
		stuff := of(line, reports.KindMaterial, 0, int64(500+random.IntN(9_000)), int64(20_000+random.IntN(900_000)))
		stuff.Product, stuff.Unit = used.key, used.unit
		overhead := of(line, reports.KindOverhead, 0, 0, (labour.CostE4+stuff.CostE4)/6)
		rows = append(rows, labour, quantity, stuff, overhead)
		cost += labour.CostE4 + stuff.CostE4 + overhead.CostE4
	}
	offer.CostE4 = cost + cost*int64(random.IntN(30))/100
	j.planned += offer.CostE4
	return append(rows, offer)
}

// work is a commit of work on site: of one to three events.
func (j *job) work() []reports.Fact {
	var rows []reports.Fact
	for range 1 + j.lane.random.IntN(3) {
		rows = append(rows, j.event()...)
	}
	return rows
}

func (j *job) event() []reports.Fact {
	random := j.lane.random
	switch n := random.IntN(100); {
	case n < 40:
		return j.kept(j.hours())
	case n < 65:
		return j.kept(j.coat())
	case n < 75:
		return j.lay()
	case n < 85 && len(j.down) > 0:
		return j.lift()
	case n < 87:
		f := j.fact(reports.SideActual, reports.KindDamage)
		f.Unit, f.QuantityMilli, f.Method = events.Each, 1000, pick(random, causes)
		f.CostE4, f.Location = int64(100_000+random.IntN(2_000_000)), j.location()
		return []reports.Fact{f}
	case n < 90 && len(j.voidable) > 0:
		return j.void()
	case n == 90:
		return j.estimate(reports.SideVariation, 2)
	case n < 94:
		return j.marked(1)
	}
	return j.kept(j.coat())
}

// kept remembers what an event made, so that it can be taken back.
func (j *job) kept(rows []reports.Fact) []reports.Fact {
	j.voidable = append(j.voidable, rows)
	return rows
}

// void takes back what one event made.
func (j *job) void() []reports.Fact {
	at := j.lane.random.IntN(len(j.voidable))
	taken := slices.Clone(j.voidable[at])
	j.voidable = slices.Delete(j.voidable, at, at+1)
	for i := range taken {
		taken[i].Sign = -1
	}
	return taken
}

func (j *job) location() string {
	return fmt.Sprintf("Room %d, floor %d", j.lane.random.IntN(9), j.lane.random.IntN(5))
}

func (j *job) hours() []reports.Fact {
	random := j.lane.random
	task, f := pick(random, tasks), j.fact(reports.SideActual, reports.KindLabour)
	f.Task, f.Family, f.Surface, f.Location = task.Task, task.Family, pick(random, surfaces), j.location()
	f.Person, f.Grade = fmt.Sprintf("person-%02d", random.IntN(24)), pick(random, grades)
	f.Minutes = int64(15 * (1 + random.IntN(32)))
	f.CostE4 = f.Minutes * 4_400
	return []reports.Fact{f, of(f, reports.KindOverhead, 0, 0, f.CostE4/6)}
}

func (j *job) coat() []reports.Fact {
	random := j.lane.random
	task, used, f := pick(random, tasks), pick(random, materials), j.fact(reports.SideActual, reports.KindQuantity)
	f.Task, f.Family, f.Surface, f.Location = task.Task, task.Family, pick(random, surfaces), j.location()
	stuff := of(f, reports.KindMaterial, 0, int64(200+random.IntN(12_000)), int64(10_000+random.IntN(900_000)))
	stuff.Product, stuff.Unit, stuff.Place = used.key, used.unit, pick(random, places)
	f.Method, f.Product, f.Unit = pick(random, methods), used.key, task.Unit
	f.QuantityMilli = int64(500 + random.IntN(60_000))
	overhead := of(stuff, reports.KindOverhead, 0, 0, stuff.CostE4/6)
	overhead.Unit = ""
	return []reports.Fact{f, stuff, overhead}
}

// lay puts protection down.
func (j *job) lay() []reports.Fact {
	random := j.lane.random
	task, used, f := pick(random, laying), pick(random, materials), j.fact(reports.SideActual, reports.KindQuantity)
	f.Task, f.Family, f.Surface, f.Location = task.Task, task.Family, pick(random, surfaces), j.location()
	f.Product, f.Unit, f.QuantityMilli = used.key, task.Unit, int64(500+random.IntN(30_000))
	stuff := of(f, reports.KindMaterial, 0, int64(200+random.IntN(4_000)), int64(10_000+random.IntN(200_000)))
	stuff.Unit, stuff.Place = used.unit, pick(random, places)
	down := of(f, reports.KindDown, 0, f.QuantityMilli, 0)
	down.Method = string(j.day.Add(14))
	j.down = append(j.down, down)
	return []reports.Fact{f, stuff, down}
}

// lift takes up what was laid first.
func (j *job) lift() []reports.Fact {
	down := j.down[0]
	j.down = j.down[1:]
	f := j.fact(reports.SideActual, reports.KindQuantity)
	f.Task, f.Family, f.Surface, f.Location = "lift-protection", events.FamilyLifting, down.Surface, down.Location
	f.Unit, f.QuantityMilli = down.Unit, down.QuantityMilli
	down.Sign = -1
	return []reports.Fact{f, down}
}
