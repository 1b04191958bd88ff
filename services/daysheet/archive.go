package main

import (
	"context"
	"errors"
	"io/fs"
	"os"
	"path/filepath"

	"daysheet/events"
	"daysheet/services/facts/duckdb"
)

// archive is the copy of the log in the store. The store is opened when it is first
// asked, which is after the log was locked: that a log is in use is then what is told.
type archive struct {
	open  func(context.Context) (store, error) // nil where there is no store
	store store                                // nil before
}

// archiveOf returns the copy of the log, as it is: a file that cannot be read is not
// set aside here, since it may be the only copy. Where there is no store, the copy
// holds nothing and the log has to do alone.
func archiveOf(g *Globals, f StoreFlags) *archive {
	if f.ClickHouse != "" {
		return &archive{open: func(ctx context.Context) (store, error) { return openStore(ctx, g, f, g.logger()) }}
	}
	path := filepath.Join(g.Data, factsFile)
	if _, err := os.Stat(path); errors.Is(err, fs.ErrNotExist) {
		return &archive{}
	}
	return &archive{open: func(ctx context.Context) (store, error) {
		s, err := duckdb.Open(ctx, path, duckdb.Options{})
		if err != nil {
			return nil, err // not a store that is nil inside
		}
		return s, nil
	}}
}

// Commits is that of the store.
func (a *archive) Commits(
	ctx context.Context, partition uint8, after uint64, limit int,
) (_ []events.Stored, err error) {
	if a.open == nil {
		return nil, nil
	}
	if a.store == nil {
		if a.store, err = a.open(ctx); err != nil {
			return nil, err
		}
	}
	return a.store.Commits(ctx, partition, after, limit)
}

// close closes the store, if it was opened.
func (a *archive) close() error {
	if a.store == nil {
		return nil
	}
	return a.store.Close()
}
