package clickhouse

import (
	"context"
	"errors"
	"fmt"
	"strings"

	native "github.com/ClickHouse/clickhouse-go/v2"
)

// statements make the tables. The number in their names is that of the schema; it
// goes up by one with every change of the tables or of what the projection puts
// in them.
//
// A table has no partitions, so that a block is one part. Its rows are replaced
// by their key; any one may win, since rows with the same key are equal. WORD
// stands for the type of text that has few values.
var statements = [...]string{
	`CREATE TABLE IF NOT EXISTS facts_1 (
	firm String, job String, job_type WORD, partition UInt8,
	sequence UInt64, line UInt32, event_id String, occurred_at Int64,
	day WORD, side WORD, kind WORD, family WORD,
	task WORD, surface WORD, method WORD, location String,
	product WORD, place WORD, unit WORD, grade WORD, person WORD,
	minutes Int64, quantity_milli Int64, cost_e4 Int64, sign Int8,
	month WORD
) ENGINE = ReplacingMergeTree() ORDER BY (firm, job, sequence, line)`,
	`CREATE TABLE IF NOT EXISTS jobs_1 (
	firm String, job String, partition UInt8, sequence UInt64,
	job_type WORD, title String, customer String, state WORD,
	built Int64, opened String, start String, due String,
	accepted String, finished String
) ENGINE = ReplacingMergeTree() ORDER BY (firm, job, sequence)`,
	`CREATE TABLE IF NOT EXISTS commits_1 (partition UInt8, sequence UInt64, raw String
) ENGINE = ReplacingMergeTree() ORDER BY (partition, sequence)`,
}

// modernSince is the first major version that is told more than 18.16 understands:
// to keep text of few values as numbers, and to wait for the disk.
const modernSince = 22

// create returns the statements for a server.
func create(modern bool) []string {
	made := make([]string, len(statements))
	for i, statement := range statements {
		if modern {
			made[i] = strings.ReplaceAll(statement, "WORD", "LowCardinality(String)") +
				" SETTINGS fsync_after_insert = 1, fsync_part_directory = 1"
		} else {
			made[i] = strings.ReplaceAll(statement, "WORD", "String")
		}
	}
	return made
}

// prepare makes the tables where they are missing, and tells whether the server
// is a modern one.
func (s *Store) prepare(ctx context.Context, opts Options) (modern bool, err error) {
	l, err := newLink(opts, false)
	if err != nil {
		return false, err
	}
	ctx, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	err = l.use(ctx, func(ctx context.Context, l *link) error {
		version, err := l.pool.ServerVersion()
		if err != nil {
			return greetingError(err, opts)
		}
		modern = version.Version.Major >= modernSince
		for _, statement := range create(modern) {
			if err := l.pool.Exec(ctx, statement); err != nil {
				return fmt.Errorf("create tables: %w", err)
			}
		}
		return nil
	})
	return modern, errors.Join(err, l.close())
}

// greetingError says more about what the server refuses most often.
func greetingError(err error, opts Options) error {
	const unknownDatabase = 81
	var e *native.Exception
	if errors.As(err, &e) && e.Code == unknownDatabase {
		return fmt.Errorf("there is no database %q; make it with CREATE DATABASE: %w", opts.Database, err)
	}
	return err
}
