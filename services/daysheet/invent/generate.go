package invent

import (
	"cmp"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"time"

	"github.com/google/uuid"

	"daysheet/events"
)

// Options say what to invent. Jobs are finished ones; two more are in progress
// on Today.
type Options struct {
	Seed  uint64
	Today events.Day
	Jobs  int // at least 1
	Years int // over which the jobs are spread, at least 1
}

// Submission is what one sender sends at once: events of one job, in order.
type Submission struct {
	Day    events.Day
	Events []events.Event
}

// Generate returns the whole firm as submissions in order of time.
func Generate(o Options) ([]Submission, error) {
	where, err := time.LoadLocation(zone)
	if err != nil {
		return nil, fmt.Errorf("invent firm: %w", err)
	}
	w := &world{
		Options: o, where: where, random: rand.New(rand.NewPCG(o.Seed, 0x5eed)),
		space:   uuid.NewSHA1(uuid.Nil, fmt.Appendf(nil, "daysheet demo %d", o.Seed)),
		taskOff: map[string]float64{}, typeOff: map[string]float64{}, crewOff: make([]float64, len(crews)),
	}
	w.truth()
	w.start = o.Today.Add(-365*o.Years - 30)
	w.firm()
	for n := range o.Jobs {
		day := w.start.Add(30 + n*365*o.Years/o.Jobs)
		w.job(n, day, false)
	}
	w.job(o.Jobs, o.Today.Add(-6), true)
	w.job(o.Jobs+1, o.Today.Add(-3), true)
	slices.SortStableFunc(w.out, func(a, b Submission) int { return cmp.Compare(a.Day, b.Day) })
	return w.out, w.err
}

// world holds the invented truth and what was made of it so far.
type world struct {
	Options
	where  *time.Location
	random *rand.Rand
	space  uuid.UUID
	start  events.Day
	count  int
	out    []Submission
	err    error // the first payload that could not be written

	taskOff, typeOff map[string]float64 // log factor against the book
	crewOff          []float64
}

// truth draws how far the book is off. Keys are walked in a fixed order, so that
// a seed means one world.
func (w *world) truth() {
	for _, key := range sortedBook() {
		w.taskOff[key] = .05 + .15*w.random.NormFloat64()
	}
	for _, s := range scopes {
		w.typeOff[s.jobType] = .06 * w.random.NormFloat64()
	}
	w.typeOff["occupied"] = .12
	w.typeOff["new-dwelling"] = -.08
	for i := range w.crewOff {
		w.crewOff[i] = .06 * w.random.NormFloat64()
	}
}

func sortedBook() []string {
	keys := make([]string, 0, len(book))
	for k := range book {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return keys
}

// event makes an event on a day at minutes after midnight, local time.
func (w *world) event(t events.Type, job string, day events.Day, minute int, payload any) events.Event {
	data, err := json.Marshal(payload)
	if err != nil && w.err == nil {
		w.err = fmt.Errorf("invent %s: %w", t, err)
	}
	w.count++
	date := day.Time()
	at := time.Date(date.Year(), date.Month(), date.Day(), 0, minute, 0, 0, w.where)
	return events.Event{
		ID: uuid.NewSHA1(w.space, fmt.Append(nil, w.count)).String(), Source: source, Type: t, Subject: job,
		Time: at.Format(time.RFC3339), Data: data,
	}
}

func (w *world) submit(day events.Day, batch ...events.Event) {
	if len(batch) > 0 {
		w.out = append(w.out, Submission{day, batch})
	}
}

// firm records settings, products, the rate book, and purchases over the years.
func (w *world) firm() {
	first := []events.Event{w.event(events.FirmSettingsChanged, events.FirmJob, w.start, 480, settings())}
	for _, p := range products {
		first = append(first, w.event(events.ProductListed, events.FirmJob, w.start, 485, p))
	}
	rates := &events.RateBook{Revision: revision, EffectiveFrom: w.start, Reason: "invented starting book"}
	seen := map[[3]string]bool{}
	for _, key := range sortedBook() {
		b := book[key]
		if id := [3]string{b.task, b.surface, b.method}; seen[id] {
			continue
		} else {
			seen[id] = true
		}
		rate := events.Rate{Task: b.task, Surface: b.surface, Method: b.method, Unit: b.unit, MinutesMilli: b.minutesMilli, Source: "from-memory"}
		if b.product != "" {
			rate.Consumables = []events.RateUse{{Product: b.product, Unit: productOf(b.product).Unit, QuantityMilli: b.useMilli}}
		}
		rates.Rates = append(rates.Rates, rate)
	}
	w.submit(w.start, append(first, w.event(events.RateBookRevised, events.FirmJob, w.start, 490, rates))...)
	for month := range 12 * w.Years {
		day := w.start.Add(20 + month*30)
		var bought []events.Event
		for i, p := range products {
			if (month+i)%3 != 0 {
				continue
			}
			packs := int64(2 + w.random.IntN(6))
			amount := max(p.PackMilli, 1000) * packs
			dearer := math.Exp(.0035*float64(month) + .02*w.random.NormFloat64())
			bought = append(bought, w.event(events.MaterialPurchased, events.FirmJob, day, 600, events.Purchase{
				Product: p.Product, QuantityMilli: amount, Unit: p.Unit, Supplier: "Invented supplies", Place: "store",
				CostE4: int64(float64(p.PriceE4) * float64(amount) / 1000 * dearer),
			}))
		}
		w.submit(day, bought...)
	}
}

func productOf(key string) events.Product {
	i := slices.IndexFunc(products, func(p events.Product) bool { return p.Product == key })
	return products[i]
}
