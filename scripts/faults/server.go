package main

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"os"
	"os/exec"
	"regexp"
	"strings"
	"syscall"
	"time"

	"daysheet/scripts/writers"
)

// firm is the invented firm that the load writes to.
const firm = "load"

// running is a server that was started.
type running struct {
	cmd   *exec.Cmd
	base  string
	ended chan error
	said  *bytes.Buffer // on standard error; complete once it ended
}

var address = regexp.MustCompile(`http://[0-9.:]+`)

// serve starts the server and waits until it says where it listens.
func (t *trial) serve(ctx context.Context, flags ...string) (*running, error) {
	return t.serveAs(ctx, []string{t.program}, flags...)
}

// serveAs starts it with a command line that ends in the program, and further flags.
func (t *trial) serveAs(ctx context.Context, line []string, flags ...string) (*running, error) {
	args := append(line[1:], "serve", "--data", t.folder, "--listen", "127.0.0.1:0", "--rate-per-second", "1000000")
	cmd := exec.CommandContext(ctx, line[0], append(args, flags...)...)
	var said bytes.Buffer
	cmd.Stderr = &said
	out, err := cmd.StdoutPipe()
	if err != nil {
		return nil, err
	}
	if err := t.start(cmd); err != nil {
		return nil, err
	}
	lines := bufio.NewReader(out)
	s := &running{cmd: cmd, ended: make(chan error, 1), said: &said}
	for s.base == "" {
		line, err := lines.ReadString('\n')
		s.base = address.FindString(line)
		if err != nil && s.base == "" {
			return nil, &startError{cmd.Wait(), said.String()}
		}
	}
	go func() {
		io.Copy(io.Discard, lines)
		s.ended <- cmd.Wait()
	}()
	return s, nil
}

// start starts a server, with a clock that can be set where the trial sets it.
func (t *trial) start(cmd *exec.Cmd) (err error) {
	if !t.shifts {
		if err := cmd.Start(); err != nil {
			return fmt.Errorf("start server: %w", err)
		}
		return nil
	}
	if t.clock, err = startShifted(cmd); err != nil {
		return err
	}
	return t.clock.set(t.ahead)
}

// notReady requires that /readyz says that the server is not, and each of the words.
func (s *running) notReady(ctx context.Context, says ...string) error {
	status, text, err := s.get(ctx, "", "/readyz")
	if err != nil {
		return errors.Join(err, s.alive())
	}
	for _, word := range says {
		if status != http.StatusServiceUnavailable || !strings.Contains(text, word) {
			return fmt.Errorf("/readyz says %d, without the word %q: %s", status, word, text)
		}
	}
	return nil
}

// alive fails if the server ended by itself.
func (s *running) alive() error {
	select {
	case err := <-s.ended:
		s.ended <- err
		said := s.said.Bytes()
		return fmt.Errorf("the server ended by itself: %w\n%s", err, said[max(0, len(said)-2000):])
	default:
		return nil
	}
}

// get reads an address, with a token if there is one.
func (s *running) get(ctx context.Context, token, at string) (status int, text string, err error) {
	r, err := http.NewRequestWithContext(ctx, http.MethodGet, s.base+at, nil)
	if err != nil {
		return 0, "", err
	}
	if token != "" {
		r.Header.Set("Authorization", "Bearer "+token)
	}
	answer, err := http.DefaultClient.Do(r)
	if err != nil {
		return 0, "", fmt.Errorf("get %s: %w", at, err)
	}
	defer answer.Body.Close()
	raw, err := io.ReadAll(answer.Body)
	return answer.StatusCode, string(raw), err
}

// startError is the refusal of a server to start.
type startError struct {
	cause error
	said  string
}

func (e *startError) Error() string {
	return fmt.Sprintf("the server did not start: %v\n%s", e.cause, e.said)
}

// startMax bounds how long a server may take to refuse to start.
const startMax = 30 * time.Second

// patience is how long a writer waits for an answer before it sends again. It is
// shorter than a stop of the program, so that both meet.
const patience = 700 * time.Millisecond

// at returns the server as the writers know it.
func (s *running) at(t *trial) writers.Server { return writers.Server{Base: s.base, Token: t.token} }

// end asks the server to stop and waits until it is gone.
func (s *running) end() error {
	if err := s.cmd.Process.Signal(syscall.SIGTERM); err != nil {
		return fmt.Errorf("stop server: %w", err)
	}
	if err := <-s.ended; err != nil {
		return fmt.Errorf("the server ended with: %w", err)
	}
	return nil
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
	return writers.Recorded(answer.Body)
}
