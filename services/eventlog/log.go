package eventlog

import (
	"context"
	"errors"
	"fmt"
	"sync"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"daysheet/events"
)

// Log is an open log. It is made by [Open]; all methods are safe for concurrent
// use.
type Log struct {
	cfg     Config
	inside  *embedded // nil where the server is external
	nc      *nats.Conn
	js      jetstream.JetStream
	streams [Partitions]jetstream.Stream
	folds   *folds

	// Following has a connection of its own, so that a replay at full speed does
	// not stand between a commit and its acknowledgement.
	tailConn *nats.Conn
	tail     jetstream.JetStream

	quiet, tailQuiet silence // of nc and of tailConn

	mu        sync.Mutex // guards closed, and running against Add after Wait
	closed    bool
	running   sync.WaitGroup // operations that Close waits for
	following context.Context
	stop      context.CancelFunc // ends following
}

// Open opens the log, and makes its streams where they are missing. It fails if
// the configuration makes no sense (code Invalid), if another process uses the
// folder, if the server does not start or cannot be reached, and if a stream is
// set up as a weaker ledger than it must be.
func Open(ctx context.Context, cfg Config) (_ *Log, err error) {
	if cfg, err = cfg.withDefaults(); err != nil {
		return nil, err
	}
	l := &Log{cfg: cfg, folds: newFolds(cfg.CachedJobs)}
	l.quiet.worth = cfg.URL != ""
	l.tailQuiet.worth = l.quiet.worth
	l.following, l.stop = context.WithCancel(context.Background())
	defer func() {
		if err != nil {
			err = errors.Join(err, l.Close())
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
	if l.nc, l.js, err = l.connect(ctx, "daysheet"); err != nil {
		return nil, err
	}
	if l.tailConn, l.tail, err = l.connect(ctx, "daysheet follow"); err != nil {
		return nil, err
	}
	if l.streams, err = openStreams(ctx, l.js, cfg, l.inside); err != nil {
		return nil, err
	}
	return l, nil
}

func (l *Log) connect(ctx context.Context, name string) (*nats.Conn, jetstream.JetStream, error) {
	nc, err := connect(ctx, l.cfg, l.inside, name)
	if err != nil {
		return nil, nil, err
	}
	js, err := jetstream.New(nc, jetstream.WithDefaultTimeout(l.cfg.RequestTimeout))
	if err != nil {
		nc.Close()
		return nil, nil, fmt.Errorf("use JetStream: %w", err)
	}
	return nc, js, nil
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
	if l.nc != nil {
		l.nc.Close()
	}
	if l.tailConn != nil {
		l.tailConn.Close()
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
	for _, nc := range []*nats.Conn{l.nc, l.tailConn} {
		if status := nc.Status(); status != nats.CONNECTED {
			return fmt.Errorf("the connection to the log is %s (last error: %w)", status, lastError(nc))
		}
	}
	ctx, cancel := context.WithTimeout(ctx, l.cfg.RequestTimeout)
	defer cancel()
	if _, err := l.js.AccountInfo(ctx); err != nil {
		return fmt.Errorf("ask the log server: %w", err)
	}
	return nil
}

func lastError(nc *nats.Conn) error {
	if err := nc.LastError(); err != nil {
		return err
	}
	return errors.New("none")
}
