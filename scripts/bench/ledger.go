package main

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"time"
)

// firmOf is the key of an invented firm, counted from 1.
func firmOf(n int) string { return fmt.Sprintf("load-%d", n) }

// ledger is a data folder and the program that serves it.
type ledger struct {
	program, folder string
	token           string // of the first firm
}

// output runs a command of the program and returns what it printed.
func (l *ledger) output(ctx context.Context, args ...string) (string, error) {
	cmd := exec.CommandContext(ctx, l.program, append(args, "--data", l.folder)...)
	var said bytes.Buffer
	cmd.Stderr = &said
	out, err := cmd.Output()
	if err != nil {
		return "", fmt.Errorf("%s %s: %w\n%s%s", l.program, strings.Join(args, " "), err, out, said.String())
	}
	return string(out), nil
}

// addToken makes the token of the first firm.
func (l *ledger) addToken(ctx context.Context) error {
	out, err := l.output(ctx, "token", "add", "bench", "--firm", firmOf(1), "--scope", "read,record")
	l.token = strings.TrimSpace(out)
	return err
}

var recorded = regexp.MustCompile(`(\d+) events recorded`)

// importFile imports a firm's events, and returns how many were recorded.
func (l *ledger) importFile(ctx context.Context, file, firm string) (int, error) {
	out, err := l.output(ctx, "import", file, "--firm", firm)
	if err != nil {
		return 0, err
	}
	found := recorded.FindStringSubmatch(out)
	if found == nil {
		return 0, fmt.Errorf("import of %s does not say how many events were recorded: %s", file, out)
	}
	return strconv.Atoi(found[1])
}

var counted = regexp.MustCompile(`(\d+) firms, (\d+) jobs, (\d+) commits, (\d+) events, (\d+) facts`)

// counts are what the program's own check found in the ledger.
type counts struct{ Firms, Jobs, Commits, Events, Facts int }

// verify runs the program's own check, which ends with 0 only where nothing is wrong.
func (l *ledger) verify(ctx context.Context) (counts, error) {
	out, err := l.output(ctx, "verify")
	if err != nil {
		return counts{}, err
	}
	found := counted.FindStringSubmatch(out)
	if found == nil || strings.Contains(out, "behind the log") {
		return counts{}, fmt.Errorf("verify did not count all: %s", out)
	}
	var c counts
	for i, into := range []*int{&c.Firms, &c.Jobs, &c.Commits, &c.Events, &c.Facts} {
		if *into, err = strconv.Atoi(found[i+1]); err != nil {
			return c, fmt.Errorf("read what verify counted: %w", err)
		}
	}
	return c, nil
}

// dropFacts deletes the store of facts.
func (l *ledger) dropFacts() error {
	files, err := filepath.Glob(filepath.Join(l.folder, "facts.duckdb*"))
	if err != nil || len(files) == 0 {
		return fmt.Errorf("there is no store of facts in %s: %w", l.folder, err)
	}
	for _, f := range files {
		err = errors.Join(err, os.RemoveAll(f))
	}
	return err
}

// bytesOf returns how much disk a file or folder of the data folder takes.
func (l *ledger) bytesOf(name string) (total int64, err error) {
	err = filepath.WalkDir(filepath.Join(l.folder, name), func(_ string, e fs.DirEntry, err error) error {
		if err != nil || e.IsDir() {
			return err
		}
		info, err := e.Info()
		if err != nil {
			return err
		}
		blocks := info.Sys().(*syscall.Stat_t).Blocks // of 512 bytes: a file may have holes
		total += blocks * 512
		return nil
	})
	return total, err
}

// served is the program, serving.
type served struct {
	cmd   *exec.Cmd
	base  string
	token string
	http  *http.Client
	said  *bytes.Buffer
	ended chan error
}

var address = regexp.MustCompile(`http://[0-9.:]+`)

// serve starts the program and waits until it says where it listens.
func (l *ledger) serve(ctx context.Context) (*served, error) {
	cmd := exec.CommandContext(ctx, l.program, "serve", "--data", l.folder, "--listen", "127.0.0.1:0",
		"--rate-per-second", "1000000")
	s := &served{cmd: cmd, token: l.token, said: &bytes.Buffer{}, ended: make(chan error, 1),
		http: &http.Client{Timeout: 5 * time.Minute}}
	cmd.Stderr = s.said
	out, err := cmd.StdoutPipe()
	if err != nil {
		return nil, err
	}
	if err := cmd.Start(); err != nil {
		return nil, fmt.Errorf("start server: %w", err)
	}
	lines := bufio.NewReader(out)
	for s.base == "" {
		line, err := lines.ReadString('\n')
		s.base = address.FindString(line)
		if err != nil && s.base == "" {
			return nil, fmt.Errorf("the server did not start: %w\n%s", cmd.Wait(), s.said)
		}
	}
	go func() {
		_, err := io.Copy(io.Discard, lines)
		s.ended <- errors.Join(err, cmd.Wait())
	}()
	return s, nil
}

// stop asks the server to end, waits, and fails if it ended badly.
func (s *served) stop() error {
	if err := s.cmd.Process.Signal(syscall.SIGTERM); err != nil && !errors.Is(err, os.ErrProcessDone) {
		return fmt.Errorf("stop server: %w", err)
	}
	if err := <-s.ended; err != nil {
		return fmt.Errorf("the server ended: %w\n%s", err, s.said)
	}
	return nil
}

var lagged = regexp.MustCompile(`(?m)^ledger_projector_lag_commits\{[^}]*\} (\S+)$`)

// ready waits until the facts stand where the log stands. /readyz lets a few commits
// pass, which is not enough here.
func (s *served) ready(ctx context.Context) error {
	tick := time.NewTicker(10 * time.Millisecond)
	defer tick.Stop()
	for {
		a, err := s.ask(ctx, request{path: "/metrics"})
		if err != nil {
			return fmt.Errorf("wait for the facts: %w\n%s", err, s.said)
		}
		partitions := lagged.FindAllSubmatch(a.body, -1)
		if len(partitions) == 0 {
			return fmt.Errorf("wait for the facts: /metrics answers %d without the lag", a.status)
		}
		if !slices.ContainsFunc(partitions, func(found [][]byte) bool { return string(found[1]) != "0" }) {
			return nil
		}
		select {
		case <-tick.C:
		case <-ctx.Done():
			return context.Cause(ctx)
		}
	}
}

// memory is the resident memory of a server in bytes.
type memory struct {
	now, most float64
	file      float64 // of what is resident now: mapped files, which are the program
}

// memory returns what the server uses.
func (s *served) memory() (used memory, err error) {
	raw, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", s.cmd.Process.Pid))
	if err != nil {
		return used, fmt.Errorf("read the server's memory: %w", err)
	}
	for name, into := range map[string]*float64{"VmRSS": &used.now, "VmHWM": &used.most, "RssFile": &used.file} {
		found := regexp.MustCompile(name + `:\s+(\d+) kB`).FindSubmatch(raw)
		if found == nil {
			return used, fmt.Errorf("the system does not say %s of the server", name)
		}
		kib, err := strconv.ParseFloat(string(found[1]), 64)
		if err != nil {
			return used, err
		}
		*into = kib * 1024
	}
	return used, nil
}
