package duckdb

import (
	"cmp"
	"context"
	"fmt"
	"runtime"
	"strconv"
	"strings"

	duck "github.com/duckdb/duckdb-go/v2"
	"github.com/duckdb/duckdb-go/v2/mapping"
)

// engineError is what DuckDB says of a failure: its kind, ": " and more.
type engineError string

func (e engineError) Error() string { return string(e) }

// is says whether the error is of the kind, by the word DuckDB begins it with.
func (e engineError) is(kind string) bool {
	return strings.HasPrefix(strings.ToLower(string(e)), strings.ToLower(kind)+" error")
}

// database is a file that DuckDB has open. The zero value is none.
type database struct{ handle mapping.Database }

// openDatabase opens the file at path. Everything by which SQL could reach beyond
// it is switched off and locked.
//
// Rows go between DuckDB and Go as the columns they are. The driver for
// database/sql makes each value of each row an interface, which takes several
// times as long as the engine's own work where an answer has many rows.
func openDatabase(path string, opts Options) (database, error) {
	var config mapping.Config
	defer func() { mapping.DestroyConfig(&config) }()
	if mapping.CreateConfig(&config) == mapping.StateError {
		return database{}, engineError("Configuration Error: no memory for it")
	}
	for _, setting := range [][2]string{
		{"threads", strconv.Itoa(cmp.Or(opts.Threads, runtime.GOMAXPROCS(0)))},
		{"memory_limit", fmt.Sprintf("%dB", cmp.Or(opts.MemoryLimit, memoryLimitDefault))},
		{"checkpoint_threshold", fmt.Sprintf("%dB", int64(checkpointNever))},
		{"enable_external_access", "false"},
		{"autoinstall_known_extensions", "false"},
		{"autoload_known_extensions", "false"},
		// What a large question took is given back to the system soon after it.
		{"allocator_background_threads", "true"},
		{"allocator_flush_threshold", "8MB"},
		{"lock_configuration", "true"},
	} {
		if mapping.SetConfig(config, setting[0], setting[1]) == mapping.StateError {
			return database{}, fmt.Errorf("set %s to %s: %w", setting[0], setting[1],
				engineError("Configuration Error: DuckDB refused it"))
		}
	}
	var d database
	var message string
	// The cache keeps a process from opening one file twice, which DuckDB's lock
	// on the file does not.
	if mapping.GetOrCreateFromCache(duck.GetInstanceCache(), path, &d.handle, config, &message) == mapping.StateError {
		d.close()
		return database{}, engineError(message)
	}
	return d, nil
}

func (d *database) close() { mapping.Close(&d.handle) }

// connection runs one statement at a time. The zero value is not connected.
type connection struct{ handle mapping.Connection }

func (c *connection) connect(d database) error {
	if mapping.Connect(d.handle, &c.handle) == mapping.StateError {
		return engineError("Connection Error: DuckDB gave none")
	}
	return nil
}

func (c *connection) close() { mapping.Disconnect(&c.handle) }

// run runs statements that have no arguments and whose answers do not matter.
func (c *connection) run(ctx context.Context, statements string) error {
	var result mapping.Result
	defer func() { mapping.DestroyResult(&result) }()
	return c.interruptibly(ctx, func() error {
		if mapping.Query(c.handle, statements, &result) == mapping.StateError {
			return engineError(mapping.ResultError(&result))
		}
		return nil
	})
}

// exec runs one statement whose answer does not matter.
func (c *connection) exec(ctx context.Context, statement string, args ...any) error {
	return c.query(ctx, statement, args, into{})
}

// into is where the rows of an answer go. The zero value drops them.
type into struct {
	fields []any            // pointers, see [column]
	expect func(atMost int) // called where there are many rows; may be nil
	each   func()           // called after each row was put into the fields; may be nil
}

// query runs one statement.
func (c *connection) query(ctx context.Context, statement string, args []any, to into) error {
	var prepared mapping.PreparedStatement
	defer func() { mapping.DestroyPrepare(&prepared) }()
	var result mapping.Result
	defer func() { mapping.DestroyResult(&result) }()
	err := c.interruptibly(ctx, func() error {
		if mapping.Prepare(c.handle, statement, &prepared) == mapping.StateError {
			return engineError(mapping.PrepareError(prepared))
		}
		for i, arg := range args {
			if err := bind(prepared, i+1, arg); err != nil {
				return err
			}
		}
		if mapping.ExecutePrepared(prepared, &result) == mapping.StateError {
			return engineError(mapping.ResultError(&result))
		}
		return nil
	})
	if err != nil || len(to.fields) == 0 {
		return err
	}
	return readAnswer(ctx, result, to)
}

// readAnswer puts all rows of an answer where they go.
func readAnswer(ctx context.Context, answer mapping.Result, to into) error {
	columns, err := columnsOf(&answer, to.fields)
	if err != nil {
		return err
	}
	//lint:ignore SA1019 nothing else in the interface says how many rows there will be
	chunks := mapping.ResultChunkCount(answer)
	if chunks > 1 && to.expect != nil {
		to.expect(int(chunks * mapping.VectorSize()))
	}
	for ; ; chunks-- {
		chunk := mapping.FetchChunk(answer)
		switch {
		case chunk.Ptr == nil && chunks > 0: // what it could not read is an end too
			return engineError("Fetch Error: the answer ended before its last rows")
		case chunk.Ptr == nil:
			return nil
		}
		if err := readChunk(chunk, columns, to.each); err != nil {
			return err
		}
		if ctx.Err() != nil {
			return context.Cause(ctx)
		}
	}
}

// bind gives a prepared statement its argument of the number, counted from 1.
func bind(prepared mapping.PreparedStatement, number int, arg any) error {
	at, state := mapping.IdxT(number), mapping.StateError
	switch v := arg.(type) {
	case string:
		state = mapping.BindVarchar(prepared, at, v)
	case int64:
		state = mapping.BindInt64(prepared, at, v)
	case uint64:
		state = mapping.BindUInt64(prepared, at, v)
	case uint8:
		state = mapping.BindUInt8(prepared, at, v)
	}
	if state == mapping.StateError {
		return fmt.Errorf("argument %d is %T, which DuckDB does not take there", number, arg)
	}
	return nil
}
