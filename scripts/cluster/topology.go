package main

import (
	"context"
	"errors"
	"fmt"
	"os"
)

// topology is the whole house on one machine: three NATS servers that keep the
// log, a ClickHouse server, and two ledgers on the same log, one with its facts in
// its data folder and one with them in ClickHouse.
type topology struct {
	folder string
	nats   *natsCluster
	click  *clickHouse
	plain  *ledger // facts in DuckDB
	served *ledger // facts in ClickHouse
}

// up builds what is missing and starts everything.
func up(ctx context.Context, folder string) (t *topology, err error) {
	t = &topology{folder: folder}
	defer func() {
		if err != nil {
			err = errors.Join(err, t.down())
		}
	}()
	if err := os.MkdirAll(folder, 0o700); err != nil {
		return t, err
	}
	server, err := build(ctx, folder, "nats-server", "github.com/nats-io/nats-server/v2")
	if err != nil {
		return t, err
	}
	program, err := build(ctx, folder, "daysheet", "daysheet/services/daysheet")
	if err != nil {
		return t, err
	}
	if t.nats, err = startNATS(ctx, server, folder); err != nil {
		return t, err
	}
	if t.click, err = startClickHouse(ctx, folder); err != nil {
		return t, err
	}
	log := []string{"--nats", t.nats.url(), "--nats-replicas", fmt.Sprint(nodes), "--log-max-megabytes", "1024"}
	if t.plain, err = startLedger(ctx, program, folder, "duckdb", log...); err != nil {
		return t, err
	}
	served := append(log, "--clickhouse", t.click.address())
	if t.served, err = startLedger(ctx, program, folder, "served", served...); err != nil {
		return t, err
	}
	return t, nil
}

// down ends every process.
func (t *topology) down() error {
	var errs []error
	for _, l := range []*ledger{t.plain, t.served} {
		if l != nil {
			l.kill()
		}
	}
	if t.click != nil {
		t.click.server.kill()
	}
	if t.nats != nil {
		for _, s := range t.nats.servers {
			s.kill()
		}
		for _, p := range t.nats.proxies {
			errs = append(errs, p.close())
		}
	}
	return errors.Join(errs...)
}
