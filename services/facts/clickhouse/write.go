package clickhouse

import (
	"context"
	"errors"
	"fmt"

	"github.com/ClickHouse/clickhouse-go/v2/lib/driver"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/services/facts"
)

// Write implements [facts.Store]. Where it failed, nobody knows what the server
// took: the next one asks.
func (s *Store) Write(ctx context.Context, b facts.Batch) error {
	if err := b.Validate(); err != nil {
		return fmt.Errorf("write facts: %w", err)
	}
	err := s.change(ctx, func(ctx context.Context, l *link) error {
		position, err := s.position(ctx, l, b.Partition)
		if err != nil {
			return err
		}
		missing, err := b.After(position)
		if err != nil || len(missing.Commits) == 0 {
			return err
		}
		if err := insertFacts(ctx, l, missing.Facts); err != nil {
			return err
		}
		if err := insertJobs(ctx, l, missing.Jobs); err != nil {
			return err
		}
		return insertCommits(ctx, l, missing.Commits) // last: it moves the position
	})
	if err != nil {
		return fmt.Errorf("write facts of partition %d up to commit %d: %w", b.Partition, b.Position, err)
	}
	return nil
}

func insertFacts(ctx context.Context, l *link, rows []reports.Fact) error {
	var (
		f      reports.Fact
		month  string
		fields = append(facts.FactFields(&f), &month)
	)
	return insert(ctx, l, factsTable+" ("+facts.FactColumns+", month)", fields, len(rows), func(i int) {
		if f.Day != rows[i].Day {
			month = string(rows[i].Day.Month())
		}
		f = rows[i]
	})
}

func insertJobs(ctx context.Context, l *link, rows []reports.JobRow) error {
	var j reports.JobRow
	return insert(ctx, l, jobsTable+" ("+facts.JobColumns+")", facts.JobFields(&j), len(rows), func(i int) { j = rows[i] })
}

func insertCommits(ctx context.Context, l *link, rows []events.Stored) error {
	var c events.Stored
	fields := []any{&c.Partition, &c.Sequence, &c.Raw}
	return insert(ctx, l, commitsTable+" (partition, sequence, raw)", fields, len(rows), func(i int) { c = rows[i] })
}

// insert sends n rows as one block. set puts the row of number i where the fields
// point.
func insert(ctx context.Context, l *link, into string, fields []any, n int, set func(i int)) error {
	if n == 0 {
		return nil
	}
	batch, err := l.pool.PrepareBatch(ctx, "INSERT INTO "+into)
	if err != nil {
		return fmt.Errorf("insert into %s: %w", into, err)
	}
	if err := fill(batch, fields, n, set); err != nil {
		return fmt.Errorf("insert into %s: %w", into, errors.Join(err, batch.Abort()))
	}
	if err := batch.Send(); err != nil {
		return fmt.Errorf("insert into %s: %w", into, err)
	}
	return nil
}

// chunk is how many rows are turned into columns at a time.
const chunk = 4096

// fill gives rows to the batch column by column. A row at a time would be slower,
// and a pointer in one would be taken for its own text by LowCardinality.
func fill(batch driver.Batch, fields []any, n int, set func(i int)) error {
	columns := make([]column, len(fields))
	for i, field := range fields {
		made, err := columnOf(field, min(n, chunk))
		if err != nil {
			return err
		}
		columns[i] = made
	}
	for i := range n {
		set(i)
		for _, c := range columns {
			c.take()
		}
		if i+1 < n && (i+1)%chunk != 0 {
			continue
		}
		for number, c := range columns {
			if err := batch.Column(number).Append(c.taken()); err != nil {
				return err
			}
		}
	}
	return nil
}

// column gathers values of one column.
type column interface {
	take()      // one more value, from the field
	taken() any // the values since the last call, as a slice; it holds until take
}

type gathered[T any] struct {
	field  *T
	values []T
	handed bool
}

func (g *gathered[T]) take() {
	if g.handed {
		g.values, g.handed = g.values[:0], false
	}
	g.values = append(g.values, *g.field)
}

func (g *gathered[T]) taken() any {
	g.handed = true
	return g.values
}

// columnOf returns a column whose values come from where the field points.
func columnOf(field any, capacity int) (column, error) {
	switch p := field.(type) {
	case *string:
		return gather(p, capacity), nil
	case *[]byte:
		return gather(p, capacity), nil
	case *int64:
		return gather(p, capacity), nil
	case *uint64:
		return gather(p, capacity), nil
	case *uint32:
		return gather(p, capacity), nil
	case *uint8:
		return gather(p, capacity), nil
	case *int8:
		return gather(p, capacity), nil
	}
	return nil, fmt.Errorf("no column is made of a %T", field)
}

func gather[T any](field *T, capacity int) column {
	return &gathered[T]{field: field, values: make([]T, 0, capacity)}
}
