package duckdb

import (
	"database/sql"
	"fmt"
	"math"
	"math/rand/v2"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/services/facts"
)

// lengths of texts, in bytes: up to 12 stand in the column itself, longer ones outside.
var lengths = []int{0, 1, 3, 4, 11, 12, 13, 16, 60, 255}

// randomText is valid UTF-8 of one of the lengths: of letters of one to four bytes, and
// zero bytes, which end a text in C.
func randomText(random *rand.Rand) string {
	var b strings.Builder
	n := lengths[random.IntN(len(lengths))]
	for b.Len() < n {
		letters := []rune{'a', 0, '\n', 'ß', 'ł', '\u0301', '涂', '🎨', rune('a' + random.IntN(26))}
		if r := letters[random.IntN(len(letters))]; b.Len()+len(string(r)) <= n {
			b.WriteRune(r)
		}
	}
	return b.String()
}

// randomize sets fields to random values, among them the least and the greatest. A text
// is often that of before, which is then not copied anew.
func randomize(random *rand.Rand, fields []any) {
	number := []uint64{0, 1, math.MaxUint64, 1 << 63, 1<<63 - 1, random.Uint64()}[random.IntN(6)]
	for _, field := range fields {
		switch field := field.(type) {
		case *string:
			if random.IntN(3) > 0 {
				*field = randomText(random)
			}
		case *int64:
			*field = int64(number)
		case *uint64:
			*field = number
		case *uint32:
			*field = uint32(number)
		case *uint8:
			*field = uint8(number)
		case *int8:
			*field = int8(number)
		case *[]byte:
			*field = make([]byte, lengths[random.IntN(len(lengths))])
			for i := range *field {
				(*field)[i] = byte(random.UintN(256))
			}
		}
	}
}

// table is one of the store's, with random rows.
type table[T any] struct {
	name, columns string
	fields        func(*T) []any
	same          func(a, b T) bool
	rows          []T
}

func newTable[T any](random *rand.Rand, name, columns string, fields func(*T) []any, same func(a, b T) bool,
	rows int) *table[T] {
	t := &table[T]{name, columns, fields, same, make([]T, 0, rows)}
	var row T
	for range rows {
		randomize(random, fields(&row))
		t.rows = append(t.rows, row)
	}
	return t
}

// add writes the rows as the store does.
func (a *table[T]) add(t *testing.T, s *Store) {
	t.Helper()
	var row T
	err := s.transaction(t.Context(), func() error {
		return s.writer.append(t.Context(), a.name, a.fields(&row), len(a.rows), func(i int) { row = a.rows[i] })
	})
	if err != nil {
		t.Fatal(err)
	}
}

// read reads them as the store does.
func (a *table[T]) read(t *testing.T, s *Store) (rows []T) {
	t.Helper()
	var row T
	to := into{a.fields(&row), room(&rows), func() { rows = append(rows, row) }}
	if err := s.read(t.Context(), facts.Statement{Text: "SELECT " + a.columns + " FROM " + a.name}, to); err != nil {
		t.Fatal(err)
	}
	return rows
}

// readByDriver reads them by what somebody else wrote for database/sql.
func (a *table[T]) readByDriver(t *testing.T, path string) (rows []T) {
	t.Helper()
	db, err := sql.Open("duckdb", path)
	if err != nil {
		t.Fatal(err)
	}
	answer, err := db.QueryContext(t.Context(), "SELECT "+a.columns+" FROM "+a.name)
	if err != nil {
		t.Fatal(err)
	}
	for answer.Next() {
		var row T
		if err := answer.Scan(a.fields(&row)...); err != nil {
			t.Fatal(err)
		}
		rows = append(rows, row)
	}
	for _, err := range []error{answer.Err(), answer.Close(), db.Close()} {
		if err != nil {
			t.Fatal(err)
		}
	}
	return rows
}

func (a *table[T]) compare(t *testing.T, by string, got []T) {
	t.Helper()
	if len(got) != len(a.rows) {
		t.Fatalf("%s by %s: %d rows, want %d", a.name, by, len(got), len(a.rows))
	}
	for i, row := range got {
		if !a.same(row, a.rows[i]) {
			t.Fatalf("%s by %s, row %d of %d: %#v, want %#v", a.name, by, i, len(got), row, a.rows[i])
		}
	}
}

// check writes the rows to a new file and reads them in both ways.
func (a *table[T]) check(t *testing.T, random *rand.Rand, path string) {
	t.Helper()
	s := open(t, path)
	a.add(t, s)
	a.compare(t, "the store", a.read(t, s))
	if random.IntN(2) == 0 { // from the file, not from what was just written
		if err := s.writer.run(t.Context(), "CHECKPOINT"); err != nil {
			t.Fatal(err)
		}
	}
	shut(t, s)
	a.compare(t, "the driver", a.readByDriver(t, path))
}

// TestRowsAsTheDriverReadsThem writes random rows, as many as fit into a vector and one
// more or less, and compares what the store reads and what the driver for database/sql
// reads, which shares no code with it, with what was written.
func TestRowsAsTheDriverReadsThem(t *testing.T) {
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	random := rand.New(rand.NewPCG(seed, 0))
	same := func(a, b events.Stored) bool {
		return a.Partition == b.Partition && a.Sequence == b.Sequence && slices.Equal(a.Raw, b.Raw)
	}
	commit := func(c *events.Stored) []any { return []any{&c.Partition, &c.Sequence, &c.Raw} }
	dir := t.TempDir()
	for i, rows := range []int{1, 2047, 2048, 2049, 4096, 5000} {
		path := func(name string) string { return filepath.Join(dir, fmt.Sprintf("%s-%d.duckdb", name, i)) }
		newTable(random, "commits", "partition, sequence, raw", commit, same, rows).check(t, random, path("commits"))
		newTable(random, "jobs", facts.JobColumns, facts.JobFields,
			func(a, b reports.JobRow) bool { return a == b }, rows).check(t, random, path("jobs"))
	}
	type line struct {
		reports.Fact
		month string
	}
	newTable(random, "facts", facts.FactColumns+", month",
		func(l *line) []any { return append(facts.FactFields(&l.Fact), &l.month) },
		func(a, b line) bool { return a == b }, 2049).check(t, random, filepath.Join(dir, "facts.duckdb"))
}

// TestAnswersOfEveryShape: an answer need not come as it would stand in a table. DuckDB
// has one value for many rows, and lists of values with numbers into them.
func TestAnswersOfEveryShape(t *testing.T) {
	s := open(t, filepath.Join(t.TempDir(), "facts.duckdb"))
	defer shut(t, s)
	var text string
	var number int64
	for statement, want := range map[string]func(i int64) string{
		"SELECT 'twelve bytes', i FROM range(5000) t(i)":                func(int64) string { return "twelve bytes" },
		"SELECT 'thirteen byte', i FROM range(5000) t(i)":               func(int64) string { return "thirteen byte" },
		"SELECT '', i FROM range(4096) t(i)":                            func(int64) string { return "" },
		"SELECT 'x' || CAST(i % 7 AS VARCHAR), i FROM range(4097) t(i)": func(i int64) string { return fmt.Sprint("x", i%7) },
		"SELECT CASE WHEN i = 2048 THEN 'façade, north side' ELSE '' END, i FROM range(2049) t(i)": func(i int64) string {
			return map[bool]string{true: "façade, north side"}[i == 2048]
		},
		`SELECT min(repeat('ż', CAST(i AS INT))), i FROM (SELECT unnest(range(100)) AS i) t
			GROUP BY i ORDER BY i`: func(i int64) string { return strings.Repeat("ż", int(i)) },
		"SELECT a.text, i FROM range(3000) t(i) JOIN (VALUES ('', 0), ('any longer text', 1)) AS a(text, n) ON n = i % 2 " +
			"WHERE i % 3 = 0 ORDER BY i": func(i int64) string { return map[bool]string{true: "any longer text"}[i%2 == 1] },
	} {
		rows := int64(0)
		err := s.read(t.Context(), facts.Statement{Text: statement}, into{fields: []any{&text, &number}, each: func() {
			if text != want(number) {
				t.Fatalf("%s: %q for %d, want %q", statement, text, number, want(number))
			}
			rows++
		}})
		if err != nil || rows == 0 {
			t.Errorf("%s: %d rows, %v", statement, rows, err)
		}
	}
}

// TestAnswersThatDoNotFit: whatever does not go into the fields is an error that says why,
// and the connection answers the next statement.
func TestAnswersThatDoNotFit(t *testing.T) {
	s := open(t, filepath.Join(t.TempDir(), "facts.duckdb"))
	defer shut(t, s)
	var text string
	var number int64
	for range readersMax + 1 {
		for statement, says := range map[string]string{
			"SELECT CASE WHEN i < 2999 THEN 'x' END, i FROM range(3000) t(i)": "column 1 is NULL, which does not go into *string",
			"SELECT 'x', sum(i) FROM range(3) t(i)":                           "column 2 is of type",
			"SELECT 'x'":                                                      "1 columns do not go into 2 fields",
			"SELECT 'x', CAST(i AS INT) FROM range(3) t(i)":                   "does not go into *int64",
			"SELECT 'x', error('invented') FROM range(3)":                     "invented",
			"SELECT 'x', CAST('y' AS BIGINT)":                                 "Could not convert string 'y'",
			"SELECT none FROM nowhere":                                        "nowhere",
			"SELECT ? || 'x', CAST(1 AS BIGINT)":                              "parameter",
		} {
			err := s.read(t.Context(), facts.Statement{Text: statement}, into{fields: []any{&text, &number}})
			if err == nil || !strings.Contains(err.Error(), says) {
				t.Fatalf("%s: %v, want %q", statement, err, says)
			}
		}
		if err := s.read(t.Context(), facts.Statement{Text: "SELECT 1", Args: []any{1.5}}, into{}); err == nil ||
			!strings.Contains(err.Error(), "argument 1 is float64") {
			t.Fatalf("an argument that is no type of ours: %v", err)
		}
		ask(t, s, "SELECT 'and on', CAST(2 AS BIGINT)", &text, &number)
	}
}
