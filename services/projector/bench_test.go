package projector

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"daysheet/events"
	"daysheet/services/eventlog"
	"daysheet/services/facts"
	"daysheet/services/facts/duckdb"
)

// Size of the benchmark's log.
const (
	benchCommits = 20_000
	benchEvents  = 10 // of each commit
)

// BenchmarkReplay measures a rebuild into DuckDB against its two ends alone:
// reading the log, and appending the same rows. ratio is how much of the slower
// end's speed the whole reaches.
func BenchmarkReplay(b *testing.B) {
	for _, firms := range []int{1, 8} {
		b.Run(fmt.Sprintf("firms=%d", firms), func(b *testing.B) {
			log := benchLog(b, firms)
			captured := &capture{Store: openStore(b)}
			if err := Rebuild(context.Background(), log, captured, nil); err != nil {
				b.Fatal(err)
			}
			var reading, appending, replaying time.Duration
			for b.Loop() {
				reading += timed(b, func() error { return readAll(log) })
				appending += timed(b, captured.appendTo(benchStore(b)))
				store := benchStore(b)
				replaying += timed(b, func() error { return Rebuild(context.Background(), log, store, nil) })
			}
			rate := func(d time.Duration) float64 { return float64(benchCommits) * float64(b.N) / d.Seconds() }
			b.ReportMetric(rate(reading), "read-commits/s")
			b.ReportMetric(rate(appending), "append-commits/s")
			b.ReportMetric(rate(replaying), "replay-commits/s")
			b.ReportMetric(rate(replaying)*float64(captured.rows)/benchCommits, "replay-facts/s")
			b.ReportMetric(max(reading, appending).Seconds()/replaying.Seconds(), "ratio")
		})
	}
}

func timed(b *testing.B, work func() error) time.Duration {
	b.Helper()
	began := time.Now()
	if err := work(); err != nil {
		b.Fatal(err)
	}
	return time.Since(began)
}

// benchLog records commits of jobs of 50 commits each, spread over firms.
func benchLog(b *testing.B, firms int) *eventlog.Log {
	b.Helper()
	log := openLog(b, nil)
	for i := range firms {
		key := fmt.Sprintf("invented-%d", i)
		mustRecord(b, log, key, settled("settings-1", 300_000))
		mustRecord(b, log, key, listed("listed-0001", "wall-matt", "Wall matt"))
		mustRecord(b, log, key, invent("listed-0002", events.FirmJob, events.ProductListed, day,
			events.Product{Product: "filler", Name: "Filler", Unit: events.Kilogram, PriceE4: 40_000}))
	}
	var lanes sync.WaitGroup
	for lane := range 8 {
		lanes.Go(func() {
			key := fmt.Sprintf("invented-%d", lane%firms)
			for n := range benchCommits / 8 {
				job := fmt.Sprintf("job-%d-%d", lane, n/50)
				if _, err := log.Record(context.Background(), key, job, "office", benchBatch(job, n)); err != nil {
					b.Error(err)
					return
				}
			}
		})
	}
	lanes.Wait()
	if b.Failed() {
		b.FailNow()
	}
	return log
}

// benchBatch is a day on site: hours, coats and material in turn.
func benchBatch(job string, n int) []events.Event {
	var batch []events.Event
	for i := range benchEvents {
		id := fmt.Sprintf("invented-%s-%d-%d", job, n, i)
		switch {
		case n%50 == 0 && i == 0:
			batch = append(batch, opened(job))
		case i%3 == 0:
			batch = append(batch, invent(id, job, events.CoatApplied, day, events.Coat{
				Task: "coat", Surface: "wall", Method: "roller", Location: "Flight 2", Coat: 1, QuantityMilli: 12_500,
				Unit: events.SquareMetre, Product: "wall-matt", VolumeMilli: 1_600, Batch: "B-1177"}))
		case i%3 == 1:
			batch = append(batch, invent(id, job, events.HoursBooked, day, events.Hours{
				Person: "ada", Task: "coat", Surface: "wall", Method: "roller", Location: "Flight 2", Minutes: 95}))
		default:
			batch = append(batch, invent(id, job, events.MaterialUsed, day, events.Usage{
				Product: "filler", QuantityMilli: 750, Unit: events.Kilogram, Task: "fill", CostE4: 81_000}))
		}
	}
	return batch
}

func benchStore(b *testing.B) *duckdb.Store {
	b.Helper()
	return openStoreAt(b, filepath.Join(b.TempDir(), "facts.duckdb"))
}

// readAll follows every partition that holds something to its end.
func readAll(log Log) error {
	var failures [eventlog.Partitions]error
	var all sync.WaitGroup
	for partition := range uint8(eventlog.Partitions) {
		last, err := log.Last(context.Background(), partition)
		if err != nil {
			return err
		}
		if last == 0 {
			continue
		}
		all.Go(func() {
			err := log.Follow(context.Background(), partition, 0, func(delivered []events.Stored) error {
				if delivered[len(delivered)-1].Sequence == last {
					return errReached
				}
				return nil
			})
			if !errors.Is(err, errReached) {
				failures[partition] = fmt.Errorf("read partition %d: %w", partition, err)
			}
		})
	}
	all.Wait()
	return errors.Join(failures[:]...)
}

// capture is a store that keeps what is written to it, to be written again.
type capture struct {
	facts.Store
	batches []facts.Batch
	rows    int
}

func (c *capture) Write(ctx context.Context, batch facts.Batch) error {
	c.batches = append(c.batches, batch)
	c.rows += len(batch.Facts)
	return c.Store.Write(ctx, batch)
}

func (c *capture) appendTo(store facts.Store) func() error {
	return func() error {
		for _, batch := range c.batches {
			if err := store.Write(context.Background(), batch); err != nil {
				return err
			}
		}
		return nil
	}
}
