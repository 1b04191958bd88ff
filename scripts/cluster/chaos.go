package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"time"

	"daysheet/scripts/writers"
	"daysheet/services/eventlog"
)

// chaos is what is done to the topology while writers send to it.
type chaos struct {
	killing time.Duration // how long leaders are killed
	parted  time.Duration // how long a node is cut off
	without time.Duration // how long ClickHouse is gone
	disk    bool          // whether a node loses its disk
	writers int
	seed    uint64
}

// run does it, and proves afterwards that nothing acknowledged is lost or stands
// twice, and that both ledgers report the same.
func (c chaos) run(ctx context.Context, t *topology) error {
	load := writers.New(c.writers)
	sending, stop := context.WithCancel(ctx)
	defer stop()
	done := load.Persist(sending, []writers.Server{t.plain.server(), t.intake.server()})
	type phase = func(context.Context, *topology, *writers.Load) error
	for _, phase := range []phase{c.killLeaders, c.partLeader, c.loseDisk, c.stopClickHouse} {
		if err := phase(ctx, t, load); err != nil {
			stop()
			return errors.Join(err, <-done)
		}
	}
	stop()
	if err := <-done; err != nil {
		return err
	}
	if err := settle(ctx, t); err != nil {
		return err
	}
	return compare(ctx, t, load)
}

// partition is the stream that the load's firm is in.
func partition() string { return streamOf(eventlog.Partition(firm)) }

func streamOf(partition uint8) string { return fmt.Sprintf("LEDGER_%02d", partition) }

// wait lets time pass: it is the experiment, and not a wait for something.
func wait(ctx context.Context, d time.Duration) {
	select {
	case <-ctx.Done():
	case <-time.After(d):
	}
}

// killLeaders kills the server that leads the load's partition every few seconds
// and starts it again half a second later.
func (c chaos) killLeaders(ctx context.Context, t *topology, load *writers.Load) error {
	random := rand.New(rand.NewPCG(c.seed, 0))
	kills, before := 0, load.Acknowledged()
	for end := time.Now().Add(c.killing); time.Now().Before(end) && ctx.Err() == nil; {
		wait(ctx, time.Duration(2000+random.IntN(2000))*time.Millisecond)
		leader, err := t.nats.leader(ctx, partition())
		if err != nil {
			continue // none now: the cluster is choosing one
		}
		t.nats.servers[leader].kill()
		wait(ctx, 500*time.Millisecond)
		if err := t.nats.servers[leader].start(ctx); err != nil {
			return err
		}
		kills++
	}
	fmt.Printf("%d leaders killed in %v: %d events acknowledged meanwhile\n", kills, c.killing, load.Acknowledged()-before)
	if kills == 0 && c.killing > 0 {
		return errors.New("no leader was killed")
	}
	return ctx.Err()
}

// partLeader cuts the leader off from the other nodes, and lets it come back.
func (c chaos) partLeader(ctx context.Context, t *topology, load *writers.Load) error {
	leader, err := untilLeader(ctx, t)
	if err != nil {
		return err
	}
	before := load.Acknowledged()
	t.nats.part(leader, true)
	silent := silence(ctx, c.parted, load)
	during := load.Acknowledged() - before
	t.nats.part(leader, false)
	wait(ctx, 5*time.Second)
	fmt.Printf("node %d parted for %v: %d events acknowledged meanwhile, none for %v at most, %d in the 5 s after\n",
		leader, c.parted, during, silent.Round(100*time.Millisecond), load.Acknowledged()-before-during)
	if during == 0 && c.parted > 0 {
		return errors.New("nothing was acknowledged while a node was cut off: two of three nodes must be enough")
	}
	return ctx.Err()
}

// loseDisk kills the leader, takes its disk and starts it with an empty one. Once it
// has everything again another node is killed, so that what it has must serve.
func (c chaos) loseDisk(ctx context.Context, t *topology, load *writers.Load) error {
	if !c.disk {
		return nil
	}
	leader, err := untilLeader(ctx, t)
	if err != nil {
		return err
	}
	t.nats.servers[leader].kill()
	if err := t.nats.emptyDisk(leader); err != nil {
		return err
	}
	begin := time.Now()
	if err := t.nats.servers[leader].start(ctx); err != nil {
		return err
	}
	for err := t.nats.complete(ctx); err != nil; err = t.nats.complete(ctx) {
		if time.Since(begin) > 5*time.Minute || ctx.Err() != nil {
			return fmt.Errorf("a node with an empty disk does not come back: %w", err)
		}
		wait(ctx, 200*time.Millisecond)
	}
	took := time.Since(begin)
	other := t.nats.servers[(leader+1)%nodes]
	other.kill()
	if err := load.More(ctx, 100); err != nil {
		return err
	}
	fmt.Printf("node %d lost its disk: it had all again after %v, and then served without node %d; "+
		"%d events acknowledged by then\n", leader,
		took.Round(100*time.Millisecond), (leader+1)%nodes, load.Acknowledged())
	return other.start(ctx)
}

// silence lets time pass and returns how long nothing was acknowledged at a stretch.
func silence(ctx context.Context, d time.Duration, load *writers.Load) (longest time.Duration) {
	begin := time.Now()
	last, count := begin, load.Acknowledged()
	for time.Since(begin) < d && ctx.Err() == nil {
		wait(ctx, 10*time.Millisecond)
		if now := load.Acknowledged(); now > count {
			last, count = time.Now(), now
		}
		longest = max(longest, time.Since(last))
	}
	return longest
}

func untilLeader(ctx context.Context, t *topology) (int, error) {
	var err error
	for end := time.Now().Add(time.Minute); time.Now().Before(end); wait(ctx, 200*time.Millisecond) {
		var leader int
		if leader, err = t.nats.leader(ctx, partition()); err == nil {
			return leader, nil
		}
	}
	return 0, fmt.Errorf("the cluster has had no leader for a minute: %w", err)
}

// stopClickHouse kills ClickHouse for a while. Recording must go on, and the
// metrics must tell how far the facts are behind.
func (c chaos) stopClickHouse(ctx context.Context, t *topology, load *writers.Load) error {
	if c.without == 0 {
		return nil
	}
	before := load.Acknowledged()
	t.click.server.kill()
	wait(ctx, c.without)
	during := load.Acknowledged() - before
	behind, err := t.projector.lag(ctx)
	if err != nil {
		return err
	}
	if err := t.click.server.start(ctx); err != nil {
		return err
	}
	back := time.Now()
	for {
		now, err := t.projector.lag(ctx)
		if err != nil {
			return err
		}
		if now < behind/20 || ctx.Err() != nil {
			break
		}
		if time.Since(back) > 2*time.Minute {
			return fmt.Errorf("two minutes after ClickHouse came back the facts are still %d commits behind", now)
		}
		wait(ctx, 100*time.Millisecond)
	}
	fmt.Printf("ClickHouse gone for %v: %d events acknowledged meanwhile, facts %d commits behind, caught up in %v\n",
		c.without, during, behind, time.Since(back).Round(100*time.Millisecond))
	if during == 0 || behind == 0 {
		return errors.New("recording must go on without ClickHouse, and the lag must be told")
	}
	return ctx.Err()
}

// settle waits until both ledgers report at the end of the log.
func settle(ctx context.Context, t *topology) error {
	for end := time.Now().Add(2 * time.Minute); time.Now().Before(end); wait(ctx, 200*time.Millisecond) {
		one, err := t.plain.position(ctx)
		if err != nil {
			return err
		}
		other, err := t.reporting.position(ctx)
		if err != nil {
			return err
		}
		if one == other && one > 0 {
			return nil
		}
	}
	return errors.New("the two ledgers do not come to the same position")
}

// compare counts what was acknowledged, and compares the reports byte for byte.
func compare(ctx context.Context, t *topology, load *writers.Load) error {
	recorded, err := t.plain.events(ctx)
	if err != nil {
		return err
	}
	lost, doubled := load.Compare(recorded)
	position, err := t.plain.position(ctx)
	if err != nil {
		return err
	}
	differ := 0
	for _, name := range []string{"job-summary", "estimate-vs-actual", "job-types", "job-spread", "consumables",
		"cost-differences", "material-use", "protection"} {
		path := fmt.Sprintf("/v1/reports/%s.json?as_of=%d", name, position)
		one, err := t.plain.get(ctx, path)
		if err != nil {
			return err
		}
		other, err := t.reporting.get(ctx, path)
		if err != nil {
			return err
		}
		if !bytes.Equal(one, other) {
			differ++
			fmt.Printf("%s differs between the stores\n", name)
		}
	}
	fmt.Printf("%d acknowledged, %d lost, %d doubled; %d of 8 reports differ between DuckDB and ClickHouse\n",
		load.Acknowledged(), lost, doubled, differ)
	if lost+doubled+differ > 0 {
		return errors.New("the ledger does not hold what it acknowledged, or the stores differ")
	}
	return nil
}
