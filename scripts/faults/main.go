// Command faults does to a running ledger under load what machines and people do
// to one: it kills and stops the program, cuts its power and its connections, fills,
// slows and breaks its disk, takes its file handles, sets its clock, starts a second one
// beside it and flips bits in its files. It proves after each
// that nothing acknowledged was lost or counted twice, and that the program's own
// check told the truth. All moments and places follow from a seed.
package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"os"
	"os/signal"
	"strings"
	"time"
)

// about is what the help says beside the flags.
const about = `Does to a running ledger what machines and people do, and counts afterwards.
power, readonly, failing, full, restoring and slow mount a small file system, so they need root and
a loop device; clock replaces code in the memory of the program that it starts, so it
needs to be allowed to trace it, and an amd64 machine. Where something is not allowed
the fault fails, and is not passed over. The clock of the machine is never touched.`

func main() {
	h := harness{out: os.Stdout}
	var all string
	var soak time.Duration
	var perSecond int
	flag.StringVar(&h.program, "program", "bin/daysheet", "program to run")
	flag.StringVar(&all, "faults", strings.Join(faultNames(), ","), "faults to try")
	flag.IntVar(&h.kills, "kills", 50, "how often to kill it")
	flag.IntVar(&h.times, "times", 3, "how often to bring about each of the other faults")
	flag.IntVar(&h.writers, "writers", 32, "writers that send at the same time")
	flag.Uint64Var(&h.seed, "seed", 1, "seed of the moments and places")
	flag.DurationVar(&soak, "soak", 0, "serve under steady load for so long instead, and judge whether memory stays level")
	flag.IntVar(&perSecond, "rate", 30, "events a second of a soak")
	usage := flag.Usage
	flag.Usage = func() {
		fmt.Fprintln(flag.CommandLine.Output(), about)
		usage()
	}
	flag.Parse()
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	run := func() error { return h.run(ctx, strings.Split(all, ",")) }
	if soak > 0 {
		run = func() error { return h.soak(ctx, soak, perSecond) }
	}
	if err := run(); err != nil {
		fmt.Fprintln(os.Stderr, "faults:", err)
		os.Exit(1)
	}
}

// fault is one kind of trouble.
type fault struct {
	name string
	disk bool // needs a file system of its own
	try  func(context.Context, *trial) error
}

func faults() []fault {
	return []fault{
		{"kill", false, kill}, {"stop", false, pauseProgram}, {"second", false, second},
		{"power", true, power}, {"readonly", true, readOnly}, {"failing", true, failing}, {"full", true, full},
		{"slow", true, slow}, {"handles", false, handles}, {"starved", false, starved}, {"clock", false, clockJumps},
		{"bits-log", false, bitsLog}, {"bits-serving", false, bitsServing},
		{"bits-store", false, bitsStore}, {"bits-photo", false, bitsPhoto},
		{"cut", false, cut}, {"restoring", true, restoring}, // at the end: seeds go by the place
	}
}

func faultNames() (names []string) {
	for _, f := range faults() {
		names = append(names, f.name)
	}
	return names
}

// run tries the faults that are named and prints a row for each. It goes on after
// one that the ledger did not stand.
func (h *harness) run(ctx context.Context, names []string) error {
	known := map[string]int{}
	for i, f := range faults() {
		known[f.name] = i
	}
	for _, name := range names {
		if _, ok := known[name]; !ok {
			return fmt.Errorf("faults: %q is none of %s", name, strings.Join(faultNames(), ","))
		}
	}
	fmt.Fprintln(h.out, "| fault | times | acknowledged | lost | doubled | verify said | true | the operator read |")
	fmt.Fprintln(h.out, "|---|--:|--:|--:|--:|---|---|---|")
	var failures []error
	for _, name := range names {
		if err := h.one(ctx, known[name]); err != nil {
			failures = append(failures, fmt.Errorf("%s: %w", name, err))
		}
	}
	return errors.Join(failures...)
}
