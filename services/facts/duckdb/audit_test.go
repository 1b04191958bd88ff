package duckdb

import (
	"maps"
	"path/filepath"
	"testing"

	"daysheet/services/facts"
)

// TestMendIsInTheWAL opens a copy of the file and its write-ahead log, as a power
// cut leaves them, after rows were deleted and added in one transaction.
func TestMendIsInTheWAL(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "facts.duckdb")
	s := open(t, path)
	write(t, s, run(0, 3000))
	shut(t, s) // a checkpoint: the rows to be deleted are in the file
	alter(t, path, "DELETE FROM facts WHERE sequence > 1000 AND sequence <= 1500",
		"UPDATE facts SET minutes = 46 WHERE sequence = 2000",
		"INSERT INTO facts SELECT * REPLACE (99 AS line) FROM facts WHERE sequence = 2001",
		"DELETE FROM commits WHERE sequence = 1200", "DELETE FROM jobs WHERE sequence = 1300")
	s = open(t, path)
	defer shut(t, s)
	write(t, s, run(3000, 3100)) // rows that are in the write-ahead log alone are mended too
	for _, b := range []facts.Batch{run(999, 1500), run(1999, 2001), run(2990, 3050)} {
		if err := s.Mend(t.Context(), b); err != nil {
			t.Fatal(err)
		}
	}
	copied := filepath.Join(dir, "copied.duckdb")
	writeFile(t, copied, readFile(t, path))
	writeFile(t, copied+".wal", readFile(t, path+".wal"))
	after := open(t, copied)
	defer shut(t, after)
	holds(t, after, 3100)
	span := facts.Span{Partition: 1, From: 1, To: 3100, Width: 100}
	want := span.Of(run(0, 3100))
	for name, store := range map[string]*Store{"mended": s, "after a power cut": after} {
		got, err := store.Tallies(t.Context(), span)
		if err != nil {
			t.Fatal(err)
		}
		if !maps.Equal(got, want) {
			t.Errorf("%s: the tallies are\n%v, want\n%v", name, got, want)
		}
	}
}
