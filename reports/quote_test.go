package reports

import (
	"strings"
	"testing"

	"daysheet/events"
)

// roomTakeOff is the golden room of the check values: 5.0 x 4.0 x 2.6 m with a door
// of 0.9 x 2.1 m and a window of 1.8 x 1.5 m, in two coats.
func roomTakeOff() TakeOff {
	return TakeOff{Grade: "painter", Rooms: []Room{{
		Name: "Living room", LengthMm: 5000, WidthMm: 4000, HeightMm: 2600,
		Openings: []RoomOpening{{Name: "door", WidthMm: 900, HeightMm: 2100, Count: 1},
			{Name: "window", WidthMm: 1800, HeightMm: 1500, Count: 1}},
		Work: []RoomWork{
			{Of: OfFloor, Task: "protect-floor"}, {Of: OfEdges, Task: "mask-edge"},
			{Of: OfWalls, Task: "coat", Surface: "wall", Method: "roller", Coats: 2},
			{Of: OfCeiling, Task: "coat", Surface: "ceiling", Method: "roller"},
			{Of: OfOpenings, Task: "coat-door"},
		},
	}}}
}

const quoteBook = "2025-12-01 settings EUR; types redecoration; grades painter=30.00 apprentice=18.00; people anna=painter; " +
	"overhead hour=9.00 material=10\n" +
	"2025-12-01 product-listed emulsion l 6.00 pack=12.5\n" +
	"2025-12-01 rate-book-revised r1 from=2025-12-01 coat/wall/roller=6 coat/ceiling/roller=7 coat/wall/spray=2 " +
	"protect-floor=1.5 mask-edge=1.2 coat-door=60\n"

// quoted prices a take-off on the 1st of April with the history of the lines.
func quoted(t *testing.T, text string, off TakeOff) (Quote, []Quote) {
	t.Helper()
	s := told(t, quoteBook+text)
	f := Filter{Firm: testFirm, Today: "2026-04-01"}
	a := s.history.answer(RatesQuestion(f), s.history.names())
	q, err := NewQuote(f, a, off)
	if err != nil {
		t.Fatal(err)
	}
	alternatives, err := Alternatives(f, a, off)
	if err != nil {
		t.Fatal(err)
	}
	return q, alternatives
}

// TestQuoteMeasuresRooms requires quantities by each rule. The areas are those of
// the check values' room under net measurement and DIN 18363, worked out by hand:
// 18 m round, 2.6 m high are 46.8 m2; the door has 1.89 m2 and the window 2.70 m2,
// of which DIN 18363 deducts only what is over 2.5 m2.
func TestQuoteMeasuresRooms(t *testing.T) {
	for rule, walls := range map[string]int64{events.MeasureNet: 42_210, events.MeasureDIN18363: 44_100} {
		off := roomTakeOff()
		off.MeasuredBy = rule
		q, _ := quoted(t, "", off)
		want := map[string]int64{"protect-floor": 20_000, "mask-edge": 18_000 + 2*2100 + 900 + 2*1500 + 1800,
			"coat wall": 2 * walls, "coat ceiling": 20_000, "coat-door": 2_000}
		for _, l := range q.Lines {
			key := strings.TrimSpace(l.Task + " " + l.Surface)
			if l.QuantityMilli != want[key] {
				t.Errorf("%s: %s is %d, want %d", rule, key, l.QuantityMilli, want[key])
			}
		}
		if q.Rule != rule || q.Revision != "r1" {
			t.Errorf("measured by %q from book %q", q.Rule, q.Revision)
		}
	}
}

// TestQuoteWithoutHistory is the book, typical line by line, with the spread of a
// firm that knows nothing yet.
func TestQuoteWithoutHistory(t *testing.T) {
	q, _ := quoted(t, "", roomTakeOff())
	typical := map[string]int64{"protect-floor": 30, "mask-edge": 33, "coat-door": 120}
	for _, l := range q.Lines {
		if want, ok := typical[l.Task]; ok && l.Typical != want {
			t.Errorf("%s takes %d minutes, want %d by the book", l.Task, l.Typical, want)
		}
		if l.Expected <= l.Typical || l.Safe80 <= l.Expected {
			t.Errorf("%s: typical %d, expected %d, safe %d do not rise", l.Task, l.Typical, l.Expected, l.Safe80)
		}
	}
	var sum int64
	for _, l := range q.Lines {
		sum += l.Safe80
	}
	if q.Safe80 >= sum || q.Safe80 <= q.Expected || q.Safe90 <= q.Safe80 {
		t.Errorf("the whole: expected %d, safe %d and %d; the sum of safe lines is %d", q.Expected, q.Safe80, q.Safe90, sum)
	}
	if cost := q.LabourE4 + q.MaterialE4 + q.OverheadE4; q.CostE4 != cost || q.OverheadE4 != labourCostE4(q.Expected, 9_0000) {
		t.Errorf("cost %d, want %d; overhead %d", q.CostE4, cost, q.OverheadE4)
	}
}

// TestQuoteRefuses names what cannot be priced.
func TestQuoteRefuses(t *testing.T) {
	s := told(t, quoteBook)
	f := Filter{Firm: testFirm, Today: "2026-04-01"}
	a := s.history.answer(RatesQuestion(f), s.history.names())
	for name, c := range map[string]struct {
		change func(*TakeOff)
		field  string
	}{
		"nothing to do":      {func(o *TakeOff) { o.Rooms = nil }, "lines"},
		"an unknown grade":   {func(o *TakeOff) { o.Grade = "foreman" }, "grade"},
		"an unknown task":    {func(o *TakeOff) { o.Rooms[0].Work[0].Task = "gild" }, "task"},
		"an unknown part":    {func(o *TakeOff) { o.Rooms[0].Work[0].Of = "roof" }, "work[0].of"},
		"no height":          {func(o *TakeOff) { o.Rooms[0].HeightMm = 0 }, "height_mm"},
		"openings too large": {func(o *TakeOff) { o.Rooms[0].Openings[0].Count = 900 }, "openings"},
		"an unknown rule":    {func(o *TakeOff) { o.MeasuredBy = "by-eye" }, "rule"},
		"a negative line":    {func(o *TakeOff) { o.Lines = []TakeOffLine{{Task: "coat", QuantityMilli: -1}} }, "lines[0].quantity_milli"},
	} {
		off := roomTakeOff()
		c.change(&off)
		_, err := NewQuote(f, a, off)
		if events.CodeOf(err) != events.Invalid || !strings.Contains(err.Error(), c.field) {
			t.Errorf("%s: %v, want a refusal of %s", name, err, c.field)
		}
	}
}

// TestAlternatives compares other ways: spraying by the book's rate, leaving
// protection out, and a rate that is tried.
func TestAlternatives(t *testing.T) {
	off := roomTakeOff()
	off.WhatIf = []Alternative{
		{Name: "sprayed", Methods: []MethodChange{{From: "roller", To: "spray"}}},
		{Name: "bare", Without: []events.Family{events.FamilyProtection, events.FamilyMasking}},
		{Name: "doors in half an hour", Rates: []RateChange{{Task: "coat-door", MinutesMilli: 30_000}}},
	}
	off.Rooms[0].Work = off.Rooms[0].Work[:3] // walls have a rate for spraying, the ceiling has none
	off.Rooms[0].Work = append(off.Rooms[0].Work, RoomWork{Of: OfOpenings, Task: "coat-door"})
	q, alternatives := quoted(t, "", off)
	sprayed, bare, doors := alternatives[0], alternatives[1], alternatives[2]
	if sprayed.Lines[2].Method != "spray" || sprayed.Lines[2].Typical*3 != q.Lines[2].Typical {
		t.Errorf("sprayed walls take %d minutes, want a third of %d", sprayed.Lines[2].Typical, q.Lines[2].Typical)
	}
	if len(bare.Lines) != 2 || bare.CostE4 >= q.CostE4 {
		t.Errorf("without protection there are %d lines at %d", len(bare.Lines), bare.CostE4)
	}
	last := doors.Lines[len(doors.Lines)-1]
	if last.Typical != 60 || last.BookMilli != 60_000 {
		t.Errorf("two doors at half an hour take %d minutes by a book of %d", last.Typical, last.BookMilli)
	}
}

// TestQuoteIssues requires that the estimate of a quote is taken by the ledger and
// says what was quoted.
func TestQuoteIssues(t *testing.T) {
	q, _ := quoted(t, "", roomTakeOff())
	e := q.Estimate("2026-04-01")
	s := told(t, quoteBook)
	w := happened{job: "hall", id: "event-9000", day: "2026-04-01", recorded: "2026-04-01", payload: &e}
	if err := s.history.record(w); err != nil {
		t.Fatal(err)
	}
	r, err := s.history.report("job-costing", Filter{Job: "hall"})
	if err != nil {
		t.Fatal(err)
	}
	estimate := r.Tables[0].Rows[0]
	if estimate[1].Number != q.LabourE4 || estimate[5].Number != q.OverheadE4 || estimate[7].Number != q.NetE4 {
		t.Errorf("the estimate has labour %d, overhead %d, price %d; quoted were %d, %d, %d", estimate[1].Number,
			estimate[5].Number, estimate[7].Number, q.LabourE4, q.OverheadE4, q.NetE4)
	}
}

// TestQuoteCostsWhatTheLedgerWill requires that material is costed at the last price
// paid, as the facts of the estimate are: a price that rose since the listing would
// otherwise be missing from the offer, and the job would be opened at another cost.
// By hand: 2 m2 at 0.1 l and 9.00 a litre are 1.80, where the list says 6.00.
func TestQuoteCostsWhatTheLedgerWill(t *testing.T) {
	const book = "2025-12-01 settings EUR; types redecoration; grades painter=30.00\n" +
		"2025-12-01 product-listed emulsion l 6.00 pack=12.5\n" +
		"2025-12-01 rate-book-revised r1 from=2025-12-01 coat=6+emulsion:0.1\n" +
		"2026-02-01 material-purchased emulsion 10l 90.00\n"
	s := told(t, book)
	f := Filter{Firm: testFirm, Today: "2026-04-01"}
	q, err := NewQuote(f, s.history.answer(RatesQuestion(f), s.history.names()),
		TakeOff{Grade: "painter", Lines: []TakeOffLine{{Task: "coat", QuantityMilli: 2_000}}})
	if err != nil {
		t.Fatal(err)
	}
	if q.MaterialE4 != 1_8000 || q.Uses[0].BuyE4 != 112_5000 {
		t.Errorf("material costs %d, and %d to buy; want 18000 and 1125000", q.MaterialE4, q.Uses[0].BuyE4)
	}
	e := q.Estimate("2026-04-01")
	if err := s.history.record(happened{job: "hall", id: "event-9000", day: "2026-04-01", recorded: "2026-04-01",
		payload: &e}); err != nil {
		t.Fatal(err)
	}
	r, err := s.history.report("job-costing", Filter{Job: "hall"})
	if err != nil {
		t.Fatal(err)
	}
	if got := r.Tables[0].Rows[0][2].Number; got != q.MaterialE4 {
		t.Errorf("the job is planned with material for %d, quoted with %d", got, q.MaterialE4)
	}
}

// TestQuoteByTheHour prices work that is planned in hours and stands in no book:
// two hours are 120 minutes.
func TestQuoteByTheHour(t *testing.T) {
	q, _ := quoted(t, "", TakeOff{Grade: "painter", Lines: []TakeOffLine{{Task: "set-up", QuantityMilli: 2_000}}})
	if l := q.Lines[0]; l.Typical != 120 || l.Unit != events.Hour {
		t.Errorf("two hours of set-up take %d minutes, measured in %s", l.Typical, l.Unit)
	}
}

// TestQuoteNamesWhatTheBookHas: where a surface is missing, the refusal says which there are.
func TestQuoteNamesWhatTheBookHas(t *testing.T) {
	s := told(t, quoteBook)
	f := Filter{Firm: testFirm, Today: "2026-04-01"}
	_, err := NewQuote(f, s.history.answer(RatesQuestion(f), s.history.names()),
		TakeOff{Grade: "painter", Lines: []TakeOffLine{{Task: "coat", QuantityMilli: 2_000}}})
	want := "say surface and method: the book has it for wall, roller; ceiling, roller; wall, spray"
	if events.CodeOf(err) != events.Invalid || !strings.Contains(err.Error(), want) {
		t.Errorf("%v, want %q", err, want)
	}
}

// TestQuoteReport requires the shape that every output relies on.
func TestQuoteReport(t *testing.T) {
	off := roomTakeOff()
	off.WhatIf = []Alternative{{Name: "bare", Without: []events.Family{events.FamilyProtection}}}
	q, alternatives := quoted(t, "", off)
	r := q.Report(Filter{Firm: testFirm}, told(t, quoteBook).history.names(), alternatives)
	checkShape(t, r)
	if len(r.Tables) != 6 || len(r.Tables[4].Rows) != len(q.Lines)+3 {
		t.Errorf("%d tables, %d lines for the customer", len(r.Tables), len(r.Tables[4].Rows))
	}
}
