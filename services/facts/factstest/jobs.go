package factstest

import (
	"fmt"
	"math"
	"testing"

	"daysheet/events"
	"daysheet/reports"
)

// finishing is a history in which jobs are finished, taken up again and finished
// on another day. The firm's own facts belong to no job.
func finishing() (*book, map[string]uint64) {
	book, at := &book{partition: 1}, map[string]uint64{}
	at["booked"] = book.commit(runningJob(firmA, "job-1"), hours(firmA, "job-1", 1))
	book.commit(runningJob(firmA, "job-2"), hours(firmA, "job-2", 10))
	book.commit(nil, hours(firmA, events.FirmJob, 100))
	at["finished"] = book.commit(finishedJob(firmA, "job-1", "2024-03-10"))
	book.commit(finishedJob(firmA, "job-2", "2024-04-01"))
	at["reopened"] = book.commit(runningJob(firmA, "job-1"), hours(firmA, "job-1", 1000))
	at["again"] = book.commit(finishedJob(firmA, "job-1", "2024-05-20"))
	return book, at
}

func testFinished(t *testing.T, b *bench) {
	book, at := finishing()
	b.write(book.all())
	for _, c := range []struct {
		from, to events.Day
		asOf     uint64
		minutes  int64
		jobs     string
	}{
		{"2024-03-10", "2024-03-10", 0, 0, ""},
		{"2024-03-10", "2024-03-10", at["finished"], 1, "job-1"},
		{"2024-03-10", "", at["finished"], 1, "job-1"},
		{"", "2024-03-10", at["finished"], 1, "job-1"},
		{"2024-03-11", "", at["finished"], 0, ""},
		{"", "2024-03-09", at["finished"], 0, ""},
		{"2024-01-01", "2024-12-31", at["booked"], 0, ""},
		{"", "2024-12-31", at["reopened"], 10, "job-2"},
		{"2024-04-01", "2024-05-20", 0, 1011, "job-1 job-2"},
		{"2024-04-02", "", 0, 1001, "job-1"},
		{"", "2024-05-19", 0, 10, "job-2"},
		{"1970-01-01", "", at["again"], 1011, "job-1 job-2"},
	} {
		name := fmt.Sprintf("finished from %q to %q as of %d", c.from, c.to, c.asOf)
		var minutes int64
		for _, row := range b.sum(reports.Query{Firm: firmA, FinishedFrom: c.from, FinishedTo: c.to, AsOf: c.asOf}) {
			minutes += row.Minutes
		}
		var jobs string
		for _, j := range b.jobs(reports.JobQuery{Firm: firmA, FinishedFrom: c.from, FinishedTo: c.to, AsOf: c.asOf}) {
			jobs += " " + j.Job
		}
		if minutes != c.minutes || (jobs != "" && jobs[1:] != c.jobs) || (jobs == "" && c.jobs != "") {
			t.Fatalf("%s: %d minutes of jobs %q, want %d of %q", name, minutes, jobs, c.minutes, c.jobs)
		}
	}
}

// testAsOf asks at each position and compares with a store that never went
// further.
func testAsOf(t *testing.T, b *bench) {
	book, _ := finishing()
	f := book.facts[0]
	book.commit(runningJob(firmA, "job-1"), cancelled(plain(f)))
	last := uint64(len(book.commits))
	byJob := reports.Query{Firm: firmA, By: []reports.Dimension{reports.ByJob}}
	var sums [][]reports.Total
	var lines [][]reports.Fact
	var jobs [][]reports.JobRow
	for at := uint64(0); at < last; at++ {
		b.write(book.batch(at, at+1))
		sums = append(sums, b.sum(byJob))
		lines = append(lines, b.lines(byJob))
		jobs = append(jobs, b.jobs(reports.JobQuery{Firm: firmA}))
	}
	for i := range sums {
		q := byJob
		q.AsOf = uint64(i + 1)
		same(t, fmt.Sprintf("sum as of %d", q.AsOf), b.sum(q), sums[i])
		same(t, fmt.Sprintf("lines as of %d", q.AsOf), b.lines(q), lines[i])
		same(t, fmt.Sprintf("jobs as of %d", q.AsOf), b.jobs(reports.JobQuery{Firm: firmA, AsOf: q.AsOf}), jobs[i])
	}
	for _, beyond := range []uint64{last, last + 1, math.MaxInt64, math.MaxUint64} {
		q := byJob
		q.AsOf = beyond
		same(t, "sum as of the future", b.sum(q), sums[last-1])
		same(t, "jobs as of the future", b.jobs(reports.JobQuery{Firm: firmA, AsOf: beyond}), jobs[last-1])
	}
	same(t, "gone with its cancellation", sums[last-1], []reports.Total{
		{By: []string{events.FirmJob}, Minutes: 100, CostE4: 700, Facts: 1},
		{By: []string{"job-1"}, Minutes: 1000, CostE4: 7000, Facts: 1},
		{By: []string{"job-2"}, Minutes: 10, CostE4: 70, Facts: 1},
	})
}

// testFirms puts firms with the same job keys into one partition, and another
// into a second one, where the sequences are the same.
func testFirms(t *testing.T, b *bench) {
	apart, book := &book{partition: 2}, &book{partition: 1}
	for i := range 6 {
		day := events.Day("2024-03-01").Add(i)
		apart.commit(finishedJob("invented-cedar", "job-1", day), hours("invented-cedar", "job-1", 4096))
	}
	b.write(apart.all())
	for i, firm := range []string{firmA, firmB, firmA + "-2"} {
		book.commit(runningJob(firm, "job-1"), hours(firm, "job-1", 1<<(2*i)))
		book.commit(finishedJob(firm, "job-1", events.Day("2024-03-01").Add(i)), hours(firm, "job-1", 2<<(2*i)))
	}
	b.write(book.all())
	m := &model{facts: append(book.facts, apart.facts...), jobs: append(book.jobs, apart.jobs...)}
	for i, firm := range []string{firmA, firmB, firmA + "-2", "invented-cedar", "invented", "firm"} {
		q := reports.Query{Firm: firm, By: []reports.Dimension{reports.ByJob}}
		same(t, "sum of "+firm, b.sum(q), m.sum(q))
		same(t, "lines of "+firm, b.lines(q), m.lines(q))
		same(t, "jobs of "+firm, b.jobs(reports.JobQuery{Firm: firm}), m.jobRows(reports.JobQuery{Firm: firm}))
		q.FinishedFrom, q.FinishedTo = "2024-03-01", "2024-03-01"
		if got := len(b.sum(q)); (got == 1) != (i == 0) {
			t.Fatalf("%s has %d jobs finished on the day of another firm's", firm, got)
		}
	}
}

func testPartitions(t *testing.T, b *bench) {
	first, second := &book{partition: 0}, &book{partition: 255}
	for range 5 {
		first.commit(runningJob(firmA, "job-1"), hours(firmA, "job-1", 1))
	}
	for range 3 {
		second.commit(runningJob(firmB, "job-1"), hours(firmB, "job-1", 1))
	}
	b.write(first.batch(0, 2))
	b.write(second.batch(0, 3))
	b.position(0, 2)
	b.position(255, 3)
	b.position(1, 0)
	b.write(first.batch(0, 5))
	b.position(0, 5)
	b.position(255, 3)
	same(t, "first", b.lines(reports.Query{Firm: firmA}), first.facts)
	same(t, "second", b.lines(reports.Query{Firm: firmB}), second.facts)
}

func testPaging(t *testing.T, b *bench) {
	book := &book{partition: 1}
	for i := range 30 {
		job := fmt.Sprintf("job-%d", i%11)
		book.commit(runningJob(firmA, job), hours(firmA, job, int64(i)), hours(firmA, job, int64(-i)))
		book.commit(runningJob(firmB, job), hours(firmB, job, 1))
	}
	b.write(book.all())
	m := &model{facts: book.facts, jobs: book.jobs}
	all := m.lines(reports.Query{Firm: firmA})
	for _, limit := range []int{0, 1, 7, 59, 60, 61, math.MaxInt} {
		for _, offset := range []int{0, 1, 59, 60, 61, math.MaxInt} {
			q := reports.Query{Firm: firmA, Limit: limit, Offset: offset}
			same(t, fmt.Sprintf("limit %d offset %d", limit, offset), b.lines(q), page(all, limit, offset))
		}
	}
	for _, limit := range []int{1, 2, 5, 11, 12} {
		var got []reports.JobRow
		for after := ""; len(got) <= 11; {
			rows := b.jobs(reports.JobQuery{Firm: firmA, After: after, Limit: limit})
			got = append(got, rows...)
			if len(rows) < limit {
				break
			}
			after = rows[len(rows)-1].Job
		}
		same(t, fmt.Sprintf("jobs by %d", limit), got, m.jobRows(reports.JobQuery{Firm: firmA}))
	}
}

// testJobs asks for jobs by what they were, not by what they became.
func testJobs(t *testing.T, b *bench) {
	book, at := finishing()
	moved := runningJob(firmA, "job-3")
	moved.JobType = "exterior"
	book.commit(runningJob(firmA, "job-3"))
	at["moved"] = book.commit(moved)
	b.write(book.all())
	m := &model{jobs: book.jobs}
	for _, q := range []reports.JobQuery{
		{}, {Jobs: []string{"job-1"}}, {Jobs: []string{"job-3", "job-1", "none"}}, {JobType: "exterior"},
		{JobType: "occupied"},
		{JobType: "occupied", AsOf: at["moved"] - 1}, {States: []events.State{events.Running}},
		{States: []events.State{events.Running, events.SignedOff}, AsOf: at["finished"]},
		{States: []events.State{"'", "no state?"}}, {JobType: `\'`}, {After: "job-1"}, {After: "job-3"}, {After: "'"},
		{States: []events.State{events.SignedOff}, JobType: "occupied", Jobs: []string{"job-1", "job-2"},
			FinishedFrom: "2024-05-01", Limit: 1},
	} {
		q.Firm = firmA
		same(t, fmt.Sprintf("jobs %+v", q), b.jobs(q), m.jobRows(q))
	}
}
