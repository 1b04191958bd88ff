package duckdb

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"runtime/debug"
	"strconv"
	"strings"
	"testing"
	"time"

	"daysheet/services/facts"
)

// resident returns the bytes of memory that the process has, with nothing in it that Go
// could give back.
func resident(t *testing.T) int {
	t.Helper()
	debug.FreeOSMemory()
	fields := strings.Fields(string(readFile(t, "/proc/self/statm")))
	pages, err := strconv.Atoi(fields[1])
	if err != nil {
		t.Fatal(err)
	}
	return pages * os.Getpagesize()
}

// TestNothingIsHeld: what a query or a failure of any kind took of DuckDB's memory, it
// gives back.
func TestNothingIsHeld(t *testing.T) {
	s := open(t, filepath.Join(t.TempDir(), "facts.duckdb"))
	defer shut(t, s)
	write(t, s, run(0, 10))
	over, end := context.WithCancel(t.Context())
	end()
	var text string
	var number int64
	fields := []any{&text, &number}
	none := errors.New("row is not wanted")
	once := func() {
		for statement, args := range map[string][]any{
			"SELECT repeat('x', 3000), sequence FROM commits WHERE partition = ?": {uint8(1)}, // another type
			"SELECT firm, minutes FROM facts":                                     nil,
			"SELECT CASE WHEN line < 2 THEN firm END, minutes FROM facts":         nil, // NULL
			"SELECT firm, CAST(firm AS BIGINT) FROM facts":                        nil, // fails under way
			"SELECT none FROM nowhere":                                            nil, // cannot be prepared
			"SELECT ?, 1":                                                         {1.5},
		} {
			err := s.read(t.Context(), facts.Statement{Text: statement, Args: args}, into{fields: fields})
			if good := strings.HasPrefix(statement, "SELECT firm, minutes"); good != (err == nil) {
				t.Fatalf("%s: %v", statement, err)
			}
		}
		if err := s.writer.run(over, "SELECT 1"); !errors.Is(err, context.Canceled) {
			t.Fatal(err)
		}
		err := s.transaction(t.Context(), func() error {
			bad := errors.Join(
				s.writer.append(t.Context(), "jobs", fields, 1, func(int) {}),
				s.writer.append(t.Context(), "nowhere", fields, 1, func(int) {}),
				s.writer.append(over, "meta", []any{&number}, 1, func(int) {}))
			good := s.writer.append(t.Context(), "meta", []any{&number}, 1, func(int) {})
			if bad == nil || good != nil {
				t.Fatal(bad, good)
			}
			return none
		})
		if !errors.Is(err, none) {
			t.Fatal(err)
		}
	}
	for range 300 { // what grows once, and stays
		once()
	}
	before := resident(t)
	for range 1200 {
		once()
	}
	if grown := resident(t) - before; grown > 8<<20 {
		t.Errorf("memory grew by %d KiB, from %d MiB", grown>>10, before>>20)
	}
}

// TestReadersComeBack: who gives up in the middle of an answer leaves its connection to the
// next.
func TestReadersComeBack(t *testing.T) {
	s := open(t, filepath.Join(t.TempDir(), "facts.duckdb"))
	defer shut(t, s)
	statement := facts.Statement{Text: "SELECT i FROM range(10000) t(i)"}
	var number int64
	for range 3 * readersMax {
		func() {
			defer func() {
				if recover() == nil {
					t.Error("it went on")
				}
			}()
			to := into{fields: []any{&number}, each: func() {
				if number == 3000 {
					panic("an invented fault")
				}
			}}
			t.Error(s.read(t.Context(), statement, to))
		}()
	}
	if len(s.readers) != readersMax {
		t.Fatalf("%d readers of %d came back", len(s.readers), readersMax)
	}
	ask(t, s, "SELECT count(*) FROM facts", &number)
}

// TestInterruptionsEndWithTheirStatements: what ends one statement, at whatever moment,
// does not end the next on the same connection.
func TestInterruptionsEndWithTheirStatements(t *testing.T) {
	s := open(t, filepath.Join(t.TempDir(), "facts.duckdb"))
	defer shut(t, s)
	const statement = "SELECT CAST(sum(i * i) AS BIGINT) FROM range(20000) t(i)"
	var number int64
	interrupted := 0
	for i := range 400 {
		ctx, cancel := context.WithTimeout(t.Context(), time.Duration(i%80)*20*time.Microsecond)
		err := s.writer.query(ctx, statement, nil, into{fields: []any{&number}})
		cancel()
		if err != nil {
			interrupted++
		}
		if err := s.writer.query(t.Context(), statement, nil, into{fields: []any{&number}}); err != nil {
			t.Fatalf("after statement %d, which ended with %v: %v", i, err, err)
		}
	}
	if interrupted == 0 {
		t.Error("no statement was interrupted")
	}
}
