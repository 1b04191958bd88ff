// Command cluster runs the house of deploy/ on one machine, as plain processes on
// the loopback interface: three NATS servers, ClickHouse, and ledgers on both
// stores. "cluster up" serves it until it is stopped; "cluster chaos" kills and
// parts its members under load, and proves that nothing acknowledged is lost;
// "cluster secrets" makes the certificates, keys and password of a house elsewhere.
package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"os"
	"os/signal"
	"time"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	if err := run(ctx, os.Args[1:]); err != nil {
		fmt.Fprintln(os.Stderr, "cluster:", err)
		os.Exit(1)
	}
}

func run(ctx context.Context, args []string) (err error) {
	if len(args) > 0 && args[0] == "secrets" {
		return secrets(args[1:])
	}
	if len(args) == 0 || args[0] != "up" && args[0] != "chaos" {
		return errors.New("say what to do: cluster up, cluster chaos or cluster secrets")
	}
	flags := flag.NewFlagSet(args[0], flag.ContinueOnError)
	var c chaos
	folder := flags.String("folder", "", "folder for data and logs; a temporary one, removed at the end, if not given")
	flags.DurationVar(&c.killing, "killing", time.Minute, "how long leaders are killed")
	flags.DurationVar(&c.parted, "parted", 20*time.Second, "how long a node is cut off")
	flags.DurationVar(&c.without, "without", time.Minute, "how long ClickHouse is gone")
	flags.BoolVar(&c.disk, "disk", true, "whether a node loses its disk")
	flags.IntVar(&c.writers, "writers", 16, "writers that send at the same time")
	flags.Uint64Var(&c.seed, "seed", 1, "seed of the moments")
	if err := flags.Parse(args[1:]); err != nil {
		return err
	}
	if *folder == "" {
		if *folder, err = os.MkdirTemp("", "cluster-"); err != nil {
			return err
		}
		defer func() { err = errors.Join(err, os.RemoveAll(*folder)) }()
	}
	t, err := up(ctx, *folder)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, t.down()) }()
	fmt.Printf("NATS at %s\nClickHouse at %s\none process with DuckDB at %s\nintake at %s, projector at %s, reporting "+
		"at %s\n",
		t.nats.url(), t.click.address(), t.plain.address, t.intake.address, t.projector.address, t.reporting.address)
	if args[0] == "up" {
		<-ctx.Done()
		return nil
	}
	return c.run(ctx, t)
}
