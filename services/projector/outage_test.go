package projector

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"strings"
	"sync/atomic"
	"testing"

	"daysheet/events"
	"daysheet/services/eventlog"
	"daysheet/services/facts"
	"daysheet/services/facts/duckdb"
)

var errAway = errors.New("the server is away")

// shaky is a real store whose server can be away.
type shaky struct {
	*duckdb.Store
	away   atomic.Bool
	says   error         // while it is away; nil is errAway
	failed chan struct{} // gets one for a call that failed, while there is room
}

func (s *shaky) check() error {
	if !s.away.Load() {
		return nil
	}
	select {
	case s.failed <- struct{}{}:
	default:
	}
	return cmp.Or(s.says, errAway)
}

func (s *shaky) Position(ctx context.Context, partition uint8) (uint64, error) {
	if err := s.check(); err != nil {
		return 0, err
	}
	return s.Store.Position(ctx, partition)
}

func (s *shaky) Write(ctx context.Context, b facts.Batch) error {
	if err := s.check(); err != nil {
		return err
	}
	return s.Store.Write(ctx, b)
}

func passes(err error) bool { return errors.Is(err, errAway) }

// launch runs a projector, or an observer, that outlasts outages.
func launch(t *testing.T, log Log, store facts.Store, run func(*Projector, context.Context) error) *running {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	r := &running{Projector: New(log, store, nil), end: cancel, done: make(chan error, 1)}
	r.Outlast(passes)
	go func() { r.done <- run(r.Projector, ctx) }()
	t.Cleanup(func() { r.stop(t) })
	return r
}

// TestOutageOfTheStore takes the store away while commits come in, as a server goes away and
// as the store in this process does on a disk that is full. The projector says so, goes on
// recording nothing, and catches up by itself.
func TestOutageOfTheStore(t *testing.T) {
	for name, says := range map[string]error{"away": errAway, "full": duckdb.ErrUnwritten, "stopped": duckdb.ErrStopped} {
		t.Run(name, func(t *testing.T) { outlives(t, says) })
	}
}

func outlives(t *testing.T, says error) {
	log := openLog(t, nil)
	store := &shaky{Store: openStore(t), says: says, failed: make(chan struct{}, 1)}
	store.away.Store(true) // from the start
	mustRecord(t, log, firm, opened("stairwell-7"))
	p := launch(t, log, store, (*Projector).Run)
	<-store.failed
	store.away.Store(false)
	if err := p.Wait(testContext(t), firm, 1); err != nil {
		t.Fatal(err)
	}
	for i := range 2 {
		store.away.Store(true)
		last := mustRecord(t, log, firm, booked(fmt.Sprintf("hours-%04d", i), "stairwell-7", 90))
		for range 3 {
			<-store.failed
		}
		trouble, ok := p.Trouble()
		if !ok || trouble.Stopped || trouble.Since.IsZero() || !errors.Is(trouble.Err, says) ||
			errors.Is(says, errAway) && !strings.Contains(trouble.Where, "sequence") {
			t.Errorf("the trouble is %+v (%t)", trouble, ok)
		}
		store.away.Store(false)
		if err := p.Wait(testContext(t), firm, last); err != nil {
			t.Fatal(err)
		}
		if trouble, ok := p.Trouble(); ok {
			t.Errorf("after it is over the trouble is %+v", trouble)
		}
	}
	same(t, "after the outages", read(t, store.Store, firm), read(t, rebuilt(t, log), firm))
}

// TestStoreThatLostItsEnd gives the projector an older copy of its store in the
// middle of its work. It starts again from there.
func TestStoreThatLostItsEnd(t *testing.T) {
	log := openLog(t, nil)
	store := &swapped{}
	store.shaky.Store(&shaky{Store: openStore(t), failed: make(chan struct{}, 1)})
	p := launch(t, log, store, (*Projector).Run)
	mustRecord(t, log, firm, opened("stairwell-7"))
	if err := p.Wait(testContext(t), firm, mustRecord(t, log, firm, booked("hours-0001", "stairwell-7", 90))); err != nil {
		t.Fatal(err)
	}
	before := store.shaky.Load()
	before.away.Store(true)
	last := mustRecord(t, log, firm, booked("hours-0002", "stairwell-7", 30))
	<-before.failed
	empty := openStore(t)
	store.shaky.Store(&shaky{Store: empty, failed: make(chan struct{}, 1)})
	for at := uint64(0); at < last; { // the board stood higher before
		var err error
		if at, err = empty.Position(testContext(t), eventlog.Partition(firm)); err != nil {
			t.Fatal(err)
		}
	}
	if err := p.Wait(testContext(t), firm, last); err != nil {
		t.Fatal(err)
	}
	same(t, "after a fresh start", read(t, empty, firm), read(t, rebuilt(t, log), firm))
}

// swapped is a store that can become another one.
type swapped struct {
	facts.Store
	shaky atomic.Pointer[shaky]
}

func (s *swapped) Position(ctx context.Context, partition uint8) (uint64, error) {
	return s.shaky.Load().Position(ctx, partition)
}

func (s *swapped) Write(ctx context.Context, b facts.Batch) error {
	return s.shaky.Load().Write(ctx, b)
}

// TestDamageIsNoOutage: waiting does not mend a log, and the trouble says where.
func TestDamageIsNoOutage(t *testing.T) {
	log := openRawLog(t)
	mustRecord(t, log.Log, firm, opened("stairwell-7"))
	at := log.put(t, "stairwell-7", []byte("{"))
	p := launch(t, log, openStore(t), (*Projector).Run)
	var damage *DamageError
	if err := p.failure(t); !errors.As(err, &damage) || damage.Sequence != at {
		t.Errorf("run returned %v, want damage at %d", err, at)
	}
	if trouble, ok := p.Trouble(); !ok || !trouble.Stopped || !strings.Contains(trouble.Where, "sequence 2") {
		t.Errorf("the trouble is %+v (%t)", trouble, ok)
	}
}

// TestObserve serves from a store that another projector fills: commits are told
// once the store holds them, names are known, and an outage passes.
func TestObserve(t *testing.T) {
	log := openLog(t, nil)
	filled := openStore(t)
	store := &shaky{Store: filled, failed: make(chan struct{}, 1)}
	mustRecord(t, log, firm, opened("stairwell-7"))
	writer := start(t, log, filled, defaultLimits)
	if err := writer.Wait(testContext(t), firm, 1); err != nil {
		t.Fatal(err)
	}
	o := launch(t, log, store, (*Projector).Observe)
	if err := o.Wait(testContext(t), firm, 1); err != nil {
		t.Fatal(err)
	}
	notices, stop := o.Watch(firm)
	defer stop()
	writer.stop(t)
	last := mustRecord(t, log, firm, listed("listed-0001", "matt", "Matt white"))
	if lag, err := o.Lag(testContext(t)); err != nil || lag != 1 {
		t.Errorf("lag is %d (%v) while nobody projects, want 1", lag, err)
	}
	if _, err := o.Names(testContext(t), firm); err != nil {
		t.Error(err)
	}
	store.away.Store(true)
	<-store.failed
	again := start(t, log, filled, defaultLimits)
	if err := again.Wait(testContext(t), firm, last); err != nil {
		t.Fatal(err)
	}
	if at := o.Position(eventlog.Partition(firm)); at != last-1 {
		t.Errorf("the observer stands at %d without its store, want %d", at, last-1)
	}
	store.away.Store(false)
	select {
	case got := <-notices:
		if want := (Notice{events.FirmJob, last}); got != want {
			t.Errorf("notice %+v, want %+v", got, want)
		}
	case <-testContext(t).Done():
		t.Fatal("no notice")
	}
	if names, err := o.Names(testContext(t), firm); err != nil || names.Products["matt"] == "" {
		t.Errorf("the product is called %q (%v)", names.Products["matt"], err)
	}
	if trouble, ok := o.Trouble(); ok {
		t.Errorf("after it is over the trouble is %+v", trouble)
	}
}
