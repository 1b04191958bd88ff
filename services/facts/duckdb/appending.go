package duckdb

import (
	"context"
	"errors"
	"fmt"
	"unsafe"

	"github.com/duckdb/duckdb-go/v2/mapping"
)

// append adds n rows to a table within the open transaction. set puts the row of the
// number into the fields, which are one for each column of the table in its order.
func (c *connection) append(ctx context.Context, table string, fields []any, n int, set func(i int)) error {
	if n == 0 {
		return nil
	}
	a, err := c.appender(table, fields)
	if err == nil {
		err = a.rows(ctx, n, set)
	}
	if err == nil {
		err = c.interruptibly(ctx, a.flush)
	}
	if err = errors.Join(err, a.close(err != nil)); err != nil {
		return fmt.Errorf("append to %s: %w", table, err)
	}
	return nil
}

// appender adds rows to a table by chunks of columns.
type appender struct {
	handle mapping.Appender
	chunk  mapping.DataChunk
	fields []any
}

// appender makes one, which is to be closed with an error too.
func (c *connection) appender(table string, fields []any) (a *appender, err error) {
	a = &appender{fields: fields}
	if mapping.AppenderCreateExt(c.handle, "", "", table, &a.handle) == mapping.StateError {
		return a, a.failure()
	}
	if n := int(mapping.AppenderColumnCount(a.handle)); n != len(fields) {
		return a, fmt.Errorf("%d fields do not go into %d columns", len(fields), n)
	}
	types := make([]mapping.LogicalType, len(fields))
	defer func() {
		for i := range types {
			mapping.DestroyLogicalType(&types[i])
		}
	}()
	for i, field := range fields {
		types[i] = mapping.AppenderColumnType(a.handle, mapping.IdxT(i))
		want, known := typeOf(field)
		if got := mapping.GetTypeId(types[i]); !known || got != want {
			return a, fmt.Errorf("%T does not go into column %d, which is of type %d", field, i+1, got)
		}
	}
	a.chunk = mapping.CreateDataChunk(types)
	return a, nil
}

func (a *appender) failure() error { return engineError(mapping.AppenderError(a.handle)) }

// rows adds n rows, a chunk at a time.
func (a *appender) rows(ctx context.Context, n int, set func(i int)) error {
	room := int(mapping.VectorSize())
	write := make([]func(row int), len(a.fields))
	for from := 0; from < n; from += room {
		if ctx.Err() != nil {
			return context.Cause(ctx)
		}
		mapping.DataChunkReset(a.chunk)
		for i, field := range a.fields {
			write[i] = writer(field, mapping.DataChunkGetVector(a.chunk, mapping.IdxT(i)), room)
		}
		rows := min(room, n-from)
		for row := range rows {
			set(from + row)
			for _, value := range write {
				value(row)
			}
		}
		mapping.DataChunkSetSize(a.chunk, mapping.IdxT(rows))
		if mapping.AppendDataChunk(a.handle, a.chunk) == mapping.StateError {
			return a.failure()
		}
	}
	return nil
}

func (a *appender) flush() error {
	if mapping.AppenderFlush(a.handle) == mapping.StateError {
		return a.failure()
	}
	return nil
}

// close gives back what the appender holds; with drop also rows that it has not added.
func (a *appender) close(drop bool) (err error) {
	mapping.DestroyDataChunk(&a.chunk)
	if a.handle.Ptr == nil {
		return nil
	}
	if drop && mapping.AppenderClear(a.handle) == mapping.StateError {
		err = a.failure()
	}
	if mapping.AppenderDestroy(&a.handle) == mapping.StateError && !drop {
		err = errors.Join(err, engineError("Appender Error: it could not be closed"))
	}
	return err
}

// writer returns what puts the field into a row of a vector that has room for so many.
func writer(field any, vector mapping.Vector, room int) func(row int) {
	data := mapping.VectorGetData(vector)
	switch field := field.(type) {
	case *int64:
		return intoNumbers(field, data, room)
	case *uint64:
		return intoNumbers(field, data, room)
	case *uint32:
		return intoNumbers(field, data, room)
	case *uint8:
		return intoNumbers(field, data, room)
	case *int8:
		return intoNumbers(field, data, room)
	case *[]byte:
		return func(row int) { mapping.VectorAssignStringElementLen(vector, mapping.IdxT(row), *field) }
	case *string:
		return intoTexts(field, vector, unsafe.Slice((*mapping.StringT)(data), room))
	}
	return nil // typeOf knows no other
}

func intoNumbers[T any](field *T, data unsafe.Pointer, room int) func(row int) {
	values := unsafe.Slice((*T)(data), room)
	return func(row int) { values[row] = *field }
}

// intoTexts lets a row whose text is that of the row before share it.
func intoTexts(field *string, vector mapping.Vector, values []mapping.StringT) func(row int) {
	var before string
	return func(row int) {
		if row > 0 && *field == before {
			values[row] = values[row-1]
			return
		}
		mapping.VectorAssignStringElement(vector, mapping.IdxT(row), *field)
		before = *field
	}
}
