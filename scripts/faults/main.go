// Command faults kills a running ledger with SIGKILL at random moments under
// load, and proves afterwards that nothing acknowledged was lost or counted
// twice. The moments follow from a seed.
package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"os/signal"
	"time"

	"daysheet/scripts/writers"
)

func main() {
	var h harness
	flag.StringVar(&h.program, "program", "bin/daysheet", "program to run")
	flag.IntVar(&h.kills, "kills", 50, "how often to kill it")
	flag.IntVar(&h.writers, "writers", 16, "writers that send at the same time")
	flag.Uint64Var(&h.seed, "seed", 1, "seed of the moments")
	flag.Parse()
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	if err := h.run(ctx); err != nil {
		fmt.Fprintln(os.Stderr, "faults:", err)
		os.Exit(1)
	}
}

// run kills the server kills times and then counts.
func (h *harness) run(ctx context.Context) (err error) {
	if h.folder, err = os.MkdirTemp("", "faults-"); err != nil {
		return err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(h.folder)) }()
	if err := h.prepare(ctx); err != nil {
		return err
	}
	random := rand.New(rand.NewPCG(h.seed, 0))
	load := writers.New(h.writers)
	for n := range h.kills {
		moment := time.Duration(50+random.IntN(1200)) * time.Millisecond
		if err := h.round(ctx, load, moment); err != nil {
			return fmt.Errorf("kill %d after %v: %w", n+1, moment, err)
		}
		fmt.Printf("kill %2d after %4d ms: %6d acknowledged so far, verify found nothing\n",
			n+1, moment.Milliseconds(), load.Acknowledged())
	}
	return h.count(ctx, load)
}

// round serves, sends until the moment, kills, and verifies.
func (h *harness) round(ctx context.Context, load *writers.Load, moment time.Duration) error {
	server, err := h.serve(ctx)
	if err != nil {
		return err
	}
	sending, stop := context.WithCancel(ctx)
	done := load.Start(sending, writers.Server{Base: server.base, Token: h.token})
	select {
	case <-time.After(moment): // the moment is the experiment, not a wait for something
	case err := <-server.ended:
		stop()
		return fmt.Errorf("the server ended by itself: %w", err)
	}
	if err := server.kill(); err != nil {
		stop()
		return err
	}
	stop()
	if err := <-done; err != nil {
		return err
	}
	return h.verify(ctx)
}

// count serves once more, lets every writer finish what it had in flight, and
// compares the ledger with what was acknowledged.
func (h *harness) count(ctx context.Context, load *writers.Load) error {
	server, err := h.serve(ctx)
	if err != nil {
		return err
	}
	if err := load.Finish(ctx, writers.Server{Base: server.base, Token: h.token}); err != nil {
		return errors.Join(err, server.kill())
	}
	recorded, err := server.events(ctx, h.token)
	if err := errors.Join(err, server.kill()); err != nil {
		return err
	}
	if err := h.verify(ctx); err != nil {
		return err
	}
	lost, doubled := load.Compare(recorded)
	fmt.Printf("%d kills, %d acknowledged, %d lost, %d doubled\n", h.kills, load.Acknowledged(), lost, doubled)
	if lost+doubled > 0 {
		return errors.New("the ledger does not hold what it acknowledged")
	}
	return nil
}
