package eventlog

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"sync"
	"sync/atomic"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"daysheet/events"
)

// Log is an open log. It is made by [Open]; all methods are safe for concurrent
// use.
type Log struct {
	cfg     Config
	inside  *embedded           // nil where the server is external
	link    *connection         // of everything but following
	js      jetstream.JetStream // of link
	streams [Partitions]jetstream.Stream
	groups  [Partitions]*group // nil where the server is external
	folds   *folds
	name    string                       // another for each open log
	halted  atomic.Pointer[events.Error] // why nothing is recorded any more; nil while it is

	// Following has a connection of its own, so that a replay at full speed does
	// not stand between a commit and its acknowledgement.
	tail *connection

	mu        sync.Mutex // guards closed, and running against Add after Wait
	closed    bool
	running   sync.WaitGroup // operations that Close waits for
	following context.Context
	stop      context.CancelFunc // ends following
}

// Open opens the log. In an embedded one it makes the streams where they are
// missing; in an external one they must be there, see [Prepare]. It fails if the
// configuration makes no sense (code Invalid), if another process uses the folder, if
// its files are damaged ([*DamagedError]),
// if the server does not start or cannot be reached, and if a stream is missing or
// set up as a weaker ledger than it must be.
func Open(ctx context.Context, cfg Config) (_ *Log, err error) {
	if cfg, err = cfg.withDefaults(); err != nil {
		return nil, err
	}
	l := &Log{cfg: cfg, folds: newFolds(cfg.CachedJobs), name: rand.Text()}
	l.following, l.stop = context.WithCancel(context.Background())
	defer func() {
		if err != nil {
			err = errors.Join(l.inside.because(err), l.Close())
		}
	}()
	if cfg.Dir != "" {
		if err = finishRepair(cfg.Dir); err != nil {
			return nil, err
		}
		if l.inside, err = startEmbedded(ctx, cfg); err != nil {
			return nil, err
		}
	}
	if l.link, err = connect(ctx, cfg, l.inside, "daysheet"); err != nil {
		return nil, err
	}
	l.js = l.link.js
	if l.tail, err = connect(ctx, cfg, l.inside, "daysheet follow"); err != nil {
		return nil, err
	}
	if l.streams, err = openStreams(ctx, l.link, cfg, l.inside); err != nil {
		return nil, err
	}
	l.group()
	return l, nil
}

// group has commits of the embedded log sent together where they pile up.
func (l *Log) group() {
	if l.inside == nil {
		return
	}
	for partition := range l.groups {
		l.groups[partition] = &group{link: l.link, stream: streamName(uint8(partition)), patience: l.cfg.RequestTimeout}
	}
}

// Close ends every Follow, waits for what is being recorded, and closes the
// connections, the embedded server and its folder. Closing twice is fine.
func (l *Log) Close() error {
	l.mu.Lock()
	again := l.closed
	l.closed = true
	l.mu.Unlock()
	l.stop()
	l.running.Wait()
	if again {
		return nil
	}
	for _, c := range []*connection{l.link, l.tail} {
		if c != nil {
			c.close()
		}
	}
	if l.inside != nil {
		return l.inside.stop()
	}
	return nil
}

// begin registers an operation that Close waits for. The caller calls end.
func (l *Log) begin() (end func(), err error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.closed {
		return nil, errClosed()
	}
	l.running.Add(1)
	return l.running.Done, nil
}

func errClosed() error {
	return &events.Error{Code: events.Unavailable, Rule: "the log is closed"}
}

// Health says why the log cannot take commits now; nil if it can. It asks the
// server one small question, so it can be called every few seconds.
func (l *Log) Health(ctx context.Context) error {
	end, err := l.begin()
	if err != nil {
		return err
	}
	defer end()
	if err := l.Refuses(); err != nil {
		return err
	}
	for _, c := range []*connection{l.link, l.tail} {
		if status := c.Status(); status != nats.CONNECTED {
			return fmt.Errorf("the connection to the log is %s (last error: %w)", status, lastError(c.Conn))
		}
	}
	ctx, cancel := context.WithTimeout(ctx, l.cfg.RequestTimeout)
	defer cancel()
	ctx, unwatch := l.link.denials.watch(ctx, only("$JS.API.INFO"))
	defer unwatch()
	if _, err := l.js.AccountInfo(ctx); err != nil {
		return fmt.Errorf("ask the log server: %w", orDenied(ctx, err))
	}
	return nil
}

func lastError(nc *nats.Conn) error {
	if err := nc.LastError(); err != nil {
		return err
	}
	return errors.New("none")
}
