package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"syscall"
	"time"
)

// process is one program of the topology. It is started again with the same
// arguments after it was killed.
type process struct {
	name    string
	program string
	args    []string
	env     []string
	ready   *regexp.Regexp // a line of its output that says that it serves; its last group is its address
	log     string         // file that takes what it says

	mu      sync.Mutex
	cmd     *exec.Cmd
	ended   chan struct{}
	address string
}

// start starts the process and waits until it says that it is ready.
func (p *process) start(ctx context.Context) error {
	out, err := os.OpenFile(p.log, os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	read, write := io.Pipe()
	cmd := exec.CommandContext(ctx, p.program, p.args...)
	cmd.Env = append(os.Environ(), p.env...)
	cmd.Stdout, cmd.Stderr = write, write
	cmd.SysProcAttr = &syscall.SysProcAttr{Pdeathsig: syscall.SIGKILL}
	if err := cmd.Start(); err != nil {
		return errors.Join(fmt.Errorf("start %s: %w", p.name, err), out.Close())
	}
	ended, ready := make(chan struct{}), make(chan string, 1)
	go func() {
		defer out.Close()
		lines := bufio.NewReader(read)
		for {
			line, err := lines.ReadString('\n')
			if _, failed := out.WriteString(line); failed != nil {
				return
			}
			if found := p.ready.FindStringSubmatch(line); found != nil {
				select {
				case ready <- found[len(found)-1]:
				default:
				}
			}
			if err != nil {
				return
			}
		}
	}()
	go func() {
		_ = write.CloseWithError(cmd.Wait()) // it is killed, so that it ends with an error
		close(ended)
	}()
	p.mu.Lock()
	p.cmd, p.ended = cmd, ended
	p.mu.Unlock()
	select {
	case p.address = <-ready:
		return nil
	case <-ended:
		return fmt.Errorf("%s ended before it was ready; it says:\n%s", p.name, tail(p.log))
	case <-time.After(2 * time.Minute):
		return fmt.Errorf("%s is not ready after two minutes; it says:\n%s", p.name, tail(p.log))
	case <-ctx.Done():
		return ctx.Err()
	}
}

// kill ends the process the hard way and waits until it is gone.
func (p *process) kill() {
	p.mu.Lock()
	cmd, ended := p.cmd, p.ended
	p.mu.Unlock()
	if cmd == nil {
		return
	}
	_ = cmd.Process.Kill() // an error says that it has ended
	<-ended
}

// tail returns the end of a log file.
func tail(file string) string {
	raw, err := os.ReadFile(file)
	if err != nil {
		return err.Error()
	}
	lines := strings.Split(strings.TrimSpace(string(raw)), "\n")
	return strings.Join(lines[max(0, len(lines)-15):], "\n")
}

// build compiles a program of the module, or of one that it needs, into a folder.
func build(ctx context.Context, folder, name, pkg string) (string, error) {
	program := filepath.Join(folder, name)
	out, err := exec.CommandContext(ctx, "go", "build", "-o", program, pkg).CombinedOutput()
	if err != nil {
		return "", fmt.Errorf("build %s: %w\n%s", name, err, out)
	}
	return program, nil
}
