package main

import (
	"fmt"
	"iter"
	"math/rand/v2"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/services/facts"
)

const (
	// factsOfBatch is as many as the projector puts into a batch while it replays.
	factsOfBatch = 20_000

	firmsOfRun = 5 // the first of them has half of all facts
	activeJobs = 30
	// factsOfJob is about how many facts a job has: it spreads the jobs over the days.
	factsOfJob = 215

	firstDay events.Day = "2023-01-02"
	days                = 1240
)

// bigFirm is the firm whose reports are asked for.
var bigFirm = firmKey(0)

func firmKey(firm int) string { return fmt.Sprintf("invented-firm-%d", firm) }

// batches returns batches of about that many facts in all, which depend on the
// number and the seed alone. A firm is in a partition of its own, and the firms
// take turns. A batch is not to be changed.
func batches(number int, seed uint64) iter.Seq[facts.Batch] {
	return func(yield func(facts.Batch) bool) {
		lanes := make([]*lane, firmsOfRun)
		for firm := range lanes {
			share := number / 2
			if firm > 0 {
				share = number / 2 / (firmsOfRun - 1)
			}
			lanes[firm] = newLane(firm, share, seed)
		}
		for step := 0; ; step++ {
			// Every second batch is of the first firm, as long as it has any.
			firm := 0
			if step%2 == 1 {
				firm = 1 + step/2%(firmsOfRun-1)
			}
			more := false
			for _, l := range lanes {
				more = more || l.made < l.share
			}
			if !more {
				return
			}
			if l := lanes[firm]; l.made < l.share && !yield(l.batch()) {
				return
			}
		}
	}
}

// lane makes the commits of one firm.
type lane struct {
	firm      string
	partition uint8
	random    *rand.Rand
	share     int // facts to be made
	made      int
	jobs      int // jobs begun
	sequence  uint64
	active    []*job
	day       events.Day // of the youngest job
}

func newLane(firm, share int, seed uint64) *lane {
	return &lane{
		firm: firmKey(firm), partition: uint8(firm), share: share, day: firstDay,
		random: rand.New(rand.NewPCG(seed, uint64(firm))),
	}
}

// batch makes the next batch.
func (l *lane) batch() facts.Batch {
	b := facts.Batch{Partition: l.partition}
	for len(b.Facts) < factsOfBatch && l.made+len(b.Facts) < l.share {
		l.sequence++
		rows, row := l.next()
		for i := range rows {
			rows[i].Sequence, rows[i].Line = l.sequence, uint32(i)
		}
		b.Facts = append(b.Facts, rows...)
		if row != nil {
			row.Sequence = l.sequence
			b.Jobs = append(b.Jobs, *row)
		}
		b.Commits = append(b.Commits, events.Stored{Partition: l.partition, Sequence: l.sequence, Raw: l.raw(rows)})
	}
	b.Position = l.sequence
	l.made += len(b.Facts)
	return b
}

// next makes the facts of the next commit, and how it leaves its job. Now and then
// it is one of the firm's own.
func (l *lane) next() ([]reports.Fact, *reports.JobRow) {
	if l.random.IntN(25) == 0 {
		return l.stock(), nil
	}
	if len(l.active) < activeJobs {
		l.active = append(l.active, l.begin())
	}
	at := l.random.IntN(len(l.active))
	j := l.active[at]
	rows, over := j.next()
	if over {
		l.active[at] = l.active[len(l.active)-1]
		l.active = l.active[:len(l.active)-1]
	}
	row := j.row
	return rows, &row
}

// begin takes up another job.
func (l *lane) begin() *job {
	l.day = firstDay.Add(l.jobs * days / (l.share/factsOfJob + 1))
	j := &job{lane: l, day: l.day, steps: 30 + l.random.IntN(30), row: reports.JobRow{
		Firm: l.firm, Job: fmt.Sprintf("job-%06d", l.jobs), Partition: l.partition, JobType: pick(l.random, jobTypes),
		Title: fmt.Sprintf("Invented job %d", l.jobs), Customer: fmt.Sprintf("customer-%03d", l.random.IntN(400)),
		State: events.Opened, Built: int64(1890 + l.random.IntN(130)), Opened: l.day,
		Start: l.day.Add(7), Due: l.day.Add(30),
	}}
	l.jobs++
	return j
}

// stock is what a firm buys, moves and counts.
func (l *lane) stock() []reports.Fact {
	material := pick(l.random, materials)
	f := reports.Fact{
		Firm: l.firm, Job: events.FirmJob, Partition: l.partition, EventID: l.id(), Day: l.day,
		OccurredAt: l.day.Time().Unix() + int64(l.random.IntN(86_400)),
		Side:       reports.SideActual, Kind: reports.KindPurchase, Product: material.key, Unit: material.unit,
		Place: pick(l.random, places), QuantityMilli: 1000 * int64(1+l.random.IntN(60)), Sign: 1,
	}
	switch l.random.IntN(10) {
	case 0:
		f.Kind = reports.KindCount
	case 1, 2, 3:
		f.Kind = reports.KindMove
		left := f
		left.QuantityMilli, left.Place = -f.QuantityMilli, places[0]
		return []reports.Fact{left, f}
	default:
		f.CostE4 = f.QuantityMilli * int64(90+l.random.IntN(40))
	}
	return []reports.Fact{f}
}

// id returns something with the shape of an event's id.
func (l *lane) id() string {
	a, b := l.random.Uint64(), l.random.Uint64()
	return fmt.Sprintf("019a%04x-%04x-7%03x-a%03x-%012x", a>>48, a>>32&0xffff, a>>16&0xfff, a&0xfff, b>>16)
}

// raw returns something with the size of a commit and the parts that do not
// compress: ids, and the hashes of a chain.
func (l *lane) raw(rows []reports.Fact) []byte {
	raw := fmt.Appendf(nil, `{"firm":%q,"version":%d,"previous":"%016x%016x%016x%016x","events":[`, l.firm, l.sequence,
		l.random.Uint64(), l.random.Uint64(), l.random.Uint64(), l.random.Uint64())
	before := ""
	for i := range rows {
		f := &rows[i]
		if f.EventID == before {
			continue
		}
		before = f.EventID
		raw = fmt.Appendf(raw, `{"specversion":"1.0","id":%q,"source":"invented","subject":%q,"time":%d,"data":`+
			`{"task":%q,"surface":%q,"location":%q,"product":%q,"person":%q,"minutes":%d,"quantity_milli":%d}}`,
			f.EventID, f.Job, f.OccurredAt, f.Task, f.Surface, f.Location, f.Product, f.Person, f.Minutes, f.QuantityMilli)
	}
	return append(raw, "]}"...)
}
