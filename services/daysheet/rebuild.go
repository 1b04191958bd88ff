package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"daysheet/events"
	"daysheet/services/facts/duckdb"
	"daysheet/services/projector"
)

// RebuildCmd drops the store of facts and makes it again from the log.
type RebuildCmd struct {
	NATSFlags
	StoreFlags
}

// Help says when it is needed.
func (c *RebuildCmd) Help() string {
	return `The store of facts is made from the log and can always be dropped. A rebuild is needed after a file
was damaged, or to be sure. The server must not be running. Reports are the same before and after.
Facts on a ClickHouse server are made again by dropping their tables there: the next start fills them.`
}

// Run replays the log into a new file and then puts it in the place of the old.
func (c *RebuildCmd) Run(ctx context.Context, g *Globals) (err error) {
	if c.ClickHouse != "" {
		return events.Refuse("clickhouse", c.ClickHouse,
			"a rebuild is of the data folder; drop the tables of the database there, and the next start makes them again")
	}
	if err := g.needLedger(c.NATSFlags); err != nil {
		return err
	}
	log, err := openLog(ctx, g, c.NATSFlags, g.logger())
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, log.Close()) }()
	path := filepath.Join(g.Data, factsFile)
	fresh := path + ".rebuild"
	if err := removeStore(fresh); err != nil {
		return err
	}
	store, err := duckdb.Open(ctx, fresh, duckdb.Options{})
	if err != nil {
		return err
	}
	bar := newProgress("rebuild")
	err = projector.Rebuild(ctx, log, store, bar.update)
	bar.finish()
	if err := errors.Join(err, store.Close()); err != nil {
		return errors.Join(err, removeStore(fresh))
	}
	if err := removeStore(path); err != nil {
		return err
	}
	if err := duckdb.SetAside(fresh, path); err != nil {
		return err
	}
	fmt.Fprintf(os.Stderr, "rebuilt the facts from %d commits\n", bar.total)
	return nil
}

// removeStore deletes a store file and its write-ahead log.
func removeStore(path string) error {
	for _, suffix := range []string{".wal", ""} {
		if err := os.Remove(path + suffix); err != nil && !os.IsNotExist(err) {
			return fmt.Errorf("remove facts: %w", err)
		}
	}
	return nil
}
