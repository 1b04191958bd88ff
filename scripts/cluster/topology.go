package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"time"
)

// topology is the whole house of deploy/ on one machine: three NATS servers that
// keep the log, a ClickHouse server, and two ledgers on the same log. One is a
// single process with its facts in its data folder; the other has its parts in
// processes of their own and its facts in ClickHouse.
type topology struct {
	folder string
	nats   *natsCluster
	click  *clickHouse
	plain  *ledger // every part, facts in DuckDB

	intake, projector, reporting *ledger // facts in ClickHouse
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
	program, err := build(ctx, folder, "ledger", "daysheet/services/daysheet")
	if err != nil {
		return t, err
	}
	who, err := newIdentity(folder, nil, time.Now().Add(24*time.Hour))
	if err != nil {
		return t, err
	}
	if t.nats, err = startNATS(ctx, server, folder, who); err != nil {
		return t, err
	}
	if t.click, err = startClickHouse(ctx, folder); err != nil {
		return t, err
	}
	return t, t.startLedgers(ctx, program, who)
}

// startLedgers makes the streams and starts the processes, each as the user that
// may do no more than it needs.
func (t *topology) startLedgers(ctx context.Context, program string, who *identity) (err error) {
	log := func(user string) []string {
		return append([]string{"--nats", t.nats.url(), "--nats-replicas", fmt.Sprint(nodes), "--log-max-megabytes", "1024"},
			who.flags(user)...)
	}
	prepare := exec.CommandContext(ctx, program, append([]string{"prepare"}, log("operator")...)...)
	if out, err := prepare.CombinedOutput(); err != nil {
		return fmt.Errorf("prepare the log: %w\n%s", err, out)
	}
	if t.plain, err = startLedger(ctx, program, t.folder, "plain", log("whole")...); err != nil {
		return err
	}
	if t.intake, err = startLedger(ctx, program, t.folder, "intake", append(log("writer"), "--run",
		"intake")...); err != nil {
		return err
	}
	facts := append(log("reader"), "--clickhouse", t.click.address())
	if t.projector, err = startLedger(ctx, program, t.folder, "projector", append(facts, "--run",
		"projector")...); err != nil {
		return err
	}
	t.reporting, err = startLedger(ctx, program, t.folder, "reporting", append(facts, "--run", "reporting")...)
	return err
}

// down ends every process.
func (t *topology) down() error {
	var errs []error
	for _, l := range []*ledger{t.plain, t.intake, t.projector, t.reporting} {
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
