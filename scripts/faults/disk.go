package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"time"
)

// full fills the disk while the ledger is served, frees it again, and starts the
// program anew.
func full(ctx context.Context, t *trial) error {
	ballast := filepath.Join(t.folder, "ballast")
	return t.unwritable(ctx, func() error { return fill(ballast) }, func() error { return os.Remove(ballast) })
}

// failing has the disk fail while the ledger is served: the file system finds an error and
// takes no writes any more. It is checked and mounted again before the next start.
func failing(ctx context.Context, t *trial) error {
	return t.unwritable(ctx, t.disk.fail, func() error { return t.disk.renew(ctx) })
}

// unwritable brings it about, under load, that nothing can be written. The writers must be
// told to send later, in every round anew, and so must whoever looks at /readyz. Then it is
// mended and the program started anew.
func (t *trial) unwritable(ctx context.Context, breaking, mending func() error) error {
	for range t.harness.times {
		s, err := t.serve(ctx)
		if err != nil {
			return err
		}
		err = t.under(ctx, s.at(t), func(ctx context.Context) error {
			if err := t.load.More(ctx, 200+t.random.IntN(300)); err != nil {
				return err
			}
			_, before := t.load.Refusals()
			if err := breaking(); err != nil {
				return err
			}
			if t.message, err = t.refusal(ctx, s, before); err != nil {
				return err
			}
			return s.notReady(ctx, "make room, start daysheet again")
		})
		if err := errors.Join(err, s.kill(), mending()); err != nil {
			return err
		}
		if s, err = t.serve(ctx); err != nil {
			return err
		}
		err = t.under(ctx, s.at(t), func(ctx context.Context) error { return t.load.More(ctx, 200) })
		if err := errors.Join(err, s.kill()); err != nil {
			return err
		}
		t.times++
	}
	return nil
}

// fill writes a file until the disk has no room for more.
func fill(path string) error {
	file, err := os.Create(path)
	if err != nil {
		return err
	}
	piece := make([]byte, 4<<10)
	for err == nil {
		_, err = file.Write(piece)
	}
	if !errors.Is(err, syscall.ENOSPC) {
		return errors.Join(fmt.Errorf("fill the disk: %w", err), file.Close())
	}
	return file.Close()
}

// refusal waits until writers are told to send later once more than before, and returns
// what they read.
func (t *trial) refusal(ctx context.Context, s *running, before int) (string, error) {
	ctx, cancel := context.WithTimeout(ctx, time.Minute)
	defer cancel()
	for {
		if text, times := t.load.Refusals(); times > before {
			return telling(text), nil
		}
		if err := s.alive(); err != nil {
			return "", err
		}
		select {
		case <-ctx.Done():
			return "", errors.New("what cannot be written is answered with no refusal")
		case <-time.After(20 * time.Millisecond):
		}
	}
}

// readOnly starts the program on a disk that takes no writes, as one that the
// system found faulty.
func readOnly(ctx context.Context, t *trial) error {
	for range t.harness.times {
		s, err := t.serve(ctx)
		if err != nil {
			return err
		}
		err = t.under(ctx, s.at(t), func(ctx context.Context) error { return t.load.More(ctx, 100+t.random.IntN(200)) })
		if err := errors.Join(err, s.kill(), t.disk.readOnly(true)); err != nil {
			return err
		}
		says := []string{"read-only", "mount it for writing"}
		err = t.refused(ctx, says, "verify")
		err = errors.Join(err, t.refused(ctx, says, "serve", "--listen", "127.0.0.1:0"))
		if err := errors.Join(err, t.disk.readOnly(false)); err != nil {
			return err
		}
		t.times++
	}
	return nil
}

// slow has the disk stand still under load, for a moment or for longer than the program
// waits for its log. The writers lose patience and send again.
func slow(ctx context.Context, t *trial) error {
	s, err := t.serve(ctx)
	if err != nil {
		return err
	}
	to := s.at(t)
	to.Patience = patience
	err = t.under(ctx, to, func(ctx context.Context) error {
		for range 3 * t.harness.times {
			if err := t.load.More(ctx, 20+t.random.IntN(100)); err != nil {
				return err
			}
			if err := t.disk.tell(freeze, nil); err != nil {
				return err
			}
			time.Sleep(time.Duration(100+t.random.IntN(7000)) * time.Millisecond) // the fault itself
			if err := t.disk.tell(thaw, nil); err != nil {
				return err
			}
			t.times++
		}
		return t.load.More(ctx, 100)
	})
	t.message = "nothing: it waits for the disk"
	return errors.Join(err, s.kill())
}

// power takes the disk away at random moments under load, with everything that the program
// had not synced, and ends the program: what a power cut does.
func power(ctx context.Context, t *trial) error {
	for range 3 * t.harness.times {
		s, err := t.serve(ctx)
		if err != nil {
			return err
		}
		moment := time.Duration(50+t.random.IntN(1200)) * time.Millisecond
		err = t.under(ctx, s.at(t), func(context.Context) error {
			select {
			case <-time.After(moment): // the moment is the experiment, not a wait for something
			case err := <-s.ended:
				return fmt.Errorf("the server ended by itself: %w", err)
			}
			t.load.Deaf(true)
			return errors.Join(t.disk.cutPower(), s.kill())
		})
		t.load.Deaf(false)
		if err := errors.Join(err, t.disk.renew(ctx)); err != nil {
			return fmt.Errorf("power cut %d after %v: %w", t.times+1, moment, err)
		}
		if err := t.sound(ctx); err != nil {
			return fmt.Errorf("power cut %d after %v: %w", t.times+1, moment, err)
		}
		t.times++
	}
	t.message = "nothing: what was acknowledged was on disk"
	return nil
}

// largest returns the largest file under a folder whose name ends so.
func largest(folder, ending string) (path string, size int64, err error) {
	err = filepath.WalkDir(folder, func(at string, d os.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(at, ending) {
			return err
		}
		stat, err := d.Info()
		if err == nil && stat.Size() > size {
			path, size = at, stat.Size()
		}
		return err
	})
	if err == nil && path == "" {
		err = fmt.Errorf("no file ends with %s in %s: %w", ending, folder, io.EOF)
	}
	return path, size, err
}
