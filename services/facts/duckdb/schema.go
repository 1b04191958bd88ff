package duckdb

import (
	"context"
	"errors"
	"fmt"

	"daysheet/services/facts"
)

// tables makes an empty store. They have the number [facts.Schema]. Nothing may be
// NULL, nothing has a default, and there is no key: DuckDB replays such tables from
// its log without trouble, and adding a column later is a new file. The order of the
// columns of facts and jobs is that of facts.FactColumns and facts.JobColumns.
const tables = `
CREATE TABLE facts (
	firm VARCHAR NOT NULL, job VARCHAR NOT NULL, job_type VARCHAR NOT NULL, partition UTINYINT NOT NULL,
	sequence UBIGINT NOT NULL, line UINTEGER NOT NULL, event_id VARCHAR NOT NULL, occurred_at BIGINT NOT NULL,
	day VARCHAR NOT NULL, side VARCHAR NOT NULL, kind VARCHAR NOT NULL, family VARCHAR NOT NULL,
	task VARCHAR NOT NULL, surface VARCHAR NOT NULL, method VARCHAR NOT NULL, location VARCHAR NOT NULL,
	product VARCHAR NOT NULL, place VARCHAR NOT NULL, unit VARCHAR NOT NULL,
	grade VARCHAR NOT NULL, person VARCHAR NOT NULL,
	minutes BIGINT NOT NULL, quantity_milli BIGINT NOT NULL, cost_e4 BIGINT NOT NULL, sign TINYINT NOT NULL,
	month VARCHAR NOT NULL);
CREATE TABLE jobs (
	firm VARCHAR NOT NULL, job VARCHAR NOT NULL, partition UTINYINT NOT NULL, sequence UBIGINT NOT NULL,
	job_type VARCHAR NOT NULL, title VARCHAR NOT NULL, customer VARCHAR NOT NULL, state VARCHAR NOT NULL,
	built BIGINT NOT NULL, opened VARCHAR NOT NULL, start VARCHAR NOT NULL, due VARCHAR NOT NULL,
	accepted VARCHAR NOT NULL, finished VARCHAR NOT NULL);
CREATE TABLE commits (partition UTINYINT NOT NULL, sequence UBIGINT NOT NULL, raw BLOB NOT NULL);
CREATE TABLE positions (partition UTINYINT NOT NULL, position UBIGINT NOT NULL);
CREATE TABLE meta (schema_number BIGINT NOT NULL);`

// prepare makes the tables in a new file, or checks those of an old one.
func (s *Store) prepare(ctx context.Context) error {
	var made, known int64
	err := s.writer.query(ctx, `SELECT CAST(count(*) AS BIGINT),
		CAST(coalesce(sum(CASE WHEN table_name = 'meta' THEN 1 ELSE 0 END), 0) AS BIGINT)
		FROM duckdb_tables()`, nil, into{fields: []any{&made, &known}})
	switch {
	case err != nil:
		return fmt.Errorf("list tables: %w", err)
	case made == 0:
		return s.create(ctx)
	case known == 0:
		return fmt.Errorf("%w: it has %d tables of something else", ErrSchema, made)
	}
	return s.check(ctx)
}

func (s *Store) create(ctx context.Context) error {
	return s.transaction(ctx, func() error {
		if err := s.writer.run(ctx, tables); err != nil {
			return fmt.Errorf("create tables: %w", err)
		}
		if err := s.writer.exec(ctx, "INSERT INTO meta VALUES (?)", int64(facts.Schema)); err != nil {
			return fmt.Errorf("note schema: %w", err)
		}
		return nil
	})
}

// check reads enough of the file to know that it is one of ours and that its
// positions are those of its commits.
func (s *Store) check(ctx context.Context) error {
	number, found := int64(0), false
	one := into{fields: []any{&number}, each: func() { found = true }}
	err := s.writer.query(ctx, "SELECT schema_number FROM meta", nil, one)
	if err != nil {
		return fmt.Errorf("read schema number: %w", errors.Join(ErrSchema, err))
	}
	if !found {
		return fmt.Errorf("%w: it has no number", ErrSchema)
	}
	if number != facts.Schema {
		return fmt.Errorf("%w: it has number %d, this program makes %d", ErrSchema, number, facts.Schema)
	}
	var differing int64
	err = s.writer.query(ctx, `SELECT CAST(count(*) AS BIGINT) FROM
		(SELECT partition, max(sequence) AS last FROM commits GROUP BY partition) AS c
		FULL JOIN positions AS p ON p.partition = c.partition
		WHERE p.position IS DISTINCT FROM c.last`, nil, into{fields: []any{&differing}})
	if err != nil {
		return fmt.Errorf("compare positions with commits: %w", err)
	}
	if differing > 0 {
		return fmt.Errorf("%w: the position of %d partitions is not that of their last commit", ErrDamaged, differing)
	}
	return nil
}
