package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"syscall"
	"time"
)

// process is a server that was started, and what it says.
type process struct {
	command *exec.Cmd
	log     string
	ended   chan struct{} // closed when it has ended
}

// start runs a program, tied to this one: it is told to end when this one dies.
// What it prints goes to a file of its name in the folder.
func start(command *exec.Cmd, folder, name string, as *syscall.Credential) (*process, error) {
	p := &process{command: command, log: filepath.Join(folder, name+".log"), ended: make(chan struct{})}
	log, err := os.Create(p.log)
	if err != nil {
		return nil, fmt.Errorf("make the log of %s: %w", name, err)
	}
	command.Stderr = log
	if command.Stdout == nil {
		command.Stdout = log
	}
	command.SysProcAttr = &syscall.SysProcAttr{Pdeathsig: syscall.SIGTERM, Credential: as, Setpgid: true}
	started := make(chan error)
	go func() {
		runtime.LockOSThread() // the signal comes with the end of the thread that started it
		defer runtime.UnlockOSThread()
		defer close(p.ended)
		err := command.Start()
		started <- err
		if err == nil {
			_ = command.Wait() // its end is what matters; its log says why
		}
		_ = log.Close() // it was written by the program
	}()
	if err := <-started; err != nil {
		return nil, fmt.Errorf("start %s: %w", name, err)
	}
	return p, nil
}

// stop asks the server to end, and waits for it.
func (p *process) stop(with os.Signal) error {
	err := p.command.Process.Signal(with)
	if errors.Is(err, os.ErrProcessDone) {
		err = nil
	}
	<-p.ended
	return err
}

// until calls ready until it gives no error, the server ends or a minute is over.
func (p *process) until(ctx context.Context, ready func(context.Context) error) error {
	ctx, cancel := context.WithTimeout(ctx, time.Minute)
	defer cancel()
	tick := time.NewTicker(50 * time.Millisecond)
	defer tick.Stop()
	for {
		err := ready(ctx)
		if err == nil {
			return nil
		}
		select {
		case <-tick.C:
		case <-p.ended:
			return fmt.Errorf("the server ended before it answered: %s", p.said())
		case <-ctx.Done():
			return fmt.Errorf("the server does not answer: %w: %s", err, p.said())
		}
	}
}

// said returns the end of what the server printed.
func (p *process) said() string {
	raw, err := os.ReadFile(p.log)
	if err != nil {
		return err.Error()
	}
	lines := strings.Split(strings.TrimSpace(string(raw)), "\n")
	return strings.Join(lines[max(0, len(lines)-15):], "\n")
}

// startClickHouse starts Debian's server by the script that is there for it, and
// returns its address.
func startClickHouse(ctx context.Context, folder string) (_ *process, address string, err error) {
	script := os.Getenv("CLICKHOUSE_SCRIPT")
	if script == "" {
		return nil, "", errors.New("CLICKHOUSE_SCRIPT is not set: start this by scripts/stores/run")
	}
	command := exec.Command(script)
	command.Env = append(os.Environ(), "TMPDIR="+folder)
	read, write := io.Pipe()
	command.Stdout = write
	p, err := start(command, folder, "clickhouse", nil)
	if err != nil {
		return nil, "", err
	}
	go func() {
		<-p.ended
		_ = write.Close() // a pipe's end always closes
	}()
	line, err := bufio.NewReader(read).ReadString('\n')
	if err != nil {
		return nil, "", fmt.Errorf("start ClickHouse: %s", p.said())
	}
	address = strings.TrimSpace(line)
	err = p.until(ctx, func(ctx context.Context) error {
		wire, err := (&net.Dialer{}).DialContext(ctx, "tcp", address)
		if err != nil {
			return err
		}
		return wire.Close()
	})
	return p, address, err
}

// unprivileged returns whom PostgreSQL is to run as: it refuses to be root.
func unprivileged() (*syscall.Credential, error) {
	if os.Getuid() != 0 {
		return nil, nil
	}
	someone, err := user.Lookup("postgres")
	if err != nil {
		return nil, fmt.Errorf("find whom to run PostgreSQL as: %w", err)
	}
	uid, err := strconv.ParseUint(someone.Uid, 10, 32)
	if err != nil {
		return nil, fmt.Errorf("read uid %q: %w", someone.Uid, err)
	}
	gid, err := strconv.ParseUint(someone.Gid, 10, 32)
	if err != nil {
		return nil, fmt.Errorf("read gid %q: %w", someone.Gid, err)
	}
	return &syscall.Credential{Uid: uint32(uid), Gid: uint32(gid)}, nil
}
