package duckdb

import (
	"context"
	"database/sql/driver"
	"fmt"
	"path/filepath"
	"testing"
	"time"

	duck "github.com/duckdb/duckdb-go/v2"

	"daysheet/reports"
	"daysheet/services/facts"
)

// factsOfBench is how many facts one write of the benchmark has, with a commit
// and a job row for every three of them.
const factsOfBench = 100_000

// BenchmarkWrite writes a batch into a new file, and compares it with the same
// rows given to the driver's appenders as they are, without a position and
// without asking whether they are there. The metric ratio is the speed of Write
// over that of the appenders.
func BenchmarkWrite(b *testing.B) {
	batch := run(0, factsOfBench/factsOfCommit)
	tables := rawRows(batch)
	var ours, raw time.Duration
	for b.Loop() {
		b.StopTimer()
		raw += onNewFile(b, func(s *Store) error { return appendRaw(s, tables) })
		b.StartTimer()
		ours += onNewFile(b, func(s *Store) error { return s.Write(b.Context(), batch) })
	}
	b.ReportMetric(raw.Seconds()/ours.Seconds(), "ratio")
	b.ReportMetric(float64(len(batch.Facts)*b.N)/ours.Seconds(), "facts/s")
}

// onNewFile measures work on a store in a new file.
func onNewFile(b *testing.B, work func(*Store) error) time.Duration {
	s := open(b, filepath.Join(b.TempDir(), "facts.duckdb"))
	defer shut(b, s)
	start := time.Now()
	if err := work(s); err != nil {
		b.Fatal(err)
	}
	return time.Since(start)
}

// rawTable is a table's rows, ready for its appender.
type rawTable struct {
	name string
	rows [][]driver.Value
}

func rawRows(batch facts.Batch) []rawTable {
	tables := []rawTable{{name: "facts"}, {name: "jobs"}, {name: "commits"}}
	for i := range batch.Facts {
		f := &batch.Facts[i]
		fields := facts.FactFields(f)
		row := make([]driver.Value, len(fields)+1)
		fill(row, fields)
		row[len(fields)] = string(f.Day.Month())
		tables[0].rows = append(tables[0].rows, row)
	}
	for i := range batch.Jobs {
		fields := facts.JobFields(&batch.Jobs[i])
		row := make([]driver.Value, len(fields))
		fill(row, fields)
		tables[1].rows = append(tables[1].rows, row)
	}
	for _, c := range batch.Commits {
		tables[2].rows = append(tables[2].rows, []driver.Value{c.Partition, c.Sequence, c.Raw})
	}
	return tables
}

func appendRaw(s *Store, tables []rawTable) error {
	return s.writer.Raw(func(connection any) error {
		for _, table := range tables {
			appender, err := duck.NewAppenderFromConn(connection.(driver.Conn), "", table.name)
			if err != nil {
				return err
			}
			for _, row := range table.rows {
				if err := appender.AppendRow(row...); err != nil {
					return err
				}
			}
			if err := appender.Close(); err != nil {
				return err
			}
		}
		return nil
	})
}

// BenchmarkWriteOne writes batches of one commit, as they come when the projector
// has caught up. Most of it is waiting for the disk.
func BenchmarkWriteOne(b *testing.B) {
	s := open(b, filepath.Join(b.TempDir(), "facts.duckdb"))
	defer shut(b, s)
	var at uint64
	for b.Loop() {
		write(b, s, run(at, at+1))
		at++
	}
}

// BenchmarkSum asks for sums out of a million facts, and compares with the same
// SQL whose rows are fetched and dropped. The metric ratio is the speed of Sum
// over that.
func BenchmarkSum(b *testing.B) {
	s := open(b, filepath.Join(b.TempDir(), "facts.duckdb"))
	defer shut(b, s)
	const step, end = 20_000, 340_000
	for at := uint64(0); at < end; at += step {
		write(b, s, run(at, at+step))
	}
	for _, by := range [][]reports.Dimension{
		{}, {reports.ByTask}, {reports.ByMonth, reports.BySide}, {reports.ByJob, reports.ByTask, reports.ByDay},
	} {
		q := reports.Query{Firm: firm, By: by, From: "2024-02-01"}
		b.Run(fmt.Sprintf("by %v", by), func(b *testing.B) {
			statement, err := s.tables.Sum(q)
			if err != nil {
				b.Fatal(err)
			}
			var ours, raw time.Duration
			for b.Loop() {
				b.StopTimer()
				start := time.Now()
				rows := fetch(b, s, statement)
				raw += time.Since(start)
				b.StartTimer()
				start = time.Now()
				totals, err := s.Sum(b.Context(), q)
				ours += time.Since(start)
				if err != nil || len(totals) != rows || rows == 0 {
					b.Fatalf("%d totals of %d rows, %v", len(totals), rows, err)
				}
			}
			b.ReportMetric(raw.Seconds()/ours.Seconds(), "ratio")
		})
	}
}

// fetch runs a statement and counts its rows without looking at them.
func fetch(b *testing.B, s *Store, statement facts.Statement) (n int) {
	rows, err := s.db.QueryContext(context.Background(), statement.Text, statement.Args...)
	if err != nil {
		b.Fatal(err)
	}
	defer func() {
		if err := rows.Close(); err != nil {
			b.Fatal(err)
		}
	}()
	for rows.Next() {
		n++
	}
	if err := rows.Err(); err != nil {
		b.Fatal(err)
	}
	return n
}
