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
	for range t.harness.times {
		if err := t.fillOnce(ctx); err != nil {
			return err
		}
		t.times++
	}
	return nil
}

func (t *trial) fillOnce(ctx context.Context) error {
	s, err := t.serve(ctx)
	if err != nil {
		return err
	}
	err = t.under(ctx, s.at(t), func(ctx context.Context) error {
		if err := t.load.More(ctx, 200+t.random.IntN(300)); err != nil {
			return err
		}
		ballast := filepath.Join(t.folder, "ballast")
		if err := fill(ballast); err != nil {
			return err
		}
		refusal, err := t.refusal(ctx, s)
		if err != nil {
			return err
		}
		t.message = refusal
		return os.Remove(ballast)
	})
	if err := errors.Join(err, s.kill()); err != nil {
		return err
	}
	if s, err = t.serve(ctx); err != nil {
		return err
	}
	err = t.under(ctx, s.at(t), func(ctx context.Context) error { return t.load.More(ctx, 200) })
	return errors.Join(err, s.kill())
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

// refusal waits until writers are told to send later, and returns what they read.
func (t *trial) refusal(ctx context.Context, s *running) (string, error) {
	ctx, cancel := context.WithTimeout(ctx, time.Minute)
	defer cancel()
	for before := t.load.Refusal(); ; {
		if now := t.load.Refusal(); now != before || now != "" && t.times > 0 {
			return now, nil
		}
		select {
		case err := <-s.ended:
			s.ended <- err
			return "", fmt.Errorf("the server ended by itself: %w", err)
		case <-ctx.Done():
			return "", errors.New("a full disk is answered with no refusal")
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
		if err := errors.Join(err, s.kill()); err != nil {
			return err
		}
		if err := syscall.Mount("", t.folder, "", syscall.MS_REMOUNT|syscall.MS_RDONLY, ""); err != nil {
			return fmt.Errorf("mount read-only: %w", err)
		}
		err = t.refused(ctx, []string{"read-only"}, "verify")
		err = errors.Join(err, t.refused(ctx, []string{"read-only"}, "serve", "--listen", "127.0.0.1:0"))
		if err := errors.Join(err, syscall.Mount("", t.folder, "", syscall.MS_REMOUNT, "")); err != nil {
			return err
		}
		t.times++
	}
	return nil
}

// handles starts the program with few file handles, under load of many connections.
func handles(ctx context.Context, t *trial) error {
	for range t.harness.times {
		few := 40 + t.random.IntN(80)
		s, err := t.serveAs(ctx, []string{"sh", "-c", fmt.Sprintf(`ulimit -n %d && exec "$0" "$@"`, few), t.program})
		t.times++
		if refused := new(startError); errors.As(err, &refused) {
			t.message = telling(refused.said)
			if !strings.Contains(refused.said, "too many open files") {
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
