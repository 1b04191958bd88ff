package clickhouse

import (
	"context"
	"errors"
	"fmt"
	"strings"

	native "github.com/ClickHouse/clickhouse-go/v2"

	"daysheet/events"
	"daysheet/services/facts"
)

// The tables' names. The number in them is that of the schema, so that tables of
// another one stay as they are. It is in that of the commits as well: they say up
// to where the others are filled.
var (
	factsTable   = fmt.Sprintf("facts_%d", facts.Schema)
	jobsTable    = fmt.Sprintf("jobs_%d", facts.Schema)
	commitsTable = fmt.Sprintf("commits_%d", facts.Schema)
)

// table is one of the tables.
//
// It has no partitions, so that a block is one part. Its rows are replaced by
// their key; any one may win, since rows with the same key are equal.
type table struct {
	name    string
	columns string // WORD stands for the type of text that has few values
	key     string
	shard   string // what spreads the rows over the shards of a cluster
}

var tables = [...]table{
	{name: factsTable, columns: `
	firm String, job String, job_type WORD, partition UInt8,
	sequence UInt64, line UInt32, event_id String, occurred_at Int64,
	day WORD, side WORD, kind WORD, family WORD,
	task WORD, surface WORD, method WORD, location String,
	product WORD, place WORD, unit WORD, grade WORD, person WORD,
	minutes Int64, quantity_milli Int64, cost_e4 Int64, sign Int8,
	month WORD
`, key: "firm, job, sequence, line", shard: "cityHash64(firm)"},
	{name: jobsTable, columns: `
	firm String, job String, partition UInt8, sequence UInt64,
	job_type WORD, title String, customer String, state WORD,
	built Int64, opened String, start String, due String,
	accepted String, finished String
`, key: "firm, job, sequence", shard: "cityHash64(firm)"},
	{name: commitsTable, columns: "partition UInt8, sequence UInt64, raw String\n",
		key: "partition, sequence", shard: "partition"},
}

// modernSince is the first major version that is told more than 18.16 understands:
// to keep text of few values as numbers, and to wait for the disk.
const modernSince = 22

// create returns the statements for a server.
func create(modern bool) []string {
	made := make([]string, len(tables))
	for i, t := range tables {
		made[i] = "CREATE TABLE IF NOT EXISTS " + t.name + " (" + t.columnsFor(modern) +
			") ENGINE = ReplacingMergeTree() ORDER BY (" + t.key + ")"
		if modern {
			made[i] += " SETTINGS fsync_after_insert = 1, fsync_part_directory = 1"
		}
	}
	return made
}

func (t table) columnsFor(modern bool) string {
	if modern {
		return strings.ReplaceAll(t.columns, "WORD", "LowCardinality(String)")
	}
	return strings.ReplaceAll(t.columns, "WORD", "String")
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
		if opts.Cluster != "" {
			s.told, err = joinCluster(ctx, l, opts, modern)
			return err
		}
		for _, statement := range create(modern) {
			if err := l.pool.Exec(ctx, statement); err != nil {
				return fmt.Errorf("create tables: %w", err)
			}
		}
		found, err := engines(ctx, l)
		if err == nil && found[tables[0].name] == distributed {
			return events.Refuse("cluster", "", "the cluster that the tables of database %s are spread over", opts.Database)
		}
		return err
	})
	return modern, errors.Join(err, l.close())
}

// engines returns the engines of the tables in the database, by their names.
func engines(ctx context.Context, l *link) (map[string]string, error) {
	found, name, engine := map[string]string{}, "", ""
	statement := facts.Statement{Text: "SELECT name, engine FROM system.tables WHERE database = currentDatabase()"}
	err := query(ctx, l, statement, []any{&name, &engine}, func() { found[name] = engine })
	if err != nil {
		return nil, fmt.Errorf("list tables: %w", err)
	}
	return found, nil
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
