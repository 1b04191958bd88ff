package main

import (
	"context"
	"errors"
	"fmt"
	"syscall"
	"time"
)

// pauseProgram stops the program for a second or two, as a machine that sleeps or
// swaps does, and lets it go on. The writers lose patience and send again.
func pauseProgram(ctx context.Context, t *trial) error {
	s, err := t.serve(ctx)
	if err != nil {
		return err
	}
	to := s.at(t)
	to.Patience = patience
	err = t.under(ctx, to, func(ctx context.Context) error {
		for range t.harness.times {
			if err := t.load.More(ctx, 50+t.random.IntN(200)); err != nil {
				return err
			}
			if err := s.cmd.Process.Signal(syscall.SIGSTOP); err != nil {
				return fmt.Errorf("stop the program: %w", err)
			}
			time.Sleep(time.Duration(1000+t.random.IntN(1000)) * time.Millisecond) // the fault itself
			if err := s.cmd.Process.Signal(syscall.SIGCONT); err != nil {
				return fmt.Errorf("let the program go on: %w", err)
			}
			t.times++
		}
		return t.load.More(ctx, 100)
	})
	t.message = "nothing: it goes on by itself"
	return errors.Join(err, s.kill())
}
