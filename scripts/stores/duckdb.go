package main

import (
	"cmp"
	"context"
	"database/sql"
	"database/sql/driver"
	"errors"
	"fmt"
	"os"
	"path/filepath"

	duck "github.com/duckdb/duckdb-go/v2"

	"daysheet/services/facts/duckdb"
)

// duckDB is the product's store in a file, and a second file with the same tables
// that the driver's appenders write as they are.
type duckDB struct {
	path    string
	options duckdb.Options
	store   *duckdb.Store

	rawPath string
	raw     *sql.DB
	conn    *sql.Conn
}

func openDuckDB(ctx context.Context, folder string, memory int64) (*duckDB, error) {
	d := &duckDB{
		path: filepath.Join(folder, "facts.duckdb"), rawPath: filepath.Join(folder, "raw.duckdb"),
		options: duckdb.Options{MemoryLimit: memory << 20},
	}
	empty, err := duckdb.Open(ctx, d.rawPath, d.options) // makes the tables
	if err != nil {
		return nil, err
	}
	if err := empty.Close(); err != nil {
		return nil, err
	}
	// The same bounds as those of the product's store, see there.
	d.raw, err = sql.Open("duckdb", fmt.Sprintf("%s?memory_limit=%dMiB&checkpoint_threshold=64MiB", d.rawPath,
		cmp.Or(memory, duckDBMemoryDefault)))
	if err != nil {
		return nil, fmt.Errorf("open the file of the raw driver: %w", err)
	}
	if d.conn, err = d.raw.Conn(ctx); err == nil {
		d.store, err = duckdb.Open(ctx, d.path, d.options)
	}
	if err != nil {
		return nil, errors.Join(fmt.Errorf("open DuckDB: %w", err), d.close())
	}
	return d, nil
}

// duckDBMemoryDefault is the product's own limit in MiB.
const duckDBMemoryDefault = 192

func (d *duckDB) close() error {
	err := d.dropRaw()
	if d.store != nil {
		err = errors.Join(err, d.store.Close())
	}
	return err
}

// dropRaw deletes what the appenders wrote.
func (d *duckDB) dropRaw() error {
	var err error
	if d.conn != nil {
		err, d.conn = d.conn.Close(), nil
	}
	if d.raw != nil {
		err, d.raw = errors.Join(err, d.raw.Close(), os.Remove(d.rawPath)), nil
	}
	return err
}

// append adds prepared rows by the driver's appenders, in one transaction.
func (d *duckDB) append(ctx context.Context, tables []table) error {
	if _, err := d.conn.ExecContext(ctx, "BEGIN TRANSACTION"); err != nil {
		return fmt.Errorf("begin: %w", err)
	}
	err := d.conn.Raw(func(connection any) error {
		for _, t := range tables {
			appender, err := duck.NewAppenderFromConn(connection.(driver.Conn), "", t.name)
			if err != nil {
				return err
			}
			row := make([]driver.Value, len(t.columnNames()))
			for _, values := range t.rows {
				for i, v := range values {
					row[i] = v
				}
				if err := appender.AppendRow(row...); err != nil {
					return errors.Join(err, appender.Close())
				}
			}
			if err := appender.Close(); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return fmt.Errorf("append: %w", err)
	}
	if _, err := d.conn.ExecContext(ctx, "COMMIT"); err != nil {
		return fmt.Errorf("commit: %w", err)
	}
	return nil
}

// size closes the store, looks at its file and opens it again. It returns the bytes
// of the blocks of facts and those of the file.
func (d *duckDB) size(ctx context.Context) (ofFacts, all int64, err error) {
	if err := d.store.Close(); err != nil {
		return 0, 0, err
	}
	db, err := sql.Open("duckdb", d.path)
	if err != nil {
		return 0, 0, fmt.Errorf("open DuckDB: %w", err)
	}
	err = db.QueryRowContext(ctx, `SELECT CAST((SELECT count(DISTINCT block_id) FROM pragma_storage_info('facts')
		WHERE block_id >= 0) * (SELECT block_size FROM pragma_database_size()) AS BIGINT)`).Scan(&ofFacts)
	if err = errors.Join(err, db.Close()); err != nil {
		return 0, 0, fmt.Errorf("read sizes: %w", err)
	}
	info, err := os.Stat(d.path)
	if err != nil {
		return 0, 0, err
	}
	d.store, err = duckdb.Open(ctx, d.path, d.options)
	return ofFacts, info.Size(), err
}
