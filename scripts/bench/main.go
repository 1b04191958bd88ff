// Command bench measures the real program as its ledger grows, reads what the
// benchmarks print, writes both as a table with plots, and reckons how long commits
// of many firms wait for the disk. scripts/bench/run calls it.
package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"os"
	"os/signal"
	"strconv"
	"strings"
	"syscall"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	err := command(ctx, os.Args[1:])
	if errors.Is(err, flag.ErrHelp) {
		return
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, "bench:", err)
		os.Exit(1)
	}
}

// command runs what the first argument names.
func command(ctx context.Context, args []string) error {
	commands := map[string]func(context.Context, []string) error{
		"growth": growthCommand, "table": tableCommand, "simulate": simulateCommand,
	}
	if len(args) == 0 || commands[args[0]] == nil {
		return errors.New("give one of growth, table and simulate, and --help after it")
	}
	return commands[args[0]](ctx, args[1:])
}

// parseFlags reads the flags of a command, which takes nothing else.
func parseFlags(flags *flag.FlagSet, args []string) error {
	if err := flags.Parse(args); err != nil {
		return err
	}
	if flags.NArg() > 0 {
		return fmt.Errorf("argument %q: only flags are taken, see --help", flags.Arg(0))
	}
	return nil
}

// numbers reads whole numbers with commas between, each in the bounds.
func numbers(name, text string, least, most int) ([]int, error) {
	var all []int
	for part := range strings.SplitSeq(text, ",") {
		n, err := strconv.Atoi(strings.TrimSpace(part))
		if err != nil || n < least || n > most {
			return nil, fmt.Errorf("--%s %q: give whole numbers from %d to %d with commas between", name, part, least, most)
		}
		all = append(all, n)
	}
	return all, nil
}
