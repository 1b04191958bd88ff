package invent

import (
	"fmt"
	"math"
	"time"

	"daysheet/events"
)

// site is one invented job on its way.
type site struct {
	*world
	key     string
	scope   scope
	crew    int
	day     events.Day
	today   []events.Event // of the day that is being written
	minute  int
	lines   []siteLine
	laid    []laidSheet
	price   int64
	running bool // in progress: it stops on Today
}

// siteLine is one line of work: as quoted, and as it will really go.
type siteLine struct {
	work            work
	coat            int64
	planned, actual int64 // thousandths of the unit
	minutes, took   int64
}

type laidSheet struct {
	id       string
	location string
	milli    int64
}

const dayMinutes = 450 // one person's working day on site

// job invents one job from opening to closing.
func (w *world) job(n int, day events.Day, running bool) {
	s := &site{world: w, scope: scopes[w.random.IntN(len(scopes))], crew: w.random.IntN(len(crews)), day: day, running: running}
	s.key = fmt.Sprintf("%s-%03d", s.scope.jobType, n+1)
	s.plan()
	s.office()
	s.work()
	if !s.running {
		s.handOver()
	}
	s.flush()
}

// add appends an event to the day, a few minutes after the one before.
func (s *site) add(t events.Type, payload any) string {
	s.minute += 3
	e := s.event(t, s.key, s.day, s.minute, payload)
	s.today = append(s.today, e)
	return e.ID
}

// flush sends the day.
func (s *site) flush() {
	s.submit(s.day, s.today...)
	s.today = nil
}

// nextDay goes on to the next working day; false if that would be after Today.
func (s *site) nextDay() bool {
	s.flush()
	next := s.day.Add(1)
	for next.Time().Weekday() == time.Saturday || next.Time().Weekday() == time.Sunday {
		next = next.Add(1)
	}
	if next > s.Today {
		return false
	}
	s.day, s.minute = next, 440
	return true
}

// plan draws the size and what the job will really take.
func (s *site) plan() {
	size := s.scope.size * math.Exp(.3*s.random.NormFloat64())
	luck := s.typeOff[s.scope.jobType] + s.crewOff[s.crew] + .08*s.random.NormFloat64()
	if s.random.Float64() < .03 {
		luck += .5 // a bad job
	}
	for _, l := range s.scope.lines {
		b := book[l.work]
		planned := int64(size*l.each*10) * 100
		if b.unit == events.Each {
			planned = int64(math.Ceil(size*l.each)) * 1000
		}
		planned = max(planned, 1000)
		off := s.taskOff[l.work] + luck + .15*s.random.NormFloat64()
		if s.scope.jobType == "occupied" && b.product != "" && (b.task == "protect-floor" || b.task == "mask-edge" || b.task == "protect-radiator") {
			off += .35 // furniture stands in the way
		}
		actual := planned
		if b.unit != events.Each && b.unit != events.Hour {
			actual = max(int64(float64(planned)*math.Exp(.06*s.random.NormFloat64())/100)*100, 1000)
		}
		minutes := max(planned*b.minutesMilli/1_000_000, 5)
		took := max(int64(float64(actual*b.minutesMilli)/1e6*math.Exp(off)), 5)
		s.lines = append(s.lines, siteLine{b, l.coat, planned, actual, minutes, took})
	}
}

// office opens the job, looks at the condition, quotes and gets the yes.
func (s *site) office() {
	s.minute = 540
	title := s.scope.titles[s.random.IntN(len(s.scope.titles))]
	s.add(events.JobOpened, events.Opening{
		JobType: s.scope.jobType, Title: title + " (invented)", Customer: "customer-" + s.key,
		Built: int64(1925 + s.random.IntN(95)), Due: s.day.Add(40),
	})
	estimate := events.Estimate{RateBook: revision}
	cost := 0.0
	used := map[string]int64{}
	var order []string
	for _, l := range s.lines {
		estimate.Lines = append(estimate.Lines, events.EstimateLine{
			Task: l.work.task, Surface: l.work.surface, Method: l.work.method, Location: l.work.location,
			QuantityMilli: l.planned, Unit: l.work.unit, Minutes: l.minutes, Grade: "painter",
		})
		cost += float64(l.minutes) / 60 * 312_000
		if l.work.product != "" {
			if used[l.work.product] == 0 {
				order = append(order, l.work.product)
			}
			used[l.work.product] += max(l.planned*l.work.useMilli/1000, 10)
		}
	}
	for _, key := range order {
		p := productOf(key)
		estimate.Materials = append(estimate.Materials, events.EstimateMaterial{Product: key, QuantityMilli: used[key], Unit: p.Unit})
		cost += float64(used[key]) / 1000 * float64(p.PriceE4)
	}
	s.price = int64(cost*s.scope.margin/500_000) * 500_000
	estimate.PriceE4 = s.price
	id := s.add(events.EstimateIssued, estimate)
	s.flush()
	s.day = s.day.Add(1 + s.random.IntN(2))
	s.minute = 600
	s.add(events.EstimateAccepted, events.Acceptance{Estimate: id})
	s.flush()
	if !s.running {
		s.day = s.day.Add(3 + s.random.IntN(12))
	}
	s.minute = 430
	for _, room := range []string{"Hall", "First room"} {
		s.add(events.ConditionRecorded, events.Condition{Location: room, Item: "walls and floor", Finding: "Sound, light wear as to be expected"})
	}
	if s.random.Float64() < .3 {
		s.add(events.ConditionRecorded, events.Condition{Location: "Hall", Item: "window board", Finding: "Chipped at the left corner before the work", Damaged: true})
	}
}

// work books the crew's hours line by line, day by day, and records what was
// done by the end of each day in the share of the time.
func (s *site) work() {
	people := crews[s.crew]
	slot, left := 0, int64(dayMinutes)
	done := make([]int64, len(s.lines)) // minutes worked on each line
	for i := range s.lines {
		l := &s.lines[i]
		recorded := int64(0)
		for done[i] < l.took {
			part := min(l.took-done[i], left)
			s.add(events.HoursBooked, events.Hours{
				Person: people[slot], Task: l.work.task, Surface: l.work.surface, Method: l.work.method,
				Location: l.work.location, Minutes: part,
			})
			done[i] += part
			if left -= part; left > 0 {
				continue
			}
			left = dayMinutes
			if slot++; slot < len(people) {
				continue
			}
			slot = 0
			recorded = s.measure(l, recorded, done[i])
			s.mishap()
			if !s.nextDay() {
				s.running = true
				return
			}
		}
		s.measure(l, recorded, done[i])
		if s.running && i > len(s.lines)*2/3 {
			return
		}
	}
}

// measure records the quantity of a line from what was recorded up to the share
// of its time that has passed, and returns the quantity recorded since the start.
func (s *site) measure(l *siteLine, recorded, worked int64) int64 {
	upTo := l.actual * worked / l.took
	if l.work.unit == events.Each {
		upTo = upTo / 1000 * 1000
	}
	if worked >= l.took {
		upTo = l.actual
	}
	milli := upTo - recorded
	if milli <= 0 {
		return recorded
	}
	used := int64(float64(milli*l.work.useMilli) / 1000 * math.Exp(.04+.1*s.random.NormFloat64()))
	switch t, _ := events.StandardTask(l.work.task); t.Family {
	case events.FamilyProtection, events.FamilyMasking:
		s.protect(l, milli, used)
	case events.FamilyPreparation:
		s.add(events.SurfacePrepared, events.Preparation{Task: l.work.task, Surface: l.work.surface, Method: l.work.method,
			Location: l.work.location, QuantityMilli: milli, Unit: l.work.unit})
		if l.work.product != "" && used > 0 {
			s.add(events.MaterialUsed, events.Usage{Product: l.work.product, QuantityMilli: used, Unit: productOf(l.work.product).Unit,
				Task: l.work.task, Place: "van"})
		}
	case events.FamilyCoating:
		s.coat(l, milli, used)
	case events.FamilyLifting:
		s.lift(l)
	}
	return upTo
}

func (s *site) protect(l *siteLine, milli, used int64) {
	p := events.Protection{Task: l.work.task, Surface: l.work.surface, Location: l.work.location, QuantityMilli: milli, Unit: l.work.unit}
	product := productOf(l.work.product)
	p.Product, p.Reused = product.Product, product.Reusable
	if used > 0 {
		p.ProductQuantityMilli, p.ProductUnit = used, product.Unit
	}
	if product.CleanRemovalDays > 0 {
		p.RemoveBy = s.day.Add(int(product.CleanRemovalDays))
	}
	s.laid = append(s.laid, laidSheet{s.add(events.ProtectionLaid, p), l.work.location, milli})
	if s.random.Float64() < .15 {
		s.add(events.ProtectionChecked, events.ProtectionCheck{Laid: s.laid[len(s.laid)-1].id, Finding: "Edges pressed down again", Sound: true})
	}
}

func (s *site) coat(l *siteLine, milli, used int64) {
	air := int64(19_000 + 2_500*s.random.NormFloat64())
	humidity := int64(min(max(52_000+9_000*s.random.NormFloat64(), 20_000), 95_000))
	if s.scope.jobType == "exterior" {
		air -= 5_000
		humidity = min(humidity+12_000, 96_000)
	}
	surface := air - 1_200
	c := events.Coat{
		Task: l.work.task, Surface: l.work.surface, Method: l.work.method, Location: l.work.location, Coat: l.coat,
		QuantityMilli: milli, Unit: l.work.unit, Product: l.work.product, VolumeMilli: max(used, 1), Batch: fmt.Sprintf("B%05d", s.random.IntN(90_000)),
		AirCelsiusMilli: &air, SurfaceCelsiusMilli: &surface, HumidityPercentMilli: &humidity,
	}
	for range 3 {
		c.WetFilmUm = append(c.WetFilmUm, int64(110+s.random.IntN(50)))
	}
	s.add(events.CoatApplied, c)
}

// lift takes up what is still down.
func (s *site) lift(l *siteLine) {
	for _, sheet := range s.laid {
		s.add(events.ProtectionLifted, events.Lifting{Laid: sheet.id})
	}
	s.laid = nil
}

// mishap is what sometimes happens by the end of a day.
func (s *site) mishap() {
	switch at := s.random.Float64(); {
	case at < .025:
		cost := int64(300_000 + s.random.IntN(2_500_000))
		id := s.add(events.DamageFound, events.Damage{Location: "First room", Item: "floor board", Finding: "Paint under the sheet at the edge",
			Cause: "ours", Task: "protect-floor", CostE4: cost})
		s.add(events.DamageMadeGood, events.MakingGood{Damage: id, Work: "Cleaned and polished", CostE4: cost * 8 / 10})
	case at < .04:
		s.add(events.DamageFound, events.Damage{Location: "Hall", Item: "door leaf", Finding: "Scratched by another trade", Cause: "others"})
	case at < .06:
		id := s.add(events.HoursBooked, events.Hours{Person: crews[s.crew][0], Task: "clean", Minutes: 30})
		s.add(events.EventVoided, events.Void{Event: id, Reason: "Booked on the wrong job"})
	case at < .09:
		add := int64(1_500_000 + s.random.IntN(4_000_000))
		s.price += add
		s.add(events.VariationAgreed, events.Variation{Reason: "Cupboard under the stair added on request", PriceE4: add,
			Lines: []events.EstimateLine{{Task: "coat", Surface: "plaster", Method: "roller", QuantityMilli: 12_000, Unit: events.SquareMetre,
				Minutes: 75, Grade: "painter"}}})
	}
}

// handOver clears the snags, signs off and closes.
func (s *site) handOver() {
	for range s.random.IntN(3) {
		id := s.add(events.SnagRaised, events.Snag{Location: "Hall", Finding: "Nib in the finish by the switch", RaisedBy: "customer"})
		s.add(events.SnagCleared, events.SnagClearance{Snag: id, Work: "De-nibbed and touched up"})
	}
	s.lift(nil)
	s.add(events.JobSignedOff, events.SignOff{Role: "owner", Remarks: "All in order"})
	s.flush()
	if next := s.day.Add(5); next <= s.Today {
		s.day = next
	}
	s.add(events.JobClosed, events.Closing{BilledE4: s.price})
}
