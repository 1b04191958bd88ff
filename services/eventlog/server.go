package eventlog

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"time"

	"github.com/nats-io/nats-server/v2/server"
)

// embedded is a server inside this process, and the lock on its folder.
type embedded struct {
	server *server.Server
	lock   *os.File
	broken *breakage

	shelves [Partitions]*shelf // nil where the files are behind what is acknowledged
}

// shelf returns the partition's; nil where there is none.
func (e *embedded) shelf(partition uint8) *shelf {
	if e == nil {
		return nil
	}
	return e.shelves[partition]
}

// startTimeout bounds the start of the server. It is long because after a crash
// the server reads the whole log again: about a second per million commits.
const startTimeout = 10 * time.Minute

// startEmbedded locks the folder and starts a server in it.
func startEmbedded(ctx context.Context, cfg Config) (*embedded, error) {
	lock, err := lockFolder(cfg.Dir)
	if err != nil {
		return nil, err
	}
	if err := notMoved(cfg.Dir); err != nil {
		return nil, errors.Join(err, lock.Close())
	}
	shelves, err := examine(cfg.Dir)
	if err != nil {
		return nil, errors.Join(err, lock.Close())
	}
	if cfg.syncLater {
		shelves = [Partitions]*shelf{} // what is acknowledged is not in the files yet
	}
	broken := newBreakage()
	s, err := startServer(ctx, cfg, broken)
	if err != nil {
		return nil, errors.Join(fmt.Errorf("start log server in %s: %w", cfg.Dir, err), lock.Close())
	}
	return &embedded{s, lock, broken, shelves}, nil
}

func startServer(ctx context.Context, cfg Config, broken *breakage) (*server.Server, error) {
	s, err := server.NewServer(&server.Options{
		ServerName:         "daysheet",
		DontListen:         true,
		NoSigs:             true, // it would end the process by itself on a signal
		JetStream:          true,
		StoreDir:           cfg.Dir,
		SyncAlways:         !cfg.syncLater, // acknowledged means on disk
		JetStreamMaxMemory: 64 << 20,
		// Each stream has its own limit; this one only keeps the server from
		// taking the free disk at the time of the start for its limit.
		JetStreamMaxStore:      Partitions * maxBytesMost,
		DisableJetStreamBanner: true,
	})
	if err != nil {
		return nil, err
	}
	bridge := &bridge{logger: cfg.Logger, fatal: make(chan string, 1), broken: broken}
	s.SetLoggerV2(bridge, false, false, false)
	ready := make(chan bool, 1)
	go func() {
		s.Start()
		ready <- s.ReadyForConnections(startTimeout) && s.JetStreamEnabled()
	}()
	select {
	case ok := <-ready:
		if ok {
			return s, nil
		}
		err = errors.New("it did not become ready")
	case text := <-bridge.fatal:
		err, _ = asError(text)
	case <-ctx.Done():
		err = ctx.Err()
	}
	s.Shutdown()
	s.WaitForShutdown()
	return nil, err
}

// stop ends the server and gives the folder back.
func (e *embedded) stop() error {
	e.server.Shutdown()
	e.server.WaitForShutdown()
	if err := e.lock.Close(); err != nil {
		return fmt.Errorf("unlock data folder: %w", err)
	}
	return nil
}

// bridge passes the server's log on. The server calls Fatalf and carries on, so
// the first such text is what makes the start fail.
type bridge struct {
	logger *slog.Logger
	fatal  chan string
	broken *breakage
}

func (b *bridge) say(level slog.Level, format string, args []any) {
	if b.logger.Enabled(context.Background(), level) {
		b.logger.Log(context.Background(), level, fmt.Sprintf(format, args...), "from", "nats")
	}
}

// Noticef is called for the course of an ordinary start, which nobody reads.
func (b *bridge) Noticef(format string, args ...any) { b.say(slog.LevelDebug, format, args) }

// Debugf is never called, since debugging is off.
func (b *bridge) Debugf(format string, args ...any) { b.say(slog.LevelDebug, format, args) }

// Tracef is never called, since tracing is off.
func (b *bridge) Tracef(format string, args ...any) { b.say(slog.LevelDebug, format, args) }

// Warnf is called for what an operator should look at.
func (b *bridge) Warnf(format string, args ...any) {
	b.say(slog.LevelWarn, format, args)
	b.broken.hear(fmt.Sprintf(format, args...))
}

// Errorf is called for what went wrong.
func (b *bridge) Errorf(format string, args ...any) {
	b.say(slog.LevelError, format, args)
	b.broken.hear(fmt.Sprintf(format, args...))
}

// Fatalf is called for what makes the server useless.
func (b *bridge) Fatalf(format string, args ...any) {
	b.say(slog.LevelError, format, args)
	select {
	case b.fatal <- fmt.Sprintf(format, args...):
	default:
	}
}
