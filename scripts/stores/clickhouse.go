package main

import (
	"context"
	"errors"
	"fmt"
	"time"

	native "github.com/ClickHouse/clickhouse-go/v2"
	"github.com/ClickHouse/clickhouse-go/v2/lib/driver"

	"daysheet/services/facts"
	"daysheet/services/facts/clickhouse"
)

// Databases of the server: that of the product's own way of writing, and those of
// the driver's batches as they are, which have the same tables.
const (
	ownDatabase    = "own"
	rawByRow       = "raw_by_row"
	rawByColumn    = "raw_by_column"
	mergesPatience = 10 * time.Minute
)

// Tables as the product calls them.
var (
	factsTable = fmt.Sprintf("facts_%d", facts.Schema)
	jobsTable  = fmt.Sprintf("jobs_%d", facts.Schema)
)

// clickHouse is a server, and a plain connection to it.
type clickHouse struct {
	server  *process
	address string
	conn    native.Conn
	store   *clickhouse.Store // reads with FINAL, and writes
	plain   *clickhouse.Store // reads without
}

// openClickHouse starts a server with the product's tables in each database.
func openClickHouse(ctx context.Context, folder string) (*clickHouse, error) {
	server, address, err := startClickHouse(ctx, folder)
	if err != nil {
		return nil, err
	}
	c := &clickHouse{server: server, address: address}
	if err := c.open(ctx); err != nil {
		return nil, errors.Join(err, c.close())
	}
	return c, nil
}

func (c *clickHouse) open(ctx context.Context) (err error) {
	c.conn, err = native.Open(&native.Options{Addr: []string{c.address}, ReadTimeout: mergesPatience})
	if err != nil {
		return fmt.Errorf("connect to ClickHouse: %w", err)
	}
	for _, database := range []string{ownDatabase, rawByRow, rawByColumn} {
		if err := c.conn.Exec(ctx, "CREATE DATABASE "+database); err != nil {
			return fmt.Errorf("make database %s: %w", database, err)
		}
	}
	for _, database := range []string{rawByRow, rawByColumn} {
		s, err := clickhouse.Open(ctx, clickhouse.Options{Address: c.address, Database: database})
		if err != nil {
			return err
		}
		if err := s.Close(); err != nil {
			return err
		}
	}
	c.store, err = clickhouse.Open(ctx, clickhouse.Options{Address: c.address, Database: ownDatabase})
	if err == nil {
		c.plain, err = clickhouse.Open(ctx, clickhouse.Options{Address: c.address, Database: ownDatabase, NoFinal: true})
	}
	return err
}

func (c *clickHouse) close() error {
	var err error
	for _, s := range []*clickhouse.Store{c.store, c.plain} {
		if s != nil {
			err = errors.Join(err, s.Close())
		}
	}
	if c.conn != nil {
		err = errors.Join(err, c.conn.Close())
	}
	return errors.Join(err, c.server.stop(terminate))
}

// addRows adds prepared rows row by row.
func (c *clickHouse) addRows(ctx context.Context, database string, tables []table) error {
	return c.add(ctx, database, tables, func(b driver.Batch, i int) error {
		for _, row := range tables[i].rows {
			if err := b.Append(row...); err != nil {
				return err
			}
		}
		return nil
	})
}

// addColumns adds prepared columns.
func (c *clickHouse) addColumns(ctx context.Context, database string, tables []table, columns [][]any) error {
	return c.add(ctx, database, tables, func(b driver.Batch, i int) error {
		for number, column := range columns[i] {
			if err := b.Column(number).Append(column); err != nil {
				return err
			}
		}
		return nil
	})
}

func (c *clickHouse) add(ctx context.Context, database string, tables []table,
	fill func(b driver.Batch, table int) error,
) error {
	for i, t := range tables {
		if len(t.rows) == 0 {
			continue
		}
		into := fmt.Sprintf("INSERT INTO %s.%s_%d (%s)", database, t.name, facts.Schema, t.columns)
		batch, err := c.conn.PrepareBatch(ctx, into)
		if err != nil {
			return fmt.Errorf("%s: %w", into, err)
		}
		if err := fill(batch, i); err != nil {
			return errors.Join(fmt.Errorf("%s: %w", into, err), batch.Abort())
		}
		if err := batch.Send(); err != nil {
			return fmt.Errorf("%s: %w", into, err)
		}
	}
	return nil
}

// dropRaw deletes what the driver's own batches wrote.
func (c *clickHouse) dropRaw(ctx context.Context) error {
	for _, database := range []string{rawByRow, rawByColumn} {
		if err := c.conn.Exec(ctx, "DROP DATABASE "+database); err != nil {
			return fmt.Errorf("drop database %s: %w", database, err)
		}
	}
	return nil
}

// settle waits until the server merges nothing, so that no question waits for it.
func (c *clickHouse) settle(ctx context.Context) error {
	tick := time.NewTicker(200 * time.Millisecond)
	defer tick.Stop()
	for quiet := 0; quiet < 5; {
		var merges uint64
		if err := c.conn.QueryRow(ctx, "SELECT count() FROM system.merges").Scan(&merges); err != nil {
			return fmt.Errorf("count merges: %w", err)
		}
		quiet++
		if merges > 0 {
			quiet = 0
		}
		select {
		case <-tick.C:
		case <-ctx.Done():
			return context.Cause(ctx)
		}
	}
	return nil
}

// merge makes one part of each table.
func (c *clickHouse) merge(ctx context.Context) error {
	for _, name := range []string{factsTable, jobsTable} {
		if err := c.conn.Exec(ctx, "OPTIMIZE TABLE "+ownDatabase+"."+name+" FINAL"); err != nil {
			return fmt.Errorf("merge %s: %w", name, err)
		}
	}
	return c.settle(ctx)
}

// size returns the bytes of facts and of all tables, and of how many parts facts are.
func (c *clickHouse) size(ctx context.Context) (ofFacts, all int64, parts int, err error) {
	rows, err := c.conn.Query(ctx, "SELECT table, sum(bytes_on_disk), count() FROM system.parts "+
		"WHERE active AND database = '"+ownDatabase+"' GROUP BY table")
	if err != nil {
		return 0, 0, 0, fmt.Errorf("read sizes: %w", err)
	}
	for rows.Next() {
		var (
			name         string
			bytes, count uint64
		)
		if err := rows.Scan(&name, &bytes, &count); err != nil {
			return 0, 0, 0, errors.Join(fmt.Errorf("read sizes: %w", err), rows.Close())
		}
		all += int64(bytes)
		if name == factsTable {
			ofFacts, parts = int64(bytes), int(count)
		}
	}
	return ofFacts, all, parts, errors.Join(rows.Err(), rows.Close())
}
