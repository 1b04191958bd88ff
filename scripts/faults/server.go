package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"os"
	"os/exec"
	"regexp"
	"strings"
	"syscall"
)

// firm is the invented firm that the load writes to.
const firm = "load"

// harness is the experiment: the program, its data folder and its token.
type harness struct {
	program string
	kills   int
	writers int
	seed    uint64

	folder string
	token  string
}

// prepare makes a token on an empty data folder.
func (h *harness) prepare(ctx context.Context) error {
	out, err := exec.CommandContext(ctx, h.program, "token", "add", "load", "--data", h.folder, "--firm", firm,
		"--scope", "read,record").Output()
	if err != nil {
		return fmt.Errorf("make token: %w", err)
	}
	h.token = strings.TrimSpace(string(out))
	return nil
}

// verify runs the program's own check, which ends with 0 only where it found
// nothing.
func (h *harness) verify(ctx context.Context) error {
	out, err := exec.CommandContext(ctx, h.program, "verify", "--data", h.folder).CombinedOutput()
	if err != nil {
		return fmt.Errorf("verify: %w\n%s", err, out)
	}
	return nil
}

// running is a server that was started.
type running struct {
	cmd   *exec.Cmd
	base  string
	ended chan error
}

var address = regexp.MustCompile(`http://[0-9.:]+`)

// serve starts the server and waits until it says where it listens.
func (h *harness) serve(ctx context.Context) (*running, error) {
	cmd := exec.CommandContext(ctx, h.program, "serve", "--data", h.folder, "--listen", "127.0.0.1:0",
		"--rate-per-second", "1000000")
	var said bytes.Buffer
	cmd.Stderr = &said
	out, err := cmd.StdoutPipe()
	if err != nil {
		return nil, err
	}
	if err := cmd.Start(); err != nil {
		return nil, fmt.Errorf("start server: %w", err)
	}
	lines := bufio.NewReader(out)
	s := &running{cmd: cmd, ended: make(chan error, 1)}
	for s.base == "" {
		line, err := lines.ReadString('\n')
		s.base = address.FindString(line)
		if err != nil && s.base == "" {
			return nil, fmt.Errorf("the server did not start: %w\n%s", cmd.Wait(), said.String())
		}
	}
	go func() {
		io.Copy(io.Discard, lines)
		s.ended <- cmd.Wait()
	}()
	return s, nil
}

// kill ends the server the hard way and waits until it is gone.
func (s *running) kill() error {
	if err := s.cmd.Process.Signal(syscall.SIGKILL); err != nil && err != os.ErrProcessDone {
		return fmt.Errorf("kill server: %w", err)
	}
	<-s.ended
	return nil
}

// events returns how often each event id stands in the ledger.
func (s *running) events(ctx context.Context, token string) (map[string]int, error) {
	r, err := http.NewRequestWithContext(ctx, http.MethodGet, s.base+"/v1/events", nil)
	if err != nil {
		return nil, err
	}
	r.Header.Set("Authorization", "Bearer "+token)
	answer, err := http.DefaultClient.Do(r)
	if err != nil {
		return nil, fmt.Errorf("export events: %w", err)
	}
	defer answer.Body.Close()
	if answer.StatusCode != http.StatusOK {
		return nil, fmt.Errorf("export events: status %d", answer.StatusCode)
	}
	times := map[string]int{}
	lines := json.NewDecoder(answer.Body)
	for {
		var e struct {
			ID string `json:"id"`
		}
		if err := lines.Decode(&e); err == io.EOF {
			return times, nil
		} else if err != nil {
			return nil, fmt.Errorf("export events: %w", err)
		}
		times[e.ID]++
	}
}
