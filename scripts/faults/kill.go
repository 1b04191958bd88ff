package main

import (
	"context"
	"fmt"
	"time"
)

// kill ends the program with SIGKILL at random moments under load.
func kill(ctx context.Context, t *trial) error {
	for range t.kills {
		moment := time.Duration(50+t.random.IntN(1200)) * time.Millisecond
		if err := t.killAfter(ctx, moment); err != nil {
			return fmt.Errorf("kill %d after %v: %w", t.times+1, moment, err)
		}
		t.times++
	}
	t.message = "nothing: the next start goes on"
	return nil
}

// killAfter serves, sends until the moment, kills, and verifies.
func (t *trial) killAfter(ctx context.Context, moment time.Duration) error {
	s, err := t.serve(ctx)
	if err != nil {
		return err
	}
	err = t.under(ctx, s.at(t), func(ctx context.Context) error {
		select {
		case <-time.After(moment): // the moment is the experiment, not a wait for something
		case err := <-s.ended:
			return fmt.Errorf("the server ended by itself: %w", err)
		}
		return s.kill()
	})
	if err != nil {
		return err
	}
	return t.sound(ctx)
}
