package main

import (
	"context"
	"fmt"
	"os"
	"syscall"
	"time"

	"daysheet/services/facts"
)

const terminate = syscall.SIGTERM

// bench is one run: the four engines with the same facts.
type bench struct {
	options
	folder   string
	made     int // facts
	duckdb   *duckDB
	house    *clickHouse
	current  *currentHouse
	postgres *postgres
	loads    []load
}

// load is one way of writing the facts.
type load struct {
	name  string
	took  time.Duration
	raw   string // the load of the same engine's driver that this one is compared with
	about string
}

// time adds up how long a piece of work takes.
func (l *load) time(work func() error) error {
	begin := time.Now()
	err := work()
	l.took += time.Since(begin)
	if err != nil {
		return fmt.Errorf("load %s: %w", l.name, err)
	}
	return nil
}

// loadAll loads one engine after the other. The ways of one engine take turns, batch
// by batch, so that a machine that is busy for a while slows all of them down. Making
// batches is not timed.
func (b *bench) loadAll(ctx context.Context) error {
	for _, engine := range []func(context.Context) error{b.loadDuckDB, b.loadClickHouse, b.loadCurrent, b.loadPostgres} {
		if err := engine(ctx); err != nil {
			return err
		}
	}
	return nil
}

func (b *bench) loadDuckDB(ctx context.Context) error {
	own := &load{name: "DuckDB, product", raw: "DuckDB, raw"}
	raw := &load{name: "DuckDB, raw", about: "the driver's appenders, prepared rows"}
	err := b.each(ctx, own.name, func(batch facts.Batch) error {
		b.made += len(batch.Facts)
		tables := tablesOf(batch)
		if err := own.time(func() error { return b.duckdb.store.Write(ctx, batch) }); err != nil {
			return err
		}
		return raw.time(func() error { return b.duckdb.append(ctx, tables) })
	})
	if err != nil {
		return err
	}
	b.loads = append(b.loads, *own, *raw)
	return b.duckdb.dropRaw()
}

func (b *bench) loadClickHouse(ctx context.Context) error {
	own := &load{name: "ClickHouse, product", raw: "ClickHouse, raw rows"}
	rows := &load{name: "ClickHouse, raw rows", about: "the driver's batches, prepared rows"}
	columns := &load{name: "ClickHouse, raw columns", about: "the same, prepared columns"}
	err := b.each(ctx, own.name, func(batch facts.Batch) error {
		tables := tablesOf(batch)
		prepared := make([][]any, len(tables))
		for i, t := range tables {
			prepared[i] = byColumn(t.rows)
		}
		if err := own.time(func() error { return b.house.store.Write(ctx, batch) }); err != nil {
			return err
		}
		if err := rows.time(func() error { return b.house.addRows(ctx, rawByRow, tables) }); err != nil {
			return err
		}
		return columns.time(func() error { return b.house.addColumns(ctx, rawByColumn, tables, prepared) })
	})
	if err != nil {
		return err
	}
	b.loads = append(b.loads, *own, *rows, *columns)
	return b.house.dropRaw(ctx)
}

func (b *bench) loadCurrent(ctx context.Context) error {
	own := &load{name: "ClickHouse 26.7, product", about: "over HTTP, the engine as a library"}
	err := b.each(ctx, own.name, func(batch facts.Batch) error {
		return own.time(func() error { return b.current.store.Write(ctx, batch) })
	})
	b.loads = append(b.loads, *own)
	return err
}

func (b *bench) loadPostgres(ctx context.Context) error {
	bare := &load{name: "PostgreSQL, COPY", about: "prepared rows, tables without indexes"}
	err := b.each(ctx, bare.name, func(batch facts.Batch) error {
		tables := tablesOf(batch)
		return bare.time(func() error { return b.postgres.copy(ctx, tables) })
	})
	if err != nil {
		return err
	}
	indexed := &load{
		name: "PostgreSQL, COPY and indexes", took: bare.took, about: "indexes made afterwards, VACUUM ANALYZE",
	}
	if err := indexed.time(func() error { return b.postgres.execute(ctx, postgresIndexes) }); err != nil {
		return err
	}
	b.loads = append(b.loads, *bare, *indexed)
	return nil
}

// each gives every batch to take, and says how far it has come.
func (b *bench) each(ctx context.Context, name string, take func(facts.Batch) error) error {
	done := 0
	for batch := range batches(b.facts, b.seed) {
		if ctx.Err() != nil {
			return context.Cause(ctx)
		}
		if err := take(batch); err != nil {
			return err
		}
		before := done
		done += len(batch.Facts)
		if done/1_000_000 > before/1_000_000 {
			fmt.Fprintf(os.Stderr, "%s: %d facts\n", name, done)
		}
	}
	return nil
}
