package main

import (
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"time"
)

// growth is the measurement at several sizes.
type growth struct {
	program, load string
	facts         []int
	firms         int
	seed          uint64
	quick         bool
	out           string
}

// grown is what was measured at one size: a line of growth.jsonl.
type grown struct {
	counts
	Seed       uint64
	Processors int
	SyncsPerS  float64 // appends of 600 bytes that this disk brings down in a second, one by one
	Measures   map[string]float64
	Empty      []string // reports that have no rows at this size, and were not timed
}

func growthCommand(ctx context.Context, args []string) error {
	var g growth
	var facts string
	flags := flag.NewFlagSet("growth", flag.ContinueOnError)
	flags.StringVar(&g.program, "program", "bin/daysheet", "program to measure")
	flags.StringVar(&g.load, "load", "bin/load", "program that invents the ledger")
	flags.StringVar(&facts, "facts", "1000,100000,1000000", "about how many facts, sizes with commas between")
	flags.IntVar(&g.firms, "firms", 1, "firms that the facts are spread over; the first is asked")
	flags.Uint64Var(&g.seed, "seed", 1, "seed of the ledger")
	flags.BoolVar(&g.quick, "quick", false, "few rounds of each, to see that all works")
	flags.StringVar(&g.out, "out", "growth.jsonl", "file for a line of JSON for each size")
	if err := parseFlags(flags, args); err != nil {
		return err
	}
	var err error
	if g.facts, err = numbers("facts", facts, 1000, 10_000_000); err != nil {
		return err
	}
	if g.firms < 1 || g.firms > 1000 {
		return fmt.Errorf("--firms %d: give 1 to 1000", g.firms)
	}
	return g.run(ctx)
}

func (g *growth) run(ctx context.Context) (err error) {
	out, err := os.Create(g.out)
	if err != nil {
		return fmt.Errorf("write what is measured: %w", err)
	}
	defer func() { err = errors.Join(err, out.Close()) }()
	for _, facts := range g.facts {
		line, err := g.measure(ctx, facts)
		if err != nil {
			return fmt.Errorf("measure at %d facts: %w", facts, err)
		}
		if err := json.NewEncoder(out).Encode(line); err != nil {
			return fmt.Errorf("write what is measured: %w", err)
		}
	}
	return nil
}

// factsOfJob is about how many facts an invented job makes, and jobsOfCalendar how many
// jobs the calendar of an invented firm holds; a ledger has the jobs of many.
const (
	factsOfJob     = 306
	jobsOfCalendar = 500
)

// measure makes a ledger in a fresh folder and measures it.
func (g *growth) measure(ctx context.Context, facts int) (_ grown, err error) {
	folder, err := os.MkdirTemp("", "daysheet-growth-")
	if err != nil {
		return grown{}, err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(folder)) }()
	m := &meter{ledger: ledger{program: g.program, folder: filepath.Join(folder, "data")}, quick: g.quick, seed: g.seed,
		size: facts, since: time.Now(), measures: map[string]float64{}}
	syncs, err := syncsPerSecond(folder)
	if err != nil {
		return grown{}, err
	}
	if err := g.fill(ctx, m, folder, facts); err != nil {
		return grown{}, err
	}
	c, err := m.measureAll(ctx)
	if err != nil {
		return grown{}, err
	}
	m.say("done")
	return grown{counts: c, Seed: g.seed, Processors: runtime.NumCPU(), SyncsPerS: syncs, Measures: m.measures,
		Empty: m.empty}, nil
}

// fill invents the ledger and imports it, a firm after the other.
func (g *growth) fill(ctx context.Context, m *meter, folder string, facts int) error {
	jobs := max(1, facts/factsOfJob/g.firms)
	calendars := (jobs + jobsOfCalendar - 1) / jobsOfCalendar
	m.say("inventing %d jobs for each of %d firms", jobs, g.firms)
	made := exec.CommandContext(ctx, g.load, "--firms", fmt.Sprint(calendars), "--jobs", fmt.Sprint(jobs/calendars),
		"--seed", fmt.Sprint(g.seed), "--many", fmt.Sprint(g.firms), "--out", folder)
	if said, err := made.CombinedOutput(); err != nil {
		return fmt.Errorf("invent the ledger: %w\n%s", err, said)
	}
	if err := m.addToken(ctx); err != nil {
		return err
	}
	m.say("importing")
	total, start := 0, time.Now()
	for n := range g.firms {
		events, err := m.importFile(ctx, filepath.Join(folder, fmt.Sprintf("%d.jsonl", n+1)), firmOf(n+1))
		if err != nil {
			return err
		}
		total += events
	}
	m.measures["import events/s"] = float64(total) / time.Since(start).Seconds()
	return nil
}

// syncsPerSecond appends to a file for a second and waits for the disk each time: the
// figure by which one disk's measurements are compared with another's.
func syncsPerSecond(folder string) (_ float64, err error) {
	f, err := os.Create(filepath.Join(folder, "syncs"))
	if err != nil {
		return 0, fmt.Errorf("measure the disk: %w", err)
	}
	defer func() { err = errors.Join(err, f.Close(), os.Remove(f.Name())) }()
	record, n := make([]byte, 600), 0
	start := time.Now()
	for ; time.Since(start) < time.Second; n++ {
		if _, err := f.Write(record); err != nil {
			return 0, fmt.Errorf("measure the disk: %w", err)
		}
		if err := f.Sync(); err != nil {
			return 0, fmt.Errorf("measure the disk: %w", err)
		}
	}
	return float64(n) / time.Since(start).Seconds(), nil
}
