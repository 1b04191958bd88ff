package main

import (
	"context"
	"database/sql"
	"database/sql/driver"
	"errors"
	"fmt"
	"path/filepath"
	"syscall"
	"testing"
	"time"

	duck "github.com/duckdb/duckdb-go/v2"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/services/daysheet/demo"
	"daysheet/services/eventlog"
	"daysheet/services/facts"
	"daysheet/services/facts/duckdb"
	"daysheet/services/facts/factstest"
	"daysheet/services/projector"
)

// BenchmarkReplay compares making the facts again from the log with its two raw
// parts: reading the log and doing nothing, and giving the finished rows to the
// driver's appenders. It reports replay's share of the slower part's speed.
func BenchmarkReplay(b *testing.B) {
	folder := b.TempDir()
	log, err := eventlog.Open(context.Background(), eventlog.Config{Dir: filepath.Join(folder, logFolder)})
	if err != nil {
		b.Fatal(err)
	}
	defer log.Close()
	last := fillLog(b, log)
	tables := rowsOf(b, log, last)
	var read, appended, replayed time.Duration
	rounds := 0
	for b.Loop() {
		read += timed(b, func() error { return readAll(b.Context(), log, last, func(events.Stored) error { return nil }) })
		path := filepath.Join(b.TempDir(), factsFile)
		appended += timed(b, func() error { return appendRows(b, path, tables) })
		store, err := duckdb.Open(b.Context(), filepath.Join(b.TempDir(), factsFile), duckdb.Options{})
		if err != nil {
			b.Fatal(err)
		}
		replayed += timed(b, func() error {
			return projector.Rebuild(b.Context(), log, store, func(uint64, uint64) {})
		})
		if err := store.Close(); err != nil {
			b.Fatal(err)
		}
		rounds++
	}
	n := float64(rounds * len(tables[0].Rows))
	b.ReportMetric(0, "ns/op")
	b.ReportMetric(n/read.Seconds(), "read-facts/s")
	b.ReportMetric(n/appended.Seconds(), "appender-facts/s")
	b.ReportMetric(n/replayed.Seconds(), "replay-facts/s")
	b.ReportMetric(max(read, appended).Seconds()/replayed.Seconds(), "replay/raw")
}

// timed measures work after all that was written before it is on disk: else it waits for
// that too.
func timed(b *testing.B, work func() error) time.Duration {
	b.Helper()
	syscall.Sync()
	start := time.Now()
	if err := work(); err != nil {
		b.Fatal(err)
	}
	return time.Since(start)
}

// fillLog records invented jobs and returns the last sequence.
func fillLog(b *testing.B, log *eventlog.Log) (last uint64) {
	b.Helper()
	firm, err := demo.Generate(demo.Options{Seed: 1, Today: today, Jobs: demo.JobsMax})
	if err != nil {
		b.Fatal(err)
	}
	for s := range firm.Submissions() {
		receipts, err := log.Record(b.Context(), demoFirm, s.Job, s.By, s.Events)
		if err != nil {
			b.Fatal(err)
		}
		last = receipts[0].Sequence
	}
	return last
}

// readAll visits every commit of the invented firm's partition.
func readAll(ctx context.Context, log *eventlog.Log, last uint64, visit func(events.Stored) error) error {
	err := log.Follow(ctx, eventlog.Partition(demoFirm), 0, func(batch []events.Stored) error {
		for _, s := range batch {
			if err := visit(s); err != nil {
				return err
			}
		}
		if batch[len(batch)-1].Sequence == last {
			return errEnd
		}
		return nil
	})
	if errors.Is(err, errEnd) {
		return nil
	}
	return err
}

// rowsOf makes the rows that a replay makes.
func rowsOf(b *testing.B, log *eventlog.Log, last uint64) []factstest.Table {
	b.Helper()
	var batch facts.Batch
	firm, jobs := &events.Firm{}, map[string]*reports.JobProjection{}
	partition := eventlog.Partition(demoFirm)
	err := readAll(b.Context(), log, last, func(s events.Stored) error {
		c, err := events.DecodeCommit(s.Raw)
		if err != nil {
			return err
		}
		if jobs[c.Job] == nil {
			jobs[c.Job] = reports.NewJobProjection(firm, c.Firm, c.Job, partition)
		}
		projected, err := jobs[c.Job].Apply(s, c)
		if err != nil {
			return err
		}
		if c.Job == events.FirmJob {
			err = firm.Apply(c, s.Sequence)
		}
		batch.Facts = append(batch.Facts, projected.Facts...)
		if projected.Job != nil {
			batch.Jobs = append(batch.Jobs, *projected.Job)
		}
		batch.Commits = append(batch.Commits, s)
		return err
	})
	if err != nil {
		b.Fatal(err)
	}
	return factstest.Tables(batch)
}

// appendRows gives the rows to the driver's appenders in one transaction.
func appendRows(b *testing.B, path string, tables []factstest.Table) error {
	b.Helper()
	empty, err := duckdb.Open(b.Context(), path, duckdb.Options{})
	if err != nil {
		return err
	}
	if err := empty.Close(); err != nil {
		return err
	}
	db, err := sql.Open("duckdb", path+"?checkpoint_threshold=64MiB") // as the store does while it is filled
	if err != nil {
		return err
	}
	defer db.Close()
	conn, err := db.Conn(b.Context())
	if err != nil {
		return err
	}
	defer conn.Close()
	if _, err := conn.ExecContext(b.Context(), "BEGIN"); err != nil {
		return err
	}
	err = conn.Raw(func(raw any) error {
		for _, t := range tables {
			appender, err := duck.NewAppenderFromConn(raw.(driver.Conn), "", t.Name)
			if err != nil {
				return err
			}
			for _, row := range t.Rows {
				if err := appender.AppendRow(row...); err != nil {
					return fmt.Errorf("append to %s: %w", t.Name, err)
				}
			}
			if err := appender.Close(); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return err
	}
	_, err = conn.ExecContext(b.Context(), "COMMIT")
	return err
}
