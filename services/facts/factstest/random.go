package factstest

import (
	"fmt"
	"math/rand/v2"
	"testing"

	"daysheet/events"
	"daysheet/reports"
)

// anyText holds what is likely to go wrong between Go and an SQL engine.
var anyText = [...]string{
	"", "Hall", "hall", "HALL", " Hall", "Hall ", "O'Brien's", `"quoted"`, `back\slash`, `trailing\`, `\'`, "why?",
	"??", "$1", "{x:String}", "%", "_", "a,b", "line\nbreak", "tab\there", "nul\x00inside", "--", "/* */", "NULL",
	"Flur – Türen", "é", "e\u0301", "日本", "🎨", "~",
}

// gamble makes invented history and questions from a seed.
type gamble struct {
	*rand.Rand
	book  *book
	firms []string
	held  []reports.Fact // facts that no row has cancelled yet
}

func one[T any](g *gamble, from []T) T { return from[g.IntN(len(from))] }

func (g *gamble) day() events.Day { return events.Day("2023-12-28").Add(g.IntN(70)) }

func (g *gamble) jobKey() string {
	return one(g, []string{"j-1", "j-10", "j-2", "a", "z9", "j1", events.FirmJob})
}

func (g *gamble) fact(firm, job string) reports.Fact {
	return reports.Fact{
		Firm: firm, Job: job, JobType: one(g, []string{"occupied", "exterior", ""}),
		EventID: fmt.Sprintf("event-%08d", g.IntN(1e8)), OccurredAt: g.Int64N(4e9) - 2e9, Day: g.day(),
		Side:   one(g, []reports.Side{reports.SideActual, reports.SideEstimate, reports.SideVariation}),
		Kind:   one(g, []reports.Kind{reports.KindLabour, reports.KindMaterial, reports.KindQuantity}),
		Family: one(g, []events.Family{"coating", "preparation", ""}), Task: one(g, []string{"coat", "sand", ""}),
		Surface: one(g, anyText[:]), Method: one(g, []string{"roller", "spray"}), Location: one(g, anyText[:]),
		Product: one(g, []string{"p-1", "p-2", ""}), Place: one(g, []string{"van", ""}), Unit: one(g, events.Units()),
		Grade:  one(g, []string{"a", "b"}),
		Person: one(g, anyText[:]), Minutes: g.Int64N(600), QuantityMilli: g.Int64N(2e6) - 1e6,
		CostE4: g.Int64N(events.MoneyE4Max), Sign: 1,
	}
}

// commit adds a commit of a random job: new facts, and some that take back what
// the job holds.
func (g *gamble) commit() {
	firm, job := one(g, g.firms), g.jobKey()
	var added, stay []reports.Fact
	for _, f := range g.held {
		if f.Firm == firm && f.Job == job && g.IntN(5) == 0 {
			added = append(added, cancelled(f))
		} else {
			stay = append(stay, f)
		}
	}
	for range g.IntN(4) {
		f := g.fact(firm, job)
		added, stay = append(added, f), append(stay, f)
	}
	g.held = stay
	var row *reports.JobRow
	if job != events.FirmJob {
		row = &reports.JobRow{
			Firm: firm, Job: job, JobType: one(g, []string{"occupied", "exterior"}), Title: one(g, anyText[:]),
			Customer: one(g, anyText[:]),
			State:    one(g, []events.State{events.Opened, events.Running, events.SignedOff, events.Closed}),
			Built:    g.Int64N(2030), Opened: g.day(), Start: g.day(),
		}
		if row.State.Finished() {
			row.Finished = g.day()
		}
	}
	g.book.commit(row, added...)
}

func (g *gamble) maybeDay() events.Day {
	if g.IntN(4) > 0 {
		return ""
	}
	return g.day()
}

func (g *gamble) asOf() uint64 {
	if g.IntN(2) == 0 {
		return 0
	}
	return 1 + g.Uint64N(uint64(len(g.book.commits)+3))
}

func (g *gamble) query() reports.Query {
	q := reports.Query{
		Firm: one(g, append(g.firms, "nobody")), AsOf: g.asOf(),
		From: g.maybeDay(), To: g.maybeDay(), FinishedFrom: g.maybeDay(), FinishedTo: g.maybeDay(),
		States: g.maybeStates(),
		Limit:  g.IntN(3) * g.IntN(20), Offset: g.IntN(3) * g.IntN(10),
	}
	dimensions := reports.Dimensions()
	g.Shuffle(len(dimensions), func(i, j int) { dimensions[i], dimensions[j] = dimensions[j], dimensions[i] })
	q.By = dimensions[:g.IntN(4)]
	for range g.IntN(3) {
		d := one(g, dimensions)
		in := []string{"nothing has this"}
		for range 1 + g.IntN(4) {
			in = append(in, value(&g.book.facts[g.IntN(len(g.book.facts))], d))
		}
		q = q.With(d, in...)
	}
	return q
}

// maybeStates returns no states more often than not: they leave out the most.
func (g *gamble) maybeStates() (states []events.State) {
	for range max(g.IntN(5)-2, 0) {
		states = append(states, one(g, events.States()))
	}
	return states
}

func (g *gamble) jobQuery() reports.JobQuery {
	q := reports.JobQuery{
		Firm: one(g, append(g.firms, "nobody")), AsOf: g.asOf(), JobType: one(g, []string{"", "", "occupied"}),
		FinishedFrom: g.maybeDay(), FinishedTo: g.maybeDay(), Limit: g.IntN(2) * g.IntN(4),
	}
	for range g.IntN(3) {
		q.Jobs = append(q.Jobs, g.jobKey())
	}
	for range g.IntN(3) {
		q.States = append(q.States, one(g, []events.State{events.Running, events.SignedOff, events.Closed}))
	}
	if g.IntN(3) == 0 {
		q.After = g.jobKey()
	}
	return q
}

// testRandom compares the answers to many random questions about a random
// history with the model's, after batches of random size with overlaps.
func testRandom(t *testing.T, b *bench) {
	h := NewHistory(t, 400)
	for at := 0; at < int(h.Last()); {
		from, to := max(0, at-h.gamble.IntN(5)), min(int(h.Last()), at+1+h.gamble.IntN(60))
		b.write(h.Batch(uint64(from), uint64(to)))
		at = to
	}
	h.Check(t, b.store, h.Last(), 120)
}
