package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"
)

// sample is what a program takes of the machine at one time.
type sample struct {
	at                   time.Duration // since it began to be watched
	resident, heap, disk float64       // bytes
	goroutines, handles  float64
	events               float64 // acknowledged
}

// sampleEach is how often a program is looked at.
const sampleEach = 5 * time.Second

// watch looks at the program until the time is over.
func (s *running) watch(ctx context.Context, t *trial, lasts time.Duration) (all []sample, err error) {
	began, look := time.Now(), time.NewTicker(min(sampleEach, lasts/(3*soakRows)))
	defer look.Stop()
	for time.Since(began) < lasts {
		select {
		case <-look.C:
		case err := <-s.ended:
			s.ended <- err
			return nil, fmt.Errorf("the server ended by itself: %w", err)
		case <-ctx.Done():
			return nil, ctx.Err()
		}
		now, err := s.look(ctx, t)
		if err != nil {
			return nil, err
		}
		now.at = time.Since(began)
		all = append(all, now)
	}
	return all, nil
}

// look reads what the program takes now. What it does not share with its own file is its
// memory: the pages of the file that are in use come and go as the system likes.
func (s *running) look(ctx context.Context, t *trial) (now sample, err error) {
	proc := fmt.Sprintf("/proc/%d", s.cmd.Process.Pid)
	status, err := os.ReadFile(filepath.Join(proc, "status"))
	if err != nil {
		return now, err
	}
	for line := range strings.Lines(string(status)) {
		if kibibytes, ok := strings.CutPrefix(line, "RssAnon:"); ok {
			now.resident, err = strconv.ParseFloat(strings.TrimSuffix(strings.TrimSpace(kibibytes), " kB"), 64)
			now.resident *= 1 << 10
		}
	}
	open, unread := os.ReadDir(filepath.Join(proc, "fd"))
	now.handles, now.events = float64(len(open)), float64(t.load.Acknowledged())
	told, untold := s.metrics(ctx, t.token)
	now.heap, now.goroutines = told["go_memstats_heap_alloc_bytes"], told["go_goroutines"]
	var unmeasured error
	now.disk, unmeasured = sizeOf(t.folder)
	return now, errors.Join(err, unread, untold, unmeasured)
}

// metrics asks the program for its numbers without labels.
func (s *running) metrics(ctx context.Context, token string) (told map[string]float64, err error) {
	_, text, err := s.get(ctx, token, "/metrics")
	told = map[string]float64{}
	for line := range strings.Lines(text) {
		name, value, _ := strings.Cut(strings.TrimSpace(line), " ")
		if number, err := strconv.ParseFloat(value, 64); err == nil {
			told[name] = number
		}
	}
	return told, err
}

// sizeOf returns the bytes of all files under a folder. Files may go while it looks.
func sizeOf(folder string) (bytes float64, err error) {
	err = filepath.WalkDir(folder, func(_ string, d fs.DirEntry, err error) error {
		if errors.Is(err, fs.ErrNotExist) {
			return nil
		}
		if err != nil || d.IsDir() {
			return err
		}
		stat, err := d.Info()
		if errors.Is(err, fs.ErrNotExist) {
			return nil
		}
		if err == nil {
			bytes += float64(stat.Size())
		}
		return err
	})
	return bytes, err
}
