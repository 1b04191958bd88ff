package clickhouse

import (
	"context"
	"fmt"
	"reflect"
	"testing"
	"time"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/services/facts"
	"daysheet/services/facts/clickhouse/clickhousetest"
)

// factsOfBench is how many facts one write of the benchmark has, with a commit
// and a job row for every factsOfCommit of them.
const (
	factsOfBench  = 100_000
	factsOfCommit = 4
)

// invented returns a batch of the partition.
func invented(partition uint8) facts.Batch {
	b := facts.Batch{Partition: partition, Position: factsOfBench / factsOfCommit}
	for sequence := uint64(1); sequence <= b.Position; sequence++ {
		job := fmt.Sprintf("job-%d", sequence%50)
		b.Commits = append(b.Commits, events.Stored{Partition: partition, Sequence: sequence,
			Raw: fmt.Appendf(nil, `{"invented":"%0400d"}`, sequence)})
		b.Jobs = append(b.Jobs, reports.JobRow{Firm: "invented-firm", Job: job, Partition: partition, Sequence: sequence,
			JobType: "occupied", Title: "Invented " + job, State: events.Running, Opened: "2024-01-01"})
		for line := range uint32(factsOfCommit) {
			b.Facts = append(b.Facts, reports.Fact{
				Firm: "invented-firm", Job: job, JobType: "occupied", Partition: partition, Sequence: sequence, Line: line,
				EventID: fmt.Sprintf("018f%012d-%d", sequence, line), OccurredAt: 1_700_000_000 + int64(sequence),
				Day: events.Day("2024-01-01").Add(int(sequence / 100)), Side: reports.SideActual, Kind: reports.KindLabour,
				Family: "coating", Task: []string{"coat", "sand", "mask", "fill"}[line], Surface: "wall", Method: "roller",
				Location: fmt.Sprintf("Landing %d, first floor", sequence%9), Unit: events.SquareMetre, Grade: "journeyman",
				Person: "ann", Minutes: 45, QuantityMilli: int64(sequence), CostE4: 225_000, Sign: 1,
			})
		}
	}
	return b
}

// BenchmarkWrite writes a batch of a partition that has none, and compares it
// with the same rows given to the driver's batches row by row as they are, without
// a position and without asking whether they are there. The metric ratio is the
// speed of Write over that of the driver's batches.
func BenchmarkWrite(b *testing.B) {
	s := open(b, clickhousetest.Start(b), Options{})
	defer shut(b, s)
	var ours, raw time.Duration
	for partition := uint8(0); b.Loop(); partition += 2 {
		b.StopTimer()
		batch, tables := invented(partition), rawTables(invented(partition+1))
		start := time.Now()
		err := s.call(b.Context(), func(ctx context.Context, l *link) error { return insertRaw(ctx, l, tables) })
		raw += time.Since(start)
		if err != nil {
			b.Fatal(err)
		}
		b.StartTimer()
		start = time.Now()
		write(b, s, batch)
		ours += time.Since(start)
	}
	b.ReportMetric(raw.Seconds()/ours.Seconds(), "ratio")
	b.ReportMetric(float64(factsOfBench*b.N)/ours.Seconds(), "facts/s")
}

// rawTable is a table's rows, ready for the driver.
type rawTable struct {
	into string
	rows [][]any
}

func rawTables(batch facts.Batch) []rawTable {
	tables := []rawTable{
		{into: factsTable + " (" + facts.FactColumns + ", month)"}, {into: jobsTable + " (" + facts.JobColumns + ")"},
		{into: commitsTable + " (partition, sequence, raw)"},
	}
	for i := range batch.Facts {
		f := &batch.Facts[i]
		tables[0].rows = append(tables[0].rows, append(values(facts.FactFields(f)), string(f.Day.Month())))
	}
	for i := range batch.Jobs {
		tables[1].rows = append(tables[1].rows, values(facts.JobFields(&batch.Jobs[i])))
	}
	for _, c := range batch.Commits {
		tables[2].rows = append(tables[2].rows, []any{c.Partition, c.Sequence, c.Raw})
	}
	return tables
}

// values returns what the fields point at.
func values(fields []any) []any {
	row := make([]any, len(fields), len(fields)+1)
	for i, field := range fields {
		row[i] = reflect.ValueOf(field).Elem().Interface()
	}
	return row
}

func insertRaw(ctx context.Context, l *link, tables []rawTable) error {
	for _, table := range tables {
		batch, err := l.pool.PrepareBatch(ctx, "INSERT INTO "+table.into)
		if err != nil {
			return err
		}
		for _, row := range table.rows {
			if err := batch.Append(row...); err != nil {
				return err
			}
		}
		if err := batch.Send(); err != nil {
			return err
		}
	}
	return nil
}
