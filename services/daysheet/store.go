package main

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"time"

	"daysheet/events"
	"daysheet/services/facts"
	"daysheet/services/facts/clickhouse"
	"daysheet/services/facts/duckdb"
)

// StoreFlags choose where the facts are kept.
type StoreFlags struct {
	ClickHouse             string `name:"clickhouse" help:"Address (host:port, native protocol) of a ClickHouse server to keep the facts in, or several of a cluster's with commas between, of which the first that answers is used. Without it they are kept in the data folder." placeholder:"HOST:PORT" env:"DAYSHEET_CLICKHOUSE"`
	ClickHouseCluster      string `name:"clickhouse-cluster" help:"Cluster in the ClickHouse server's configuration to spread the facts over. Without it they are in the one server." placeholder:"NAME" env:"DAYSHEET_CLICKHOUSE_CLUSTER"`
	ClickHouseDatabase     string `name:"clickhouse-database" help:"Database on the ClickHouse server; it must exist." default:"default" env:"DAYSHEET_CLICKHOUSE_DATABASE"`
	ClickHouseUser         string `name:"clickhouse-user" help:"User on the ClickHouse server." default:"default" env:"DAYSHEET_CLICKHOUSE_USER"`
	ClickHousePasswordFile string `name:"clickhouse-password-file" help:"File that holds the user's password." type:"existingfile" placeholder:"FILE" env:"DAYSHEET_CLICKHOUSE_PASSWORD_FILE"`
	ClickHouseTLS          bool   `name:"clickhouse-tls" help:"Speak TLS with the ClickHouse server." env:"DAYSHEET_CLICKHOUSE_TLS"`
}

// store is what the program asks of a store of facts.
type store interface {
	facts.Store
	facts.Archive
	facts.Auditor
}

// openStore opens the store of facts, in the data folder or on a server.
func openStore(ctx context.Context, g *Globals, f StoreFlags, logger *slog.Logger) (store, error) {
	if f.ClickHouse == "" && f.ClickHouseCluster != "" {
		return nil, events.Refuse("clickhouse-cluster", f.ClickHouseCluster, "give --clickhouse as well, or leave it out")
	}
	if f.ClickHouse == "" {
		file, err := openFile(ctx, g, logger)
		if err != nil {
			return nil, err // as below
		}
		return file, nil
	}
	opts := clickhouse.Options{Address: f.ClickHouse, Cluster: f.ClickHouseCluster, Database: f.ClickHouseDatabase,
		Username: f.ClickHouseUser}
	if f.ClickHousePasswordFile != "" {
		password, err := os.ReadFile(f.ClickHousePasswordFile)
		if err != nil {
			return nil, fmt.Errorf("read the password for ClickHouse: %w", err)
		}
		opts.Password = strings.TrimRight(string(password), "\r\n")
	}
	if f.ClickHouseTLS {
		opts.TLS = &tls.Config{MinVersion: tls.VersionTLS12}
	}
	opened, err := clickhouse.Open(ctx, opts)
	if err != nil {
		return nil, err // not a store that is nil inside
	}
	return opened, nil
}

// openFile opens the store in the data folder. A file that is damaged or from
// another version is set aside: the facts are made again from the log.
func openFile(ctx context.Context, g *Globals, logger *slog.Logger) (*duckdb.Store, error) {
	path := filepath.Join(g.Data, factsFile)
	store, err := duckdb.Open(ctx, path, duckdb.Options{})
	if err == nil {
		return store, nil
	}
	if !errors.Is(err, duckdb.ErrDamaged) && !errors.Is(err, duckdb.ErrSchema) {
		return nil, err
	}
	aside := fmt.Sprintf("%s.aside-%d", path, time.Now().UnixMilli())
	logger.Warn("facts set aside; they are made again from the log", "file", aside, "reason", err)
	if err := duckdb.SetAside(path, aside); err != nil {
		return nil, err
	}
	return duckdb.Open(ctx, path, duckdb.Options{})
}
