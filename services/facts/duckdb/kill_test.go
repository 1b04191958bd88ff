package duckdb

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
)

// childVariable names the file that this test binary, run as a child, is to fill
// until it is killed.
const childVariable = "DAYSHEET_FACTS_CHILD"

func TestMain(m *testing.M) {
	if path := os.Getenv(childVariable); path != "" {
		if err := fillForever(path); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
	}
	os.Exit(m.Run())
}

// fillForever writes batches after what the file holds, and prints each position
// after Write returned.
func fillForever(path string) error {
	s, err := Open(context.Background(), path, Options{})
	if err != nil {
		return err
	}
	at, err := s.Position(context.Background(), 1)
	if err != nil {
		return err
	}
	fmt.Println(at)
	for {
		next := at + 1 + at%230
		if err := s.Write(context.Background(), run(at, next)); err != nil {
			return err
		}
		at = next
		fmt.Println(at)
	}
}

// startChild returns a child that fills the file, and its printed positions.
func startChild(t *testing.T, path string) (*exec.Cmd, *bufio.Scanner) {
	t.Helper()
	child := exec.Command(os.Args[0])
	child.Env = append(os.Environ(), childVariable+"="+path)
	child.Stderr = os.Stderr
	out, err := child.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := child.Start(); err != nil {
		t.Fatal(err)
	}
	return child, bufio.NewScanner(out)
}

// kill ends a child as a power switch would, and returns the last position it
// printed.
func kill(t *testing.T, child *exec.Cmd, printed *bufio.Scanner, last uint64) uint64 {
	t.Helper()
	if err := child.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	for printed.Scan() {
		last = number(t, printed.Text())
	}
	var exit *exec.ExitError
	if err := child.Wait(); !errors.As(err, &exit) || exit.ExitCode() != -1 {
		t.Fatalf("the child was not killed: %v", err)
	}
	return last
}

func number(t *testing.T, text string) (n uint64) {
	t.Helper()
	if _, err := fmt.Sscan(text, &n); err != nil {
		t.Fatalf("the child printed %q", text)
	}
	return n
}

// TestKilled kills a writing process again and again. What it said was written
// is there, whole, and nothing twice.
func TestKilled(t *testing.T) {
	path := filepath.Join(t.TempDir(), "facts.duckdb")
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	random := rand.New(rand.NewPCG(seed, 0))
	var position uint64
	for round := range 8 {
		child, printed := startChild(t, path)
		var last uint64
		for range 2 + random.IntN(60) {
			if !printed.Scan() {
				t.Fatalf("round %d: the child ended by itself", round)
			}
			last = number(t, printed.Text())
		}
		if _, err := Open(t.Context(), path, Options{}); !errors.Is(err, ErrLocked) || errors.Is(err, ErrDamaged) {
			t.Fatalf("opening a file that another process has open: %v", err)
		}
		last = kill(t, child, printed, last)
		s := open(t, path)
		after, err := s.Position(t.Context(), 1)
		if err != nil {
			t.Fatal(err)
		}
		if after < last || after < position {
			t.Fatalf("round %d: at %d, but the child had printed %d", round, after, last)
		}
		holds(t, s, after)
		shut(t, s)
		position = after
	}
	s := open(t, path)
	defer shut(t, s)
	write(t, s, run(0, position+100))
	holds(t, s, position+100)
}
