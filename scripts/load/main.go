// Command load writes a large invented ledger as JSON lines of events, to be
// imported: the jobs of many invented firms under one, or with --many those of each
// firm in a file of its own. It is for measuring.
package main

import (
	"bufio"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"

	"daysheet/events"
	"daysheet/services/daysheet/demo"
)

// options are what the command line says.
type options struct {
	firms  int
	jobs   int
	seed   uint64
	many   int
	folder string
}

func main() {
	var o options
	flag.IntVar(&o.firms, "firms", 12, "invented firms whose jobs are put under one; twelve of 500 jobs make about a "+
		"million facts")
	flag.IntVar(&o.jobs, "jobs", demo.JobsMax, "finished jobs of each firm, 1 to 500")
	flag.Uint64Var(&o.seed, "seed", 1, "seed of the first firm")
	flag.IntVar(&o.many, "many", 0, "ledgers to write, each of that many firms, to files 1.jsonl and so on in --out; 0 "+
		"writes one to standard output")
	flag.StringVar(&o.folder, "out", "", "folder for the files of --many")
	flag.Parse()
	if err := o.run(); err != nil {
		fmt.Fprintln(os.Stderr, "load:", err)
		os.Exit(1)
	}
}

// run writes one ledger or many, no two with a firm in common.
func (o options) run() error {
	switch {
	case o.firms < 1:
		return fmt.Errorf("--firms %d: give 1 or more", o.firms)
	case o.many < 0:
		return fmt.Errorf("--many %d: give 0 or more", o.many)
	case (o.many > 0) != (o.folder != ""):
		return errors.New("--many and --out: give both or none")
	case o.many == 0:
		return o.write(os.Stdout, o.seed)
	}
	for n := range o.many {
		f, err := os.Create(filepath.Join(o.folder, fmt.Sprintf("%d.jsonl", n+1)))
		if err != nil {
			return fmt.Errorf("write ledger %d: %w", n+1, err)
		}
		if err := errors.Join(o.write(f, o.seed+uint64(n*o.firms)), f.Close()); err != nil {
			return fmt.Errorf("write ledger %d: %w", n+1, err)
		}
	}
	return nil
}

func (o options) write(to io.Writer, seed uint64) error {
	out := bufio.NewWriterSize(to, 1<<20)
	today := time.Date(2026, 6, 30, 18, 0, 0, 0, time.UTC)
	number := 0
	for firm, err := range demo.Firms(demo.Options{Seed: seed, Today: today, Jobs: o.jobs}, o.firms) {
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
