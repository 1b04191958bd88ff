package factstest

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"daysheet/events"
	"daysheet/reports"
)

func testEachDimension(t *testing.T, b *bench) {
	book := &book{partition: 1}
	second := reports.Fact{
		Firm: firmA, Job: "job-2", JobType: "exterior", EventID: "invented-event", Day: "2024-04-30",
		Side: reports.SideEstimate, Kind: reports.KindMaterial, Family: "preparation", Task: "sand", Surface: "door",
		Method: "spray", Location: "Attic", Product: "primer", Place: "van", Unit: events.Litre,
		Grade: "apprentice", Person: "bob", QuantityMilli: 2500, CostE4: 40, Sign: 1,
	}
	book.commit(nil, hours(firmA, "job-1", 30), second, hours(firmA, "job-1", 12))
	b.write(book.all())
	first := []string{"job-1", "occupied", "actual", "labour", "coating", "coat", "wall", "roller", "Hall", "", "", "hour",
		"journeyman", "ann", "2024-03-05", "2024-03-01"}
	other := []string{"job-2", "exterior", "estimate", "material", "preparation", "sand", "door", "spray", "Attic",
		"primer", "van", "l", "apprentice", "bob", "2024-04-30", "2024-04-01"}
	dimensions := reports.Dimensions()
	if len(dimensions) != len(first) {
		t.Fatalf("there are %d dimensions, this test knows %d", len(dimensions), len(first))
	}
	labour := reports.Total{By: first, Minutes: 42, CostE4: 42 * 7, Facts: 2}
	material := reports.Total{By: other, QuantityMilli: 2500, CostE4: 40, Facts: 1}
	for i, d := range dimensions {
		want := []reports.Total{labour, material}
		want[0].By, want[1].By = first[i:i+1], other[i:i+1]
		if other[i] < first[i] {
			want[0], want[1] = want[1], want[0]
		}
		by := reports.Query{Firm: firmA, By: []reports.Dimension{d}}
		same(t, "by "+string(d), b.sum(by), want)
		only := labour
		only.By = nil
		same(t, "where "+string(d), b.sum(reports.Query{Firm: firmA}.With(d, first[i], "neither")), []reports.Total{only})
	}
	same(t, "by all", b.sum(reports.Query{Firm: firmA, By: dimensions}), []reports.Total{labour, material})
}

func testCancelRows(t *testing.T, b *bench) {
	book := &book{partition: 1}
	sand, coat := hours(firmA, "job-1", 30), hours(firmA, "job-1", 50)
	sand.Task = "sand"
	book.commit(nil, sand, coat)
	book.commit(nil, cancelled(sand))
	book.commit(nil, coat, cancelled(coat))
	b.write(book.all())
	byTask := reports.Query{Firm: firmA, By: []reports.Dimension{reports.ByTask}}
	want := []reports.Total{{By: []string{"coat"}, Minutes: 50, CostE4: 350, Facts: 1}}
	same(t, "sum", b.sum(byTask), want)
	same(t, "sum of what is gone", b.sum(byTask.With(reports.ByTask, "sand")), nil)
	same(t, "sum of what is gone, not grouped", b.sum(reports.Query{Firm: firmA}.With(reports.ByTask, "sand")), nil)
	same(t, "lines keep both", b.lines(byTask), book.facts)
}

func testAnyText(t *testing.T, b *bench) {
	book := &book{partition: 1}
	book.commit(nil, hours(firmA, "job-1", 1))
	long := strings.Repeat("invented ", 500)
	all := append(anyText[:], long)
	for i, s := range all {
		f := hours(firmA, "job-1", int64(i+1))
		f.Location, f.Person = s, all[len(all)-1-i]
		book.commit(nil, f)
	}
	b.write(book.all())
	m := &model{facts: book.facts}
	for _, s := range all {
		q := reports.Query{Firm: firmA, By: []reports.Dimension{reports.ByLocation, reports.ByPerson}}.
			With(reports.ByLocation, s)
		same(t, fmt.Sprintf("where location is %q", s), b.sum(q), m.sum(q))
		q = q.With(reports.ByLocation, s, "?", "nothing has this").With(reports.ByPerson, all...)
		same(t, fmt.Sprintf("where location is %q or others", s), b.sum(q), m.sum(q))
	}
	by := reports.Query{Firm: firmA, By: []reports.Dimension{reports.ByLocation}}
	same(t, "in byte order", b.sum(by), m.sum(by))
	same(t, "lines", b.lines(by), book.facts)
	most := make([]string, 1000)
	for i := range most {
		most[i] = fmt.Sprintf("place %d", i)
	}
	most[999] = "O'Brien's"
	q := by.With(reports.ByLocation, most...)
	same(t, "a thousand values", b.sum(q), m.sum(q))
}

func testDays(t *testing.T, b *bench) {
	book := &book{partition: 1}
	for i, day := range []events.Day{
		"1970-01-01", "2023-12-31", "2024-01-01", "2024-02-29", "2024-03-01", "2148-12-31",
	} {
		f := hours(firmA, "job-1", 1<<i)
		f.Day = day
		book.commit(nil, f)
	}
	b.write(book.all())
	for _, c := range []struct {
		from, to events.Day
		minutes  int64
	}{
		{"", "", 63}, {"1970-01-01", "2148-12-31", 63}, {"2024-01-01", "", 60}, {"", "2024-01-01", 7},
		{"", "1970-01-01", 1},
		{"2024-01-01", "2024-01-01", 4}, {"2024-02-28", "2024-03-01", 24},
		{"2024-03-02", "2148-12-30", 0}, {"2024-03-01", "2024-01-01", 0},
	} {
		var minutes int64
		for _, row := range b.sum(reports.Query{Firm: firmA, From: c.from, To: c.to}) {
			minutes += row.Minutes
		}
		if minutes != c.minutes {
			t.Fatalf("from %q to %q: %d, want %d", c.from, c.to, minutes, c.minutes)
		}
	}
	byMonth := []reports.Dimension{reports.ByMonth}
	months := b.sum(reports.Query{Firm: firmA, By: byMonth, From: "2023-12-31", To: "2024-03-31"})
	want := []string{"2023-12-01", "2024-01-01", "2024-02-01", "2024-03-01"}
	for i, row := range months {
		if len(months) != len(want) || row.By[0] != want[i] {
			t.Fatalf("months %+v, want %v", months, want)
		}
	}
	none := reports.Query{Firm: firmA}.With(reports.ByDay, "31st of March", "", "2024-02-30")
	same(t, "a day that is none", b.sum(none), nil)
}

// testBigSums uses amounts of which few would be too many for 32 bits or for a
// double.
func testBigSums(t *testing.T, b *bench) {
	book := &book{partition: 1}
	big := hours(firmA, "job-1", 0)
	big.Minutes, big.QuantityMilli, big.CostE4 = math.MaxInt64/4, -(math.MaxInt64 / 4), events.MoneyE4Max
	book.commit(nil, big, big, big, cancelled(big), big)
	odd := hours(firmA, "job-1", 0)
	odd.Minutes, odd.QuantityMilli, odd.CostE4 = 1, -1, 1
	book.commit(nil, odd)
	for range 2000 {
		most := hours(firmA, "job-2", events.MinutesMax)
		most.QuantityMilli, most.CostE4 = events.QuantityMilliMax, events.MoneyE4Max
		book.commit(nil, most)
	}
	b.write(book.all())
	same(t, "sum", b.sum(reports.Query{Firm: firmA, By: []reports.Dimension{reports.ByJob}}), []reports.Total{
		{By: []string{"job-1"}, Minutes: 3*(math.MaxInt64/4) + 1, QuantityMilli: -3*(math.MaxInt64/4) - 1,
			CostE4: 3*events.MoneyE4Max + 1, Facts: 4},
		{By: []string{"job-2"}, Minutes: 2000 * events.MinutesMax, QuantityMilli: 2000 * events.QuantityMilliMax,
			CostE4: 2000 * events.MoneyE4Max, Facts: 2000},
	})
}
