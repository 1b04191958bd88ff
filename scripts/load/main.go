// Command load writes a large invented ledger as JSON lines of events, to be
// imported: the jobs of many invented firms under one. It is for measuring.
package main

import (
	"bufio"
	"flag"
	"fmt"
	"os"
	"time"

	"daysheet/events"
	"daysheet/services/daysheet/demo"
)

func main() {
	firms := flag.Int("firms", 12, "invented firms of 500 jobs each; twelve make about a million facts")
	seed := flag.Uint64("seed", 1, "seed of the first")
	flag.Parse()
	if err := write(*firms, *seed); err != nil {
		fmt.Fprintln(os.Stderr, "load:", err)
		os.Exit(1)
	}
}

func write(firms int, seed uint64) error {
	out := bufio.NewWriterSize(os.Stdout, 1<<20)
	today := time.Date(2026, 6, 30, 18, 0, 0, 0, time.UTC)
	number := 0
	for firm, err := range demo.Firms(demo.Options{Seed: seed, Today: today, Jobs: demo.JobsMax}, firms) {
		if err != nil {
			return err
		}
		for s := range firm.Submissions() {
			if s.Job == events.FirmJob && number > 0 {
				continue // they all list the same things
			}
			for _, e := range s.Events {
				if e.Subject != events.FirmJob {
					e.Subject = fmt.Sprintf("f%d-%s", number, e.Subject)
				}
				line, err := e.MarshalJSON()
				if err != nil {
					return err
				}
				if _, err := out.Write(append(line, '\n')); err != nil {
					return err
				}
			}
		}
		number++
	}
	return out.Flush()
}
