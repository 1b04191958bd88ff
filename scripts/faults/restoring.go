package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
)

// restoring restores what was backed up onto a disk that something else fills meanwhile.
// It must say what to do, the folder must not be taken for a ledger, and once there is room
// the same command must bring everything back.
func restoring(ctx context.Context, t *trial) (err error) {
	t.folder = filepath.Join(t.disk.folder, "ledger")
	archives, err := os.MkdirTemp("", "faults-")
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(archives)) }()
	if err := t.prepare(ctx); err != nil {
		return err
	}
	for range t.harness.times {
		if err := t.use(ctx); err != nil {
			return err
		}
		to := filepath.Join(archives, fmt.Sprint(t.times))
		if text, err := t.command(ctx, "backup", to); err != nil {
			return fmt.Errorf("backup: %w\n%s", err, text)
		}
		command := []string{"restore", to, to + ".keys"}
		if err := t.filledMeanwhile(ctx, command); err != nil {
			return err
		}
		if text, err := t.command(ctx, command...); err != nil {
			return fmt.Errorf("restore with room: %w\n%s", err, text)
		}
		if err := t.sound(ctx); err != nil {
			return err
		}
		t.times++
	}
	return nil
}

// restoringTries bounds how often a restore may be done before the disk is full.
const restoringTries = 20

// filledMeanwhile restores into an empty folder while the disk is filled, and makes room.
func (t *trial) filledMeanwhile(ctx context.Context, command []string) error {
	ballast := filepath.Join(t.disk.folder, "ballast")
	for range restoringTries {
		if err := os.RemoveAll(t.folder); err != nil {
			return err
		}
		if err := t.disk.leave(ballast, int64(2<<20+t.random.IntN(2<<20))); err != nil {
			return err
		}
		said, err := t.brokenOff(ctx, command, func() error { return fill(ballast + ".more") })
		if err != nil {
			return err
		}
		if said != "" {
			t.message = telling(said)
			err = t.saysWhatToDo(ctx, said)
		}
		if err := errors.Join(err, os.Remove(ballast), os.Remove(ballast+".more")); err != nil || said != "" {
			return err
		}
	}
	return fmt.Errorf("%d restores were done before the disk was full", restoringTries)
}

// saysWhatToDo holds the command and the folder to what they say.
func (t *trial) saysWhatToDo(ctx context.Context, said string) error {
	for _, word := range []string{"became full before the ledger was restored", "make room", "restore\" again"} {
		if !strings.Contains(said, word) {
			return fmt.Errorf("restore is broken off without the word %q:\n%s", word, said)
		}
	}
	broken := t.message
	err := t.refused(ctx, []string{"half restored", "with the same archives again"}, "serve", "--listen", "127.0.0.1:0")
	t.message = broken
	return err
}

// brokenOff runs a restore, fills the disk once it has begun to write, and returns what it
// said where it failed.
func (t *trial) brokenOff(ctx context.Context, command []string, fill func() error) (said string, err error) {
	cmd := exec.CommandContext(ctx, t.program, append(command, "--data", t.folder)...)
	var text strings.Builder
	cmd.Stdout, cmd.Stderr = &text, &text
	if err := cmd.Start(); err != nil {
		return "", fmt.Errorf("start restore: %w", err)
	}
	ended := make(chan error, 1)
	go func() { ended <- cmd.Wait() }()
	for {
		select {
		case err := <-ended: // before it was seen to begin
			if err != nil {
				return "", fmt.Errorf("restore: %w\n%s", err, text.String())
			}
			return "", nil
		default:
		}
		if _, err := os.Stat(filepath.Join(t.folder, "log")); err != nil {
			continue
		}
		if err := fill(); err != nil {
			return "", err
		}
		if <-ended != nil {
			return text.String(), nil
		}
		return "", nil
	}
}

// leave writes a file until the disk has room for so many bytes.
func (d *disk) leave(path string, bytes int64) error {
	var disk syscall.Statfs_t
	if err := syscall.Statfs(d.folder, &disk); err != nil {
		return fmt.Errorf("look for room on the disk: %w", err)
	}
	file, err := os.Create(path)
	if err != nil {
		return err
	}
	piece := make([]byte, 64<<10)
	for left := int64(disk.Bavail) * disk.Bsize; left > bytes && err == nil; left -= int64(len(piece)) {
		_, err = file.Write(piece)
	}
	return errors.Join(err, file.Close())
}
