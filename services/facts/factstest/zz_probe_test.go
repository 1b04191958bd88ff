package factstest

import (
	"context"
	"fmt"
	"reflect"
	"strings"
	"testing"

	"github.com/ClickHouse/clickhouse-go/v2"
	"github.com/ClickHouse/clickhouse-go/v2/lib/driver"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/services/facts"
)

type ch struct {
	c driver.Conn
	t facts.Tables
}

func (s *ch) Close() error { return s.c.Close() }
func (s *ch) Position(ctx context.Context, p uint8) (n uint64, err error) {
	err = s.c.QueryRow(ctx, "SELECT max(sequence) FROM commits WHERE partition = ?", p).Scan(&n)
	return
}
func flat(fields []any) (out []any) {
	for _, f := range fields {
		out = append(out, reflect.ValueOf(f).Elem().Interface())
	}
	return
}
func (s *ch) Write(ctx context.Context, b facts.Batch) error {
	if err := b.Validate(); err != nil {
		return err
	}
	if ctx.Err() != nil { return ctx.Err() }
	pos, err := s.Position(ctx, b.Partition)
	if err != nil {
		return err
	}
	if b, err = b.After(pos); err != nil || len(b.Commits) == 0 {
		return err
	}
	put := func(table string, n int, row func(i int) []any) error {
		if n == 0 { return nil }
		x, err := s.c.PrepareBatch(ctx, "INSERT INTO "+table+" ("+map[string]string{"facts": facts.FactColumns + ", month", "jobs": facts.JobColumns, "commits": "partition, sequence, raw"}[table]+")")
		if err != nil {
			return err
		}
		for i := range n {
			if err := x.Append(row(i)...); err != nil {
				return err
			}
		}
		return x.Send()
	}
	if err := put("facts", len(b.Facts), func(i int) []any { return append(flat(facts.FactFields(&b.Facts[i])), string(b.Facts[i].Day.Month())) }); err != nil {
		return err
	}
	if err := put("jobs", len(b.Jobs), func(i int) []any { return flat(facts.JobFields(&b.Jobs[i])) }); err != nil {
		return err
	}
	return put("commits", len(b.Commits), func(i int) []any { return []any{b.Partition, b.Commits[i].Sequence, string(b.Commits[i].Raw)} })
}
func (s *ch) read(ctx context.Context, st facts.Statement, fields []any, each func()) error {
	rows, err := s.c.Query(ctx, st.Text, st.Args...)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		if err := rows.Scan(fields...); err != nil {
			return err
		}
		each()
	}
	return rows.Err()
}
func (s *ch) Sum(ctx context.Context, q reports.Query) (out []reports.Total, err error) {
	st, err := s.t.Sum(q)
	if err != nil {
		return nil, err
	}
	by := make([]string, len(q.By))
	var t reports.Total
	var f []any
	for i := range by {
		f = append(f, &by[i])
	}
	f = append(f, &t.Minutes, &t.QuantityMilli, &t.CostE4, &t.Facts)
	err = s.read(ctx, st, f, func() { x := t; x.By = append([]string{}, by...); out = append(out, x) })
	return
}
func (s *ch) Lines(ctx context.Context, q reports.Query) (out []reports.Fact, err error) {
	st, err := s.t.Lines(q)
	if err != nil {
		return nil, err
	}
	var f reports.Fact
	err = s.read(ctx, st, facts.FactFields(&f), func() { out = append(out, f) })
	return
}
func (s *ch) Jobs(ctx context.Context, q reports.JobQuery) (out []reports.JobRow, err error) {
	st, err := s.t.Jobs(q)
	if err != nil {
		return nil, err
	}
	var f reports.JobRow
	err = s.read(ctx, st, facts.JobFields(&f), func() { out = append(out, f) })
	return
}
func (s *ch) Commits(ctx context.Context, partition uint8, after uint64, limit int) (out []events.Stored, err error) {
	if limit < 1 {
		return nil, events.Refuse("limit", limit, "at least 1")
	}
	var q uint64
	var r string
	err = s.read(ctx, facts.Statement{Text: fmt.Sprintf("SELECT sequence, raw FROM commits WHERE partition = %d AND sequence > %d ORDER BY sequence LIMIT %d", partition, after, limit)}, []any{&q, &r}, func() {
		out = append(out, events.Stored{Partition: partition, Sequence: q, Raw: []byte(r)})
	})
	return
}

func TestProbe(t *testing.T) {
	seen := map[string]bool{}
	Run(t, func(t *testing.T) facts.Store {
		db := strings.ToLower(strings.NewReplacer("/", "_").Replace(t.Name()))
		root, err := clickhouse.Open(&clickhouse.Options{Addr: []string{"127.0.0.1:19441"}})
		if err != nil {
			t.Fatal(err)
		}
		ctx := context.Background()
		if !seen[db] {
			root.Exec(ctx, "DROP DATABASE IF EXISTS "+db)
			if err := root.Exec(ctx, "CREATE DATABASE "+db); err != nil {
				t.Fatal(err)
			}
		}
		root.Close()
		c, err := clickhouse.Open(&clickhouse.Options{Addr: []string{"127.0.0.1:19441"}, Auth: clickhouse.Auth{Database: db}})
		if err != nil {
			t.Fatal(err)
		}
		for _, q := range []string{
			"CREATE TABLE facts (firm String, job String, job_type String, partition UInt8, sequence UInt64, line UInt32, event_id String, occurred_at Int64, day String, side String, kind String, family String, task String, surface String, method String, location String, product String, unit String, grade String, person String, minutes Int64, quantity_milli Int64, cost_e4 Int64, sign Int8, month String) ENGINE = ReplacingMergeTree() ORDER BY (firm, job, sequence, line)",
			"CREATE TABLE jobs (firm String, job String, partition UInt8, sequence UInt64, job_type String, title String, customer String, state String, built Int64, opened String, due String, accepted String, finished String) ENGINE = ReplacingMergeTree() ORDER BY (firm, job, sequence)",
			"CREATE TABLE commits (partition UInt8, sequence UInt64, raw String) ENGINE = ReplacingMergeTree() ORDER BY (partition, sequence)",
		} {
			if seen[db] {
				break
			}
			if err := c.Exec(ctx, q); err != nil {
				t.Fatal(err)
			}
		}
		seen[db] = true
		return &ch{c, facts.Tables{FactsFrom: "facts FINAL", JobsFrom: "jobs FINAL"}}
	})
}
