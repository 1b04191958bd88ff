package projector

import (
	"context"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"daysheet/events"
	"daysheet/services/eventlog"
)

// history invents what firms and their jobs could have recorded. It needs not
// know what is allowed: the log refuses what cannot be true.
type history struct {
	rng   *rand.Rand
	firms []*inventedFirm
	clock time.Time
	ids   int
}

type inventedFirm struct {
	key       string
	set       bool // settings were recorded
	purchases []string
	jobs      []*inventedJob
}

type inventedJob struct {
	key  string
	kept map[events.Type][]string // ids recorded, by type
	all  []string
}

func newHistory(seed uint64, firms ...string) *history {
	h := &history{rng: rand.New(rand.NewPCG(seed, 1)), clock: time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)}
	for _, key := range firms {
		h.firms = append(h.firms, &inventedFirm{key: key})
	}
	return h
}

// now is a clock for the log that goes on by some hours with each look.
func (h *history) now() time.Time {
	h.clock = h.clock.Add(3 * time.Hour)
	return h.clock
}

// record records n submissions that the log takes.
func (h *history) record(t testing.TB, log *eventlog.Log, n int) {
	t.Helper()
	for taken, tried := 0, 0; taken < n; tried++ {
		if tried > 20*n {
			t.Fatalf("only %d of %d invented submissions were taken", taken, tried)
		}
		firm := h.firms[h.rng.IntN(len(h.firms))]
		if !firm.set || h.rng.IntN(8) == 0 {
			if h.submit(t, log, firm, nil, h.ofFirm(firm)) {
				taken++
			}
			continue
		}
		job := h.job(firm)
		var batch []events.Event
		for range 1 + h.rng.IntN(5) {
			batch = append(batch, h.ofJob(job))
		}
		if len(job.all) == 0 {
			batch[0] = h.event(job.key, events.JobOpened, h.opening())
		}
		if h.submit(t, log, firm, job, batch) {
			taken++
		}
	}
}

// job picks a job that is known, or a new one.
func (h *history) job(firm *inventedFirm) *inventedJob {
	if n := len(firm.jobs); n == 0 || n < 12 && h.rng.IntN(6) == 0 {
		job := &inventedJob{key: fmt.Sprintf("job-%d", n), kept: map[events.Type][]string{}}
		firm.jobs = append(firm.jobs, job)
		return job
	}
	return firm.jobs[h.rng.IntN(len(firm.jobs))]
}

// submit records a batch and reports whether the log took it.
func (h *history) submit(
	t testing.TB, log *eventlog.Log, firm *inventedFirm, job *inventedJob, batch []events.Event,
) bool {
	t.Helper()
	key := events.FirmJob
	if job != nil {
		key = job.key
	}
	_, err := log.Record(context.Background(), firm.key, key, "office", batch)
	if code := events.CodeOf(err); code == events.Invalid || code == events.NotFound {
		return false
	}
	if err != nil {
		t.Fatalf("record %d events of %s/%s: %v", len(batch), firm.key, key, err)
	}
	for _, e := range batch {
		switch {
		case job != nil:
			job.kept[e.Type] = append(job.kept[e.Type], e.ID)
			job.all = append(job.all, e.ID)
		case e.Type == events.FirmSettingsChanged:
			firm.set = true
		case e.Type == events.MaterialPurchased:
			firm.purchases = append(firm.purchases, e.ID)
		}
	}
	return true
}

func (h *history) event(job string, kind events.Type, payload any) events.Event {
	h.ids++
	// Some happen long before they are recorded.
	happened := h.clock.Add(-time.Duration(h.rng.IntN(12*24)) * time.Hour)
	return invent(fmt.Sprintf("invented-%06d", h.ids), job, kind, happened, payload)
}

func invent(id, job string, kind events.Type, happened time.Time, payload any) events.Event {
	data, err := json.Marshal(payload)
	if err != nil {
		panic(err) // payloads are structs of this project
	}
	return events.Event{ID: id, Source: "/phones/invented", Type: kind, Subject: job,
		Time: happened.Format(time.RFC3339), Data: data}
}

// pick returns one of the choices.
func pick[T any](h *history, choices ...T) T { return choices[h.rng.IntN(len(choices))] }

// known returns an id recorded under the type; a made-up one if there is none.
func (h *history) known(ids []string) string {
	if len(ids) == 0 {
		return "never-recorded"
	}
	return ids[h.rng.IntN(len(ids))]
}

func (h *history) milli() int64 { return 1 + h.rng.Int64N(90_000) }

func (h *history) product() string { return pick(h, "matt", "primer", "tape", "film", "unlisted") }

func (h *history) task() string {
	return pick(h, "coat", "sand", "protect-floor", "fill", "own-task", "listed-nowhere")
}

// ofFirm invents one submission of the firm's own.
func (h *history) ofFirm(firm *inventedFirm) []events.Event {
	if !firm.set {
		return []events.Event{h.event(events.FirmJob, events.FirmSettingsChanged, h.settings())}
	}
	switch h.rng.IntN(6) {
	case 0:
		return []events.Event{h.event(events.FirmJob, events.FirmSettingsChanged, h.settings())}
	case 1:
		return []events.Event{h.event(events.FirmJob, events.EventVoided,
			events.Void{Event: h.known(firm.purchases), Reason: "wrong receipt"})}
	case 2, 3:
		return []events.Event{h.event(events.FirmJob, events.ProductListed, events.Product{
			Product: pick(h, "matt", "primer", "tape", "film"), Name: "Invented " + h.product(),
			Unit: pick(h, events.Litre, events.Roll), PriceE4: h.rng.Int64N(500_000)})}
	}
	return []events.Event{h.event(events.FirmJob, events.MaterialPurchased, events.Purchase{
		Product: h.product(), QuantityMilli: h.milli(), Unit: pick(h, events.Litre, events.Roll),
		CostE4: h.rng.Int64N(2_000_000), Place: "van-2"})}
}

func (h *history) settings() events.Settings {
	return events.Settings{
		Name: "Invented Decorators", Currency: "EUR", TimeZone: "Europe/Vienna", Locale: "en-IE",
		JobTypes: []events.JobType{{JobType: "stairwell", Name: "Stairwell"}, {JobType: "exterior", Name: "Exterior"}},
		Grades: []events.Grade{
			{Grade: "painter", CostPerHourE4: 200_000 + h.rng.Int64N(200_000)},
			{Grade: "apprentice", CostPerHourE4: 90_000 + h.rng.Int64N(90_000)}},
		Tasks: []events.FirmTask{{Task: "own-task", Family: events.FamilyCoating, Unit: events.Metre, Name: "Own task"}},
		People: []events.FirmPerson{
			{Person: "ada", Name: "Ada", Grade: "painter"}, {Person: "ben", Name: "Ben", Grade: "apprentice"}},
	}
}

func (h *history) opening() events.Opening {
	return events.Opening{JobType: pick(h, "stairwell", "exterior", "unlisted-type"), Title: "Invented job", Built: 1961}
}

func (h *history) lines() []events.EstimateLine {
	var lines []events.EstimateLine
	for range 1 + h.rng.IntN(3) {
		lines = append(lines, events.EstimateLine{Task: h.task(), Minutes: h.rng.Int64N(5_000),
			Grade: pick(h, "painter", "apprentice", ""), QuantityMilli: h.milli(), Unit: events.SquareMetre})
	}
	return lines
}

// ofJob invents one event of a job, of any type that a job can have.
func (h *history) ofJob(job *inventedJob) events.Event {
	made := func(kind events.Type, payload any) events.Event { return h.event(job.key, kind, payload) }
	switch h.rng.IntN(24) {
	case 0, 1, 2, 3:
		return made(events.HoursBooked, events.Hours{Person: pick(h, "ada", "ben", "stranger"), Task: h.task(),
			Minutes: 1 + h.rng.Int64N(600), Location: pick(h, "hall", "flat 2", "")})
	case 4, 5:
		return made(events.CoatApplied, events.Coat{Task: "coat", Surface: "wall", Method: pick(h, "brush", "spray"),
			Coat: 1, QuantityMilli: h.milli(), Unit: events.SquareMetre, Product: h.product(), VolumeMilli: h.milli()})
	case 6, 7:
		return made(events.ProtectionLaid, events.Protection{Task: "protect-floor", Location: "hall",
			QuantityMilli: h.milli(), Unit: events.SquareMetre, Product: "film",
			ProductQuantityMilli: h.milli(), ProductUnit: events.Roll})
	case 8:
		return made(events.ProtectionLifted, events.Lifting{Laid: h.known(job.kept[events.ProtectionLaid])})
	case 9:
		return made(events.MaterialUsed, events.Usage{Product: h.product(), QuantityMilli: h.milli(),
			Unit: pick(h, events.Litre, events.Roll), Task: h.task(), CostE4: pick(h, int64(0), 12_345)})
	case 10:
		return made(events.MaterialReturned,
			events.Return{Product: h.product(), QuantityMilli: h.milli(), Unit: events.Litre})
	case 11:
		return made(events.SurfacePrepared,
			events.Preparation{Task: "sand", QuantityMilli: h.milli(), Unit: events.SquareMetre})
	case 12, 13:
		return made(events.EstimateIssued, events.Estimate{Lines: h.lines(), PriceE4: h.rng.Int64N(90_000_000)})
	case 14:
		return made(events.EstimateAccepted, events.Acceptance{Estimate: h.known(job.kept[events.EstimateIssued])})
	case 15:
		return made(events.VariationAgreed, events.Variation{Reason: "one more door", Lines: h.lines(), PriceE4: -12_345})
	}
	return h.ofJobLater(job, made)
}

// ofJobLater invents what comes with quality, ending and mistakes.
func (h *history) ofJobLater(job *inventedJob, made func(events.Type, any) events.Event) events.Event {
	switch h.rng.IntN(10) {
	case 0:
		return made(events.DamageFound, events.Damage{Location: "hall", Item: "pane", Finding: "scratched",
			Cause: pick(h, "ours", "others", "unknown"), CostE4: h.milli()})
	case 1:
		return made(events.DamageMadeGood, events.MakingGood{
			Damage: h.known(job.kept[events.DamageFound]), Work: "polished", CostE4: h.milli()})
	case 2:
		return made(events.SnagRaised, events.Snag{Location: "hall", Finding: "holiday", RaisedBy: "customer"})
	case 3:
		return made(events.SnagCleared, events.SnagClearance{Snag: h.known(job.kept[events.SnagRaised])})
	case 4:
		return made(events.JobSignedOff, events.SignOff{Role: "owner"})
	case 5:
		return made(events.JobClosed, events.Closing{BilledE4: h.rng.Int64N(90_000_000)})
	case 6:
		return made(events.JobReopened, events.Reopening{Reason: "call back"})
	case 7:
		return made(events.JobOpened, h.opening())
	}
	return made(events.EventVoided, events.Void{Event: h.known(job.all), Reason: "booked on the wrong job"})
}
