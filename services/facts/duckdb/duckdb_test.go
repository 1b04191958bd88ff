package duckdb

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/services/facts"
	"daysheet/services/facts/factstest"
)

func TestConformance(t *testing.T) {
	dir := t.TempDir()
	factstest.Run(t, func(t *testing.T) facts.Store {
		return open(t, filepath.Join(dir, strings.ReplaceAll(t.Name(), "/", "-")+".duckdb"))
	})
}

func open(t testing.TB, path string) *Store {
	t.Helper()
	s, err := Open(context.WithoutCancel(t.Context()), path, Options{})
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func shut(t testing.TB, s *Store) {
	t.Helper()
	if err := s.Close(); err != nil {
		t.Fatalf("close: %v", err)
	}
}

const (
	firm          = "invented-firm"
	factsOfCommit = 3
)

// run returns invented commits of partition 1 after one sequence up to another.
func run(after, upTo uint64) facts.Batch {
	b := facts.Batch{Partition: 1, Position: upTo}
	for sequence := after + 1; sequence <= upTo; sequence++ {
		job := fmt.Sprintf("job-%d", sequence%50)
		b.Commits = append(b.Commits, events.Stored{Partition: 1, Sequence: sequence, Raw: fmt.Appendf(nil,
			`{"events":[{"data":{"location":"Landing %d, first floor","minutes":45,"person":"ann","task":"coat"}}],"firm":%q,`+
				`"job":%q,"previous":"%064x","recorded_at":"2024-03-05T16:20:00Z","version":%d}`,
			sequence%9, firm, job, sequence*0x9E3779B97F4A7C15, sequence)})
		for line := range uint32(factsOfCommit) {
			b.Facts = append(b.Facts, reports.Fact{
				Firm: firm, Job: job, JobType: "occupied", Partition: 1, Sequence: sequence, Line: line,
				EventID: fmt.Sprintf("018f%012d-%d", sequence, line), OccurredAt: 1_700_000_000 + int64(sequence),
				Day: events.Day("2024-01-01").Add(int(sequence / 100 % 365)), Side: reports.SideActual, Kind: reports.KindLabour,
				Family: "coating", Task: []string{"coat", "sand", "mask"}[line], Surface: "wall", Method: "roller",
				Location: fmt.Sprintf("Landing %d, first floor", sequence%9), Unit: events.SquareMetre, Grade: "journeyman",
				Person: []string{"ann", "bob"}[sequence%2], Minutes: 45, QuantityMilli: int64(sequence % 7000),
				CostE4: 225_000, Sign: 1,
			})
		}
		b.Jobs = append(b.Jobs, reports.JobRow{Firm: firm, Job: job, Partition: 1, Sequence: sequence, JobType: "occupied",
			Title: "Invented " + job, State: events.Running, Opened: "2024-01-01"})
	}
	return b
}

func write(t testing.TB, s *Store, b facts.Batch) {
	t.Helper()
	if err := s.Write(context.WithoutCancel(t.Context()), b); err != nil {
		t.Fatal(err)
	}
}

// holds requires the store to hold the run of commits from the first up to the
// position, exactly once.
func holds(t *testing.T, s *Store, position uint64) {
	t.Helper()
	got, err := s.Position(t.Context(), 1)
	if err != nil || got != position {
		t.Fatalf("position %d, %v, want %d", got, err, position)
	}
	var commits, jobs, rows, lines int64
	var last uint64
	ask(t, s, `SELECT (SELECT count(*) FROM commits), (SELECT count(*) FROM jobs),
		count(*), count(DISTINCT (sequence, line)), CAST(coalesce(max(sequence), 0) AS UBIGINT) FROM facts`,
		&commits, &jobs, &rows, &lines, &last)
	at := int64(position)
	if commits != at || jobs != at || rows != at*factsOfCommit || lines != rows || last != position {
		t.Fatalf("at position %d: %d commits, %d jobs, %d facts, %d of them different, up to %d",
			position, commits, jobs, rows, lines, last)
	}
}

// ask puts the answer's one row into the fields.
func ask(t *testing.T, s *Store, statement string, fields ...any) {
	t.Helper()
	rows := 0
	err := s.read(t.Context(), facts.Statement{Text: statement}, into{fields: fields, each: func() { rows++ }})
	if err != nil || rows != 1 {
		t.Fatalf("%s: %d rows, %v", statement, rows, err)
	}
}

func TestPathsThatCannotBe(t *testing.T) {
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "file"), nil, 0o600); err != nil {
		t.Fatal(err)
	}
	for _, path := range []string{
		"", dir + "/a?threads=1", dir + "/a#b", dir + "/a%20b", dir, dir + "/none/facts", dir + "/file/facts",
	} {
		s, err := Open(t.Context(), path, Options{})
		if err == nil {
			shut(t, s)
			t.Fatalf("%q was opened", path)
		}
		if errors.Is(err, ErrDamaged) || errors.Is(err, ErrSchema) {
			t.Fatalf("%q: %v: this is no reason to make the store again", path, err)
		}
	}
}

func TestSQLCannotLeaveTheFile(t *testing.T) {
	s := open(t, filepath.Join(t.TempDir(), "facts.duckdb"))
	defer shut(t, s)
	outside := filepath.Join(t.TempDir(), "outside.csv")
	if err := os.WriteFile(outside, []byte("a\n1\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, statement := range []string{
		"SELECT * FROM read_csv('" + outside + "')", "COPY facts TO '" + outside + "'", "ATTACH '" + outside + ".db'",
		"SET enable_external_access = true", "SET threads = 1", "INSTALL httpfs", "LOAD httpfs",
	} {
		if err := s.read(t.Context(), facts.Statement{Text: statement}, into{}); err == nil {
			t.Errorf("%s was let through", statement)
		}
	}
}

// TestOptions reads the settings back from the engine.
func TestOptions(t *testing.T) {
	s, err := Open(t.Context(), filepath.Join(t.TempDir(), "facts.duckdb"), Options{MemoryLimit: 96 << 20, Threads: 3})
	if err != nil {
		t.Fatal(err)
	}
	defer shut(t, s)
	var memory, threads string
	ask(t, s, "SELECT current_setting('memory_limit'), CAST(current_setting('threads') AS VARCHAR)", &memory, &threads)
	if memory != "96.0 MiB" || threads != "3" {
		t.Fatalf("memory %s, threads %s", memory, threads)
	}
}

// TestTextThatIsNone: such text cannot come out of the log. If it did, half a
// batch would be worse than none.
func TestTextThatIsNone(t *testing.T) {
	s := open(t, filepath.Join(t.TempDir(), "facts.duckdb"))
	defer shut(t, s)
	bad := run(0, 10)
	bad.Facts[20].Location = "\xff\xfe"
	if err := s.Write(t.Context(), bad); err == nil {
		t.Fatal("text that is not UTF-8 was taken")
	}
	holds(t, s, 0)
	write(t, s, run(0, 10))
	holds(t, s, 10)
}

// TestGivingUpWhileWriting ends the context of writes at moments that nobody
// chose. A write leaves all or nothing, and the store goes on.
func TestGivingUpWhileWriting(t *testing.T) {
	s := open(t, filepath.Join(t.TempDir(), "facts.duckdb"))
	defer shut(t, s)
	var position uint64
	for given, attempts := 0, 0; given < 5; attempts++ {
		ctx, cancel := context.WithCancel(t.Context())
		result := make(chan error, 1)
		begun := make(chan struct{})
		batch := run(position, position+3000)
		go func() {
			close(begun)
			result <- s.Write(ctx, batch)
		}()
		<-begun
		// A number of reads is a span of time that grows with each attempt.
		for range attempts % 10 {
			if _, err := s.Position(t.Context(), 1); err != nil {
				t.Fatal(err)
			}
		}
		cancel()
		switch err := <-result; {
		case err == nil:
			position += 3000
		case errors.Is(err, context.Canceled):
			given++
		default:
			t.Fatal(err)
		}
		holds(t, s, position)
	}
	write(t, s, run(position, position+10))
	holds(t, s, position+10)
}

// TestClosingUnderWork closes while readers and a writer are at work. Close must
// return, and so must they; and the file can be opened again at once.
func TestClosingUnderWork(t *testing.T) {
	path := filepath.Join(t.TempDir(), "facts.duckdb")
	s := open(t, path)
	write(t, s, run(0, 2000))
	const readers = 12 // more than connections
	ended := make(chan error, readers+1)
	atWork := make(chan struct{}, readers+1)
	for range readers {
		go func() {
			for first := true; ; first = false {
				if _, err := s.Lines(context.Background(), reports.Query{Firm: firm}); err != nil {
					ended <- err
					return
				}
				if first {
					atWork <- struct{}{}
				}
			}
		}()
	}
	last := make(chan uint64, 1)
	go func() {
		for at := uint64(2000); ; at += 500 {
			if err := s.Write(context.Background(), run(at, at+500)); err != nil {
				last <- at
				ended <- err
				return
			}
			if at == 2000 {
				atWork <- struct{}{}
			}
		}
	}()
	for range readers + 1 {
		<-atWork
	}
	shut(t, s)
	for range readers + 1 {
		if err := <-ended; !errors.Is(err, ErrClosed) {
			t.Errorf("a call under Close ended with %v", err)
		}
	}
	s = open(t, path)
	defer shut(t, s)
	holds(t, s, <-last)
}

// TestLongReplayStaysSmall: without checkpoints the write-ahead log, and with it
// the memory, would grow with everything that is written.
func TestLongReplayStaysSmall(t *testing.T) {
	path := filepath.Join(t.TempDir(), "facts.duckdb")
	s, err := Open(t.Context(), path, Options{MemoryLimit: 128 << 20})
	if err != nil {
		t.Fatal(err)
	}
	defer shut(t, s)
	var most, written int64
	const step, end = 10_000, 150_000
	for at := uint64(0); at < end; at += step {
		b := run(at, at+step)
		for _, c := range b.Commits {
			written += int64(len(c.Raw))
		}
		write(t, s, b)
		if info, err := os.Stat(path + ".wal"); err == nil {
			most = max(most, info.Size())
		}
	}
	if most > checkpointFilling+32<<20 {
		t.Errorf("the write-ahead log grew to %d MiB, while %d MiB of commits were written", most>>20, written>>20)
	}
	write(t, s, run(end, end+1)) // all is caught up
	if info, err := os.Stat(path + ".wal"); err == nil && info.Size() > checkpointLive {
		t.Errorf("the write-ahead log is left with %d MiB after a small write", info.Size()>>20)
	}
	holds(t, s, end+1)
}
