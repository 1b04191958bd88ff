package duckdb

import (
	"context"
	"database/sql"
	"database/sql/driver"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	duck "github.com/duckdb/duckdb-go/v2"

	"daysheet/reports"
	"daysheet/services/facts"
	"daysheet/services/facts/factstest"
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
	tables := factstest.Tables(batch)
	var ours, raw time.Duration
	for b.Loop() {
		b.StopTimer()
		raw += appendRaw(b, tables)
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

// driverFor opens a closed file with the driver for database/sql, which moves its log
// into the file as late as a store that is being filled does.
func driverFor(b *testing.B, path string) *sql.DB {
	b.Helper()
	db, err := sql.Open("duckdb", fmt.Sprintf("%s?checkpoint_threshold=%dB", path, checkpointFilling))
	if err != nil {
		b.Fatal(err)
	}
	return db
}

// appendRaw measures the driver's appenders on a new file with the same tables.
func appendRaw(b *testing.B, tables []factstest.Table) time.Duration {
	b.Helper()
	path := filepath.Join(b.TempDir(), "facts.duckdb")
	shut(b, open(b, path))
	db := driverFor(b, path)
	defer db.Close()
	conn, err := db.Conn(b.Context())
	if err != nil {
		b.Fatal(err)
	}
	defer conn.Close()
	start := time.Now()
	tx, err := conn.BeginTx(b.Context(), nil)
	if err != nil {
		b.Fatal(err)
	}
	err = conn.Raw(func(connection any) error {
		for _, table := range tables {
			appender, err := duck.NewAppenderFromConn(connection.(driver.Conn), "", table.Name)
			if err != nil {
				return err
			}
			for _, row := range table.Rows {
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
	if err = errors.Join(err, tx.Commit()); err != nil {
		b.Fatal(err)
	}
	return time.Since(start)
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
// SQL whose rows are fetched by the driver for database/sql and dropped. The metric
// ratio is the speed of Sum over that.
func BenchmarkSum(b *testing.B) {
	path := filepath.Join(b.TempDir(), "facts.duckdb")
	s := open(b, path)
	const step, end = 20_000, 340_000
	for at := uint64(0); at < end; at += step {
		write(b, s, run(at, at+step))
	}
	shut(b, s)
	written, err := os.ReadFile(path)
	if err != nil {
		b.Fatal(err)
	}
	if err := os.WriteFile(path+".copy", written, 0o600); err != nil {
		b.Fatal(err)
	}
	s = open(b, path)
	defer shut(b, s)
	db := driverFor(b, path+".copy")
	defer db.Close()
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
				rows := fetch(b, db, statement)
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
func fetch(b *testing.B, db *sql.DB, statement facts.Statement) (n int) {
	rows, err := db.QueryContext(context.Background(), statement.Text, statement.Args...)
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
