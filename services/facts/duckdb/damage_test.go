package duckdb

import (
	"database/sql"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"testing"

	"daysheet/reports"
)

// writeFile puts bytes where a store may look for its file.
func writeFile(t *testing.T, path string, content []byte) {
	t.Helper()
	if err := os.WriteFile(path, content, 0o600); err != nil {
		t.Fatal(err)
	}
}

func readFile(t *testing.T, path string) []byte {
	t.Helper()
	content, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return content
}

// readAll opens a store and reads everything in it.
func readAll(t *testing.T, path string) (err error) {
	s, err := Open(t.Context(), path, Options{})
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, s.Close()) }()
	if _, err := s.Lines(t.Context(), reports.Query{Firm: firm}); err != nil {
		return err
	}
	if _, err := s.Jobs(t.Context(), reports.JobQuery{Firm: firm}); err != nil {
		return err
	}
	_, err = s.Commits(t.Context(), 1, 0, 1_000_000)
	return err
}

func TestDamagedFile(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "facts.duckdb")
	s := open(t, path)
	write(t, s, run(0, 5000))
	shut(t, s)
	whole := readFile(t, path)
	if err := readAll(t, path); err != nil {
		t.Fatal(err)
	}
	for name, content := range map[string][]byte{
		"empty": {}, "text": []byte("this is an invented text and no database at all"),
		"zeros": make([]byte, len(whole)), "header only": whole[:12288], "half": whole[:len(whole)/2],
	} {
		bad := filepath.Join(dir, name)
		writeFile(t, bad, content)
		if err := readAll(t, bad); !errors.Is(err, ErrDamaged) {
			t.Errorf("%s: %v, want ErrDamaged", name, err)
		}
	}
	// Flip a bit at places all over the file. The file has unused places, where
	// it changes nothing; anywhere else it must be found.
	found := 0
	for at := 0; at < len(whole); at += len(whole)/60 + 1 {
		content := append([]byte(nil), whole...)
		content[at] ^= 0x40
		bad := filepath.Join(dir, "flipped")
		writeFile(t, bad, content)
		err := readAll(t, bad)
		if err != nil && !errors.Is(err, ErrDamaged) {
			t.Errorf("bit flipped at %d: %v, want ErrDamaged", at, err)
		}
		if err != nil {
			found++
		}
	}
	if found < 20 {
		t.Errorf("of 60 flipped bits only %d were found", found)
	}
}

// TestDamagedWAL flips bits in the write-ahead log of a process that was killed.
// Either the file opens with a position that fits to its content, so that the
// rest is read from the log again, or it says that it is damaged.
func TestDamagedWAL(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "facts.duckdb")
	child, printed := startChild(t, path)
	var last uint64
	for range 40 {
		if !printed.Scan() {
			t.Fatal("the child ended by itself")
		}
		last = number(t, printed.Text())
	}
	kill(t, child, printed, last)
	file, wal := readFile(t, path), readFile(t, path+".wal")
	damaged := 0
	for at := 10; at < len(wal); at += len(wal) / 25 {
		content := append([]byte(nil), wal...)
		content[at] ^= 0x40
		writeFile(t, path, file)
		writeFile(t, path+".wal", content)
		s, err := Open(t.Context(), path, Options{})
		if errors.Is(err, ErrDamaged) {
			damaged++
			continue
		}
		if err != nil {
			t.Fatalf("bit flipped at %d of %d: %v", at, len(wal), err)
		}
		position, err := s.Position(t.Context(), 1)
		if err != nil {
			t.Fatal(err)
		}
		holds(t, s, position)
		shut(t, s)
	}
	t.Logf("%d of 25 flipped bits were called damage", damaged)
	if damaged == 0 {
		t.Error("no flipped bit was found")
	}
}

// TestContradiction: a position that is not that of the last commit can come
// from nothing but damage.
func TestContradiction(t *testing.T) {
	for name, change := range map[string]string{
		"position moved": "UPDATE positions SET position = position + 1",
		"position gone":  "DELETE FROM positions",
		"commits gone":   "DELETE FROM commits",
		"another's":      "UPDATE positions SET partition = 2",
	} {
		path := filepath.Join(t.TempDir(), "facts.duckdb")
		s := open(t, path)
		write(t, s, run(0, 10))
		shut(t, s)
		alter(t, path, change)
		if _, err := Open(t.Context(), path, Options{}); !errors.Is(err, ErrDamaged) {
			t.Errorf("%s: %v, want ErrDamaged", name, err)
		}
	}
}

// alter does to a closed file what no program of ours does.
func alter(t *testing.T, path string, statements ...string) {
	t.Helper()
	db, err := sql.Open("duckdb", path)
	if err != nil {
		t.Fatal(err)
	}
	defer func() {
		if err := db.Close(); err != nil {
			t.Fatal(err)
		}
	}()
	for _, statement := range statements {
		if _, err := db.ExecContext(t.Context(), statement); err != nil {
			t.Fatalf("%s: %v", statement, err)
		}
	}
}

func TestOtherSchema(t *testing.T) {
	for name, changes := range map[string][]string{
		"newer":            {"UPDATE meta SET schema_number = schema_number + 1"},
		"older":            {"UPDATE meta SET schema_number = 0"},
		"no number":        {"DELETE FROM meta"},
		"another meta":     {"DROP TABLE meta", "CREATE TABLE meta (a VARCHAR)"},
		"something else's": {"DROP TABLE meta"},
	} {
		path := filepath.Join(t.TempDir(), "facts.duckdb")
		s := open(t, path)
		write(t, s, run(0, 10))
		shut(t, s)
		alter(t, path, changes...)
		before := readFile(t, path)
		_, err := Open(t.Context(), path, Options{})
		if !errors.Is(err, ErrSchema) || errors.Is(err, ErrDamaged) {
			t.Errorf("%s: %v, want ErrSchema", name, err)
		}
		if string(readFile(t, path)) != string(before) {
			t.Errorf("%s: the file was changed", name)
		}
	}
}

// TestSetAside goes the way on from damage: the old file is kept under another
// name, and a new one is filled.
func TestSetAside(t *testing.T) {
	path := filepath.Join(t.TempDir(), "facts.duckdb")
	child, printed := startChild(t, path)
	for range 10 {
		if !printed.Scan() {
			t.Fatal("the child ended by itself")
		}
	}
	last := kill(t, child, printed, 0)
	if err := SetAside(path, path+".old"); err != nil {
		t.Fatal(err)
	}
	for _, gone := range []string{path, path + ".wal"} {
		if _, err := os.Stat(gone); !errors.Is(err, fs.ErrNotExist) {
			t.Fatalf("%s is still there: %v", gone, err)
		}
	}
	s := open(t, path)
	holds(t, s, 0)
	write(t, s, run(0, 20))
	holds(t, s, 20)
	shut(t, s)
	old := open(t, path+".old")
	defer shut(t, old)
	position, err := old.Position(t.Context(), 1)
	if err != nil || position < last {
		t.Fatalf("the old file is at %d, %v, but the child had printed %d", position, err, last)
	}
	holds(t, old, position)
	if err := SetAside(path+".none", path+".other"); err != nil {
		t.Fatalf("setting nothing aside: %v", err)
	}
}
