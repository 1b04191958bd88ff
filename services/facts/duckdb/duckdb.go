// Package duckdb keeps facts in a DuckDB file in this process. It is the store
// of a daysheet that runs on one machine.
//
// A batch and its position are one transaction, so a process that is killed
// loses nothing that Write said is there. The tables have no keys and no
// indexes and are never altered: a file with another schema is not changed but
// left for a new one, which is filled from the log. One process at a time can
// have the file open.
package duckdb

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"

	"daysheet/services/facts"
)

// Options bounds what a store may use.
type Options struct {
	MemoryLimit int64 // bytes for DuckDB's own memory, not Go's. Defaults to 192 MiB
	Threads     int   // threads of one query. Defaults to the number of processors
}

const (
	// memoryLimitDefault is room enough for every report on a million facts:
	// what does not fit is read from the file again, or put beside it for a while.
	memoryLimitDefault = 192 << 20

	// readersMax bounds queries at work at the same time; more of them wait.
	readersMax = 8

	// The write-ahead log is moved into the file after the write that leaves it larger
	// than this. What it holds is in memory too, and moving it writes whole blocks
	// anew: the more often, the more work for a store that is being filled.
	checkpointFilling = 64 << 20

	// The same after writes of few facts, as they come once all is caught up.
	checkpointLive = 16 << 20
	liveFacts      = 2000

	// checkpointRoom is what moving takes on the disk beyond twice the log: blocks that are
	// partly filled are written anew.
	checkpointRoom = 32 << 20

	// checkpointNever keeps DuckDB from moving it by itself, without a look for room.
	checkpointNever = 1 << 50
)

// Store is a store of facts in a DuckDB file. It is made by [Open] and safe for
// concurrent use; writes are taken one after another.
type Store struct {
	path     string
	opts     Options
	database database
	writer   connection
	writing  chan struct{}    // holds one token while a write is at work
	readers  chan *connection // those that are free; connected when first used
	tables   facts.Tables
	room     func(path string) (int64, error) // bytes left on the disk of the file

	using   sync.RWMutex  // held for reading by each call, for writing by Close and by reopen
	stopped atomic.Bool   // DuckDB answers nothing until the file is opened again
	closing chan struct{} // closed when Close begins: calls at work give up
	once    sync.Once
}

var (
	_ facts.Store   = (*Store)(nil)
	_ facts.Archive = (*Store)(nil)
)

// Open opens the file at path, or makes it where there is none. Close the store
// before opening its file again. Errors to tell apart are [ErrSchema],
// [ErrDamaged] and [ErrLocked]; with the first two the way on is [SetAside] and
// a new file filled from the log.
func Open(ctx context.Context, path string, opts Options) (*Store, error) {
	path, err := accessible(path)
	if err != nil {
		return nil, fmt.Errorf("open facts: %w", err)
	}
	s := &Store{
		path: path, opts: opts, writing: make(chan struct{}, 1), readers: make(chan *connection, readersMax),
		closing: make(chan struct{}),
		tables:  facts.Tables{FactsFrom: "facts", JobsFrom: "jobs"},
		room:    roomOf,
	}
	for range readersMax {
		s.readers <- &connection{}
	}
	if err := s.connect(ctx); err != nil {
		return nil, fmt.Errorf("open facts in %s: %w", path, errors.Join(err, s.Close()))
	}
	return s, nil
}

// connect opens the file. The readers are connected when they are first used.
func (s *Store) connect(ctx context.Context) (err error) {
	if s.database, err = openDatabase(s.path, s.opts); err == nil {
		err = s.writer.connect(s.database)
	}
	if err == nil {
		err = s.prepare(ctx)
	}
	return openingError(err)
}

// disconnect closes the file. A connection left open would keep it open. No call is at work.
func (s *Store) disconnect() {
	s.writer.close()
	for range readersMax {
		reader := <-s.readers
		reader.close()
		s.readers <- reader
	}
	s.database.close()
}

// reopen opens the file again after DuckDB stopped, once for all calls that found it so.
// What was written is there; what was being written is there whole or not at all.
func (s *Store) reopen(ctx context.Context) error {
	s.using.Lock()
	defer s.using.Unlock()
	select {
	case <-s.closing:
		return ErrClosed
	default:
	}
	if !s.stopped.Load() {
		return nil
	}
	s.disconnect()
	if err := s.connect(ctx); err != nil {
		return fmt.Errorf("open facts in %s again: %w", s.path, errors.Join(ErrStopped, err))
	}
	s.stopped.Store(false)
	return nil
}

// accessible returns the whole path of a file that can be opened or made.
func accessible(path string) (string, error) {
	if path == "" || strings.ContainsAny(path, "?#%") {
		return "", fmt.Errorf("path %q: it must be given, and not hold ?, # or %%", path)
	}
	path, err := filepath.Abs(path)
	if err != nil {
		return "", err
	}
	return path, checkAccess(path)
}

// checkAccess tries the file by the operating system's own means, so that a
// missing folder or permission is not taken for damage.
func checkAccess(path string) error {
	if info, err := os.Stat(filepath.Dir(path)); err != nil {
		return err
	} else if !info.IsDir() {
		return fmt.Errorf("%s is no folder", filepath.Dir(path))
	}
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if errors.Is(err, os.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	return f.Close()
}

// use marks the store as in use until done is called. The context it returns
// ends with ctx, and with [ErrClosed] when the store is closed.
func (s *Store) use(ctx context.Context) (_ context.Context, done func(), err error) {
	if s.stopped.Load() {
		if err := s.reopen(ctx); err != nil {
			return nil, nil, err
		}
	}
	s.using.RLock()
	select {
	case <-s.closing:
		s.using.RUnlock()
		return nil, nil, ErrClosed
	default:
	}
	ctx, cancel := context.WithCancelCause(ctx)
	go func() { // ends with done
		select {
		case <-s.closing:
			cancel(ErrClosed)
		case <-ctx.Done():
		}
	}()
	return ctx, func() {
		cancel(nil)
		s.using.RUnlock()
	}, nil
}

// Close makes calls at work give up, waits for them and closes the file. It can
// be called more than once, and returns nil.
func (s *Store) Close() error {
	s.once.Do(func() {
		close(s.closing)
		s.using.Lock()
		defer s.using.Unlock()
		s.disconnect()
	})
	return nil
}
