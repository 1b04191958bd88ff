// Command stores loads the same invented facts into DuckDB and ClickHouse, by the
// product's own way of writing and by that of the raw drivers, and into PostgreSQL.
// It asks every report of each, refuses to go on where two answers differ, and
// prints times as ratios. PostgreSQL is a third implementation for comparison; no
// part of the product uses it.
package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"os/signal"
	"path/filepath"
	"syscall"
)

// options are what the command line says.
type options struct {
	facts  int
	seed   uint64
	runs   int
	memory int64 // MiB for DuckDB; 0 is the product's default
	out    string
	folder string
}

func main() {
	opts, err := parse(os.Args[1:])
	if errors.Is(err, flag.ErrHelp) {
		return
	}
	if err == nil {
		ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
		defer stop()
		err = run(ctx, opts)
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, "stores:", err)
		os.Exit(1)
	}
}

// parse reads the command line and refuses what makes no sense.
func parse(args []string) (options, error) {
	var o options
	flags := flag.NewFlagSet("stores", flag.ContinueOnError)
	flags.SetOutput(io.Discard)
	flags.IntVar(&o.facts, "facts", 1_000_000, "facts to load, 10000 to 100000000")
	flags.Uint64Var(&o.seed, "seed", 1, "seed of the facts")
	flags.IntVar(&o.runs, "runs", 5, "warm runs of each report, of which the median counts; an odd number")
	flags.Int64Var(&o.memory, "duckdb-memory", 0, "memory limit of DuckDB in MiB; 0 is the product's default")
	flags.StringVar(&o.out, "out", "", "file to write the tables to, beside printing them")
	flags.StringVar(&o.folder, "folder", os.TempDir(), "folder for the data, which is deleted at the end")
	err := flags.Parse(args)
	switch {
	case errors.Is(err, flag.ErrHelp):
		flags.SetOutput(os.Stdout)
		flags.Usage()
		return o, err
	case err != nil:
		return o, err
	case flags.NArg() > 0:
		return o, fmt.Errorf("argument %q: only flags are taken, see --help", flags.Arg(0))
	case o.facts < 10_000 || o.facts > 100_000_000:
		return o, fmt.Errorf("--facts %d: give 10000 to 100000000", o.facts)
	case o.runs < 1 || o.runs > 99 || o.runs%2 == 0:
		return o, fmt.Errorf("--runs %d: give an odd number from 1 to 99", o.runs)
	case o.memory < 0 || o.memory > 1<<20:
		return o, fmt.Errorf("--duckdb-memory %d: give 0 to %d MiB", o.memory, 1<<20)
	}
	if info, err := os.Stat(o.folder); err != nil || !info.IsDir() {
		return o, fmt.Errorf("--folder %q: give a folder that is there", o.folder)
	}
	if o.out == "" {
		return o, nil
	}
	if info, err := os.Stat(filepath.Dir(o.out)); err != nil || !info.IsDir() {
		return o, fmt.Errorf("--out %q: give a file in a folder that is there", o.out)
	}
	if info, err := os.Stat(o.out); err == nil && !info.Mode().IsRegular() {
		return o, fmt.Errorf("--out %q: give a file", o.out)
	}
	return o, nil
}

// run measures, prints and writes the tables.
func run(ctx context.Context, o options) (err error) {
	folder, err := os.MkdirTemp(o.folder, "daysheet-stores-")
	if err != nil {
		return fmt.Errorf("make a folder for the data: %w", err)
	}
	defer func() { err = errors.Join(err, os.RemoveAll(folder)) }()
	if err := os.Chmod(folder, 0o711); err != nil { // PostgreSQL runs as somebody else
		return fmt.Errorf("open the folder of the data to PostgreSQL: %w", err)
	}
	b := &bench{options: o, folder: folder}
	report, err := b.measure(ctx)
	if err != nil {
		return err
	}
	fmt.Print(report)
	if o.out == "" {
		return nil
	}
	if err := os.WriteFile(o.out, []byte(report), 0o644); err != nil {
		return fmt.Errorf("write the tables: %w", err)
	}
	return nil
}
