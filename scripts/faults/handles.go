package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"strings"
	"syscall"
	"time"
	"unsafe"
)

// handles starts the program with few file handles, under load of many connections.
func handles(ctx context.Context, t *trial) error {
	for range t.harness.times {
		few := 40 + t.random.IntN(80)
		s, err := t.serveAs(ctx, []string{"sh", "-c", fmt.Sprintf(`ulimit -n %d && exec "$0" "$@"`, few), t.program})
		t.times++
		if refused := new(startError); errors.As(err, &refused) {
			t.message = telling(refused.said)
			if !strings.Contains(refused.said, "too many open files") || !strings.Contains(refused.said, "ulimit -n") {
				return fmt.Errorf("with %d handles: %w", few, err)
			}
			continue
		}
		if err != nil {
			return err
		}
		to := s.at(t)
		to.Patience = 3 * patience
		err = t.under(ctx, to, func(ctx context.Context) error {
			if err := t.load.More(ctx, 200); err != nil {
				return fmt.Errorf("with %d handles: %w", few, err)
			}
			return nil
		})
		if err := errors.Join(err, s.kill()); err != nil {
			return err
		}
		t.message = fmt.Sprintf("served with %d handles", few)
	}
	return nil
}

// starved takes all free file handles from the program while it is served under load, and
// gives them back. It must go on by itself, or say what to do and go on once it is started
// anew.
func starved(ctx context.Context, t *trial) error {
	for range t.harness.times {
		s, err := t.serve(ctx)
		if err != nil {
			return err
		}
		to := s.at(t)
		to.Patience = 3 * patience
		err = t.under(ctx, to, func(ctx context.Context) error {
			if err := t.load.More(ctx, 100+t.random.IntN(200)); err != nil {
				return err
			}
			restore, err := s.starve(t.random.IntN(4))
			if err != nil {
				return err
			}
			time.Sleep(time.Duration(1000+t.random.IntN(2000)) * time.Millisecond) // the fault itself
			if err := restore(); err != nil {
				return err
			}
			return t.recovers(ctx, s)
		})
		if err := errors.Join(err, s.kill()); err != nil {
			return err
		}
		t.times++
	}
	return nil
}

// recovers requires that the load goes on, or is refused with what to do.
func (t *trial) recovers(ctx context.Context, s *running) error {
	going, stop := context.WithCancel(ctx)
	defer stop()
	more := make(chan error, 1)
	go func() { more <- t.load.More(going, 200) }()
	_, before := t.load.Refusals()
	refused := make(chan string, 1)
	go func() {
		if text, err := t.refusal(going, s, before); err == nil {
			refused <- text
		}
	}()
	select {
	case err := <-more:
		t.message = "nothing: it goes on by itself"
		return err
	case t.message = <-refused:
		if !strings.Contains(t.message, "start daysheet again") {
			return fmt.Errorf("the refusal does not say what to do: %s", t.message)
		}
		return nil
	}
}

// starve leaves the program so many file handles more than it has open, and returns what
// gives them back.
func (s *running) starve(more int) (restore func() error, err error) {
	open, err := os.ReadDir(fmt.Sprintf("/proc/%d/fd", s.cmd.Process.Pid))
	if err != nil {
		return nil, err
	}
	var old syscall.Rlimit
	if err := s.limit(nil, &old); err != nil {
		return nil, err
	}
	few := syscall.Rlimit{Cur: uint64(len(open) + more), Max: old.Max}
	return func() error { return s.limit(&old, nil) }, s.limit(&few, nil)
}

// limit sets or reads how many file handles the program may have.
func (s *running) limit(to, from *syscall.Rlimit) error {
	_, _, failed := syscall.Syscall6(syscall.SYS_PRLIMIT64, uintptr(s.cmd.Process.Pid), syscall.RLIMIT_NOFILE,
		uintptr(unsafe.Pointer(to)), uintptr(unsafe.Pointer(from)), 0, 0)
	if failed != 0 {
		return fmt.Errorf("limit file handles of the program: %w", failed)
	}
	return nil
}
