package reports

import (
	"fmt"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"

	"daysheet/events"
)

// randomHistory records a firm's settings and products, and then tries events
// of every type on two jobs at random. What cannot be true is refused, as it
// would be by the ledger.
func randomHistory(t *testing.T, r *rand.Rand, tries int) *history {
	t.Helper()
	s := told(t, "2026-02-02 job-opened yard stairwell Yard\n2026-02-02 snag-raised as=thin")
	h := s.history
	day := events.Day("2026-02-02")
	for range tries {
		if r.IntN(3) == 0 {
			day = day.Add(1)
		}
		w := happened{id: fmt.Sprintf("event-%04d", h.sequence+1), day: day, recorded: day.Add(r.IntN(12)),
			job: pick(r, "hall", "yard"), payload: randomPayload(r, h)}
		if typeOf(w.payload).OfFirm() {
			w.job = events.FirmJob
		}
		if v, ok := w.payload.(*events.Void); ok {
			if i := slices.IndexFunc(h.log, func(o happened) bool { return o.id == v.Event }); i >= 0 {
				w.job = h.log[i].job
			}
		}
		if err := h.record(w); err != nil && events.CodeOf(err) != events.Invalid {
			t.Fatalf("record %T: %v", w.payload, err)
		}
	}
	return h
}

func pick(r *rand.Rand, choices ...string) string { return choices[r.IntN(len(choices))] }

// earlier returns the id of an earlier event of type t; of any where there is none.
func earlier(r *rand.Rand, h *history, t events.Type) string {
	var ids []string
	for _, w := range h.log {
		if typeOf(w.payload) == t {
			ids = append(ids, w.id)
		}
	}
	if len(ids) == 0 {
		return h.log[r.IntN(len(h.log))].id
	}
	return ids[r.IntN(len(ids))]
}

func randomPayload(r *rand.Rand, h *history) events.Payload {
	amount := func() int64 { return 1 + r.Int64N(60_000) }
	task := pick(r, "coat", "sand", "mask-edge", "protect-floor", "strip-paper", "gild")
	product := pick(r, "emulsion", "film", "filler")
	unit := events.Unit(pick(r, "m2", "m", "each"))
	stock := events.Unit(pick(r, "l", "roll"))
	lines := []events.EstimateLine{
		{Task: task, Minutes: amount(), Grade: pick(r, "painter", "", "foreman"), QuantityMilli: amount(), Unit: unit},
		{Task: "travel", Minutes: amount(), CostE4: amount()},
	}
	materials := []events.EstimateMaterial{
		{Product: product, QuantityMilli: amount(), Unit: stock, CostE4: r.Int64N(2) * amount()}}
	switch r.IntN(21) {
	case 0:
		return &events.Estimate{Lines: lines, Materials: materials, PriceE4: amount() * 10_000}
	case 1:
		return &events.Acceptance{Estimate: earlier(r, h, events.EstimateIssued)}
	case 2:
		return &events.Variation{Reason: "more", Lines: lines, Materials: materials, PriceE4: amount() - 20_000}
	case 3:
		return &events.SignOff{Role: "owner"}
	case 4:
		return &events.Closing{BilledE4: amount() * 10_000}
	case 5:
		return &events.Reopening{Reason: "more"}
	case 6:
		return &events.Hours{Person: pick(r, "anna", "cara"), Task: task, Minutes: 1 + r.Int64N(600)}
	case 7:
		return &events.Protection{Task: task, QuantityMilli: amount(), Unit: unit, Product: product,
			ProductQuantityMilli: amount(), ProductUnit: stock}
	case 8: // a part: how much "all" is depends on other liftings
		return &events.Lifting{Laid: earlier(r, h, events.ProtectionLaid), QuantityMilli: 1 + r.Int64N(9000)}
	case 9:
		return &events.Preparation{Task: task, QuantityMilli: amount(), Unit: unit}
	case 10:
		return &events.Coat{Task: task, Coat: 1, QuantityMilli: amount(), Unit: unit, Product: product, VolumeMilli: amount()}
	case 11:
		return &events.Usage{Product: product, QuantityMilli: amount(), Unit: stock, CostE4: r.Int64N(2) * amount()}
	case 12:
		return &events.Return{Product: product, QuantityMilli: amount(), Unit: stock}
	case 13:
		return &events.Damage{Cause: pick(r, "ours", "others", "unknown"), CostE4: amount(), Location: "hall",
			Item: "floor", Finding: "stained"}
	case 14:
		return &events.MakingGood{Damage: earlier(r, h, events.DamageFound), Work: "cleaned", CostE4: amount()}
	case 15:
		if r.IntN(2) == 0 {
			return &events.Snag{Location: "hall", Finding: "thin", RaisedBy: "firm"}
		}
		return &events.SnagClearance{Snag: earlier(r, h, events.SnagRaised)}
	case 16:
		return &events.Opening{JobType: pick(r, "redecoration", "stairwell", "fences"), Title: "Hall"}
	case 17:
		return &events.Move{Product: product, QuantityMilli: amount(), Unit: stock, From: pick(r, "store", "yard"), To: "van"}
	case 18:
		return &events.Count{Product: product, QuantityMilli: amount(), Unit: stock, Place: pick(r, "store", "van")}
	case 19:
		return &events.Purchase{Product: product, QuantityMilli: amount(), Unit: stock, CostE4: amount()}
	}
	return &events.Void{Event: h.log[r.IntN(len(h.log))].id, Reason: "a mistake"}
}

// everything is the finest sum that a store can be asked for.
func everything(m *memory, kinds ...Kind) []Total {
	q := Query{Firm: testFirm, By: Dimensions()}
	if len(kinds) > 0 {
		q = only(q, kinds...)
	}
	return m.sum(q)
}

// standing returns each job as it stands, without when it was last touched.
func standing(m *memory) []JobRow {
	rows := m.jobs(JobQuery{Firm: testFirm})
	for i := range rows {
		rows[i].Sequence = 0
	}
	return rows
}

// random returns a generator and prints its seed where the test fails.
func random(t *testing.T) *rand.Rand {
	t.Helper()
	seed := rand.Uint64()
	t.Cleanup(func() {
		if t.Failed() {
			t.Logf("seed %d", seed)
		}
	})
	return rand.New(rand.NewPCG(seed, 7))
}

// TestVoidRestores voids an event right after it was recorded: every sum must be
// as it was before.
func TestVoidRestores(t *testing.T) {
	r := random(t)
	voided := map[events.Type]bool{}
	for range 150 {
		h := randomHistory(t, r, 60)
		before, jobs := everything(&h.memory), standing(&h.memory)
		w := happened{id: "event-last", job: pick(r, "hall", "yard"), day: "2026-03-20", recorded: "2026-03-20",
			payload: randomPayload(r, h)}
		if typeOf(w.payload).OfFirm() {
			w.job = events.FirmJob
		}
		if h.record(w) != nil {
			continue
		}
		if h.record(happened{id: "event-void", job: w.job, day: "2026-03-21", recorded: "2026-03-21",
			payload: &events.Void{Event: w.id, Reason: "a mistake"}}) != nil {
			continue // an opening or a void, which cannot be taken back
		}
		voided[typeOf(w.payload)] = true
		if after := everything(&h.memory); !reflect.DeepEqual(before, after) {
			t.Fatalf("sums before and after a voided %s differ:\n%+v\n%+v", typeOf(w.payload), before, after)
		}
		if after := standing(&h.memory); !reflect.DeepEqual(jobs, after) {
			t.Fatalf("jobs before and after a voided %s differ:\n%+v\n%+v", typeOf(w.payload), jobs, after)
		}
	}
	if len(voided) < 10 {
		t.Errorf("only %d types of events were voided", len(voided))
	}
}

// TestVoidIsAsIfNever voids an event somewhere in the past: hours, quantities,
// costs and prices must be as if it had never been recorded. Marks may differ,
// because they say what was unusual when it was recorded.
func TestVoidIsAsIfNever(t *testing.T) {
	r := random(t)
	compared := 0
	for range 250 {
		h := randomHistory(t, r, 50)
		target := h.log[r.IntN(len(h.log))]
		if target.job == events.FirmJob {
			continue // prices of later uses depend on it
		}
		if h.record(happened{id: "event-void", job: target.job, day: "2026-03-21", recorded: "2026-03-21",
			payload: &events.Void{Event: target.id, Reason: "a mistake"}}) != nil {
			continue
		}
		without := replay(t, h, target.id)
		kinds := []Kind{KindLabour, KindQuantity, KindMaterial, KindDamage, KindPrice, KindPurchase,
			KindOverhead, KindMove, KindCount, KindDown}
		got, want := everything(&h.memory, kinds...), everything(&without.memory, kinds...)
		if !reflect.DeepEqual(got, want) {
			t.Fatalf("after the void of %s the sums are not as if it had never been:\n%+v\n%+v",
				typeOf(target.payload), got, want)
		}
		if got, want := standing(&h.memory), standing(&without.memory); !reflect.DeepEqual(got, want) {
			t.Fatalf("after the void of %s the jobs are not as if it had never been:\n%+v\n%+v",
				typeOf(target.payload), got, want)
		}
		compared++
	}
	if compared < 30 {
		t.Errorf("only %d histories were compared", compared)
	}
}

// replay records a history again without the event, its void, the events that
// were voided after they had referred to it, and the reopenings that then find
// nothing finished to reopen: where the sign-off was a mistake, they did nothing.
func replay(t *testing.T, h *history, without string) *history {
	t.Helper()
	drop := map[string]bool{without: true}
	voids := map[string]string{}
	for _, w := range h.log {
		if v, ok := w.payload.(*events.Void); ok {
			voids[v.Event] = w.id
		}
	}
	for _, w := range h.log {
		if without != "" && refersTo(w.payload) == without {
			drop[w.id] = true
		}
	}
	for id := range drop {
		drop[voids[id]] = true
	}
	again := newHistory()
	for _, w := range h.log {
		if drop[w.id] {
			continue
		}
		err := again.record(w)
		if _, reopens := w.payload.(*events.Reopening); err != nil && reopens && without != "" {
			drop[w.id], drop[voids[w.id]] = true, true
			continue
		}
		if err != nil {
			t.Fatalf("replay %s without %s: %v", w.id, without, err)
		}
	}
	return again
}

func refersTo(payload events.Payload) string {
	switch p := payload.(type) {
	case *events.Acceptance:
		return p.Estimate
	case *events.Lifting:
		return p.Laid
	case *events.MakingGood:
		return p.Damage
	case *events.SnagClearance:
		return p.Snag
	}
	return ""
}

// TestReplayIsTheSame requires that facts are a function of the log.
func TestReplayIsTheSame(t *testing.T) {
	r := random(t)
	for range 50 {
		h := randomHistory(t, r, 80)
		again := replay(t, h, "")
		if !reflect.DeepEqual(h.facts, again.facts) || !reflect.DeepEqual(h.rows, again.rows) {
			t.Fatal("two projections of one log differ")
		}
	}
}

// TestStateAgreesWithTheFold compares the state in a job's row with the fold
// that decides what may be recorded. They may differ in one thing: the row
// forgets work whose every event was voided.
func TestStateAgreesWithTheFold(t *testing.T) {
	r := random(t)
	for range 100 {
		h := randomHistory(t, r, 60)
		for _, row := range h.jobs(JobQuery{Firm: testFirm}) {
			want := h.folds[row.Job].State()
			if row.State != want && want != events.Running {
				t.Fatalf("job %s is %s in its row and %s in its fold", row.Job, row.State, want)
			}
			if row.State.Finished() != (row.Finished != "") {
				t.Fatalf("job %s is %s and finished on %q", row.Job, row.State, row.Finished)
			}
		}
	}
}

// TestReportsExplainThemselves asks every report of random histories: each
// figure that is a plain sum must be the sum of the facts that it names.
func TestReportsExplainThemselves(t *testing.T) {
	r := random(t)
	for range 60 {
		h := randomHistory(t, r, 80)
		for _, d := range Definitions() {
			for _, f := range []Filter{{}, {Job: "hall"}, {JobType: "stairwell"}, {From: "2026-02-10", To: "2026-02-20"},
				{AsOf: 1 + r.Uint64N(h.sequence)}, {Job: "yard", AsOf: 1 + r.Uint64N(h.sequence)}, {Job: events.FirmJob}} {
				made, err := h.report(d.Name, f)
				if err != nil {
					t.Fatal(err)
				}
				checkShape(t, made)
				checkExplained(t, &h.memory, made)
			}
		}
	}
}

// TestMinutesByPlainLoop works the booked minutes of each task out again, by a
// loop over the payloads that hold, and compares them with the report.
func TestMinutesByPlainLoop(t *testing.T) {
	r := random(t)
	for range 100 {
		h := randomHistory(t, r, 80)
		void := map[string]bool{}
		for _, w := range h.log {
			if v, ok := w.payload.(*events.Void); ok {
				void[v.Event] = true
			}
		}
		want := map[string]int64{}
		for _, w := range h.log {
			if b, ok := w.payload.(*events.Hours); ok && !void[w.id] && w.job == "hall" {
				want[named(h.names().Tasks, b.Task)] += b.Minutes
			}
		}
		made, err := h.report("estimate-vs-actual", Filter{Job: "hall"})
		if err != nil {
			t.Fatal(err)
		}
		got := map[string]int64{}
		minutes := column(t, made.Tables[0], "actual_minutes")
		for _, row := range made.Tables[0].Rows {
			if row[minutes].Number != 0 {
				got[row[0].Text] += row[minutes].Number
			}
		}
		if !reflect.DeepEqual(got, want) {
			t.Fatalf("minutes by task %v, by a plain loop %v", got, want)
		}
	}
}
