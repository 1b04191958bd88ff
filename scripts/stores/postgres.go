package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"syscall"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"daysheet/reports"
	"daysheet/services/facts"
)

// postgresSettings are those of a server of its own on a machine of 8 GB or more.
// Plans are made for the firm that is asked for: one has half of all rows.
var postgresSettings = []string{
	"listen_addresses=", "shared_buffers=2GB", "work_mem=256MB", "maintenance_work_mem=1GB",
	"effective_cache_size=8GB", "max_wal_size=8GB", "random_page_cost=1.1", "effective_io_concurrency=100",
	"plan_cache_mode=force_custom_plan",
}

// postgresTables are the columns of the product's stores. Text compares by bytes, as
// it does there.
const postgresTables = `
CREATE TABLE facts (
	firm text NOT NULL, job text NOT NULL, job_type text NOT NULL, partition smallint NOT NULL,
	sequence bigint NOT NULL, line integer NOT NULL, event_id text NOT NULL, occurred_at bigint NOT NULL,
	day text NOT NULL, side text NOT NULL, kind text NOT NULL, family text NOT NULL,
	task text NOT NULL, surface text NOT NULL, method text NOT NULL, location text NOT NULL,
	product text NOT NULL, place text NOT NULL, unit text NOT NULL, grade text NOT NULL, person text NOT NULL,
	minutes bigint NOT NULL, quantity_milli bigint NOT NULL, cost_e4 bigint NOT NULL, sign smallint NOT NULL,
	month text NOT NULL);
CREATE TABLE jobs (
	firm text NOT NULL, job text NOT NULL, partition smallint NOT NULL, sequence bigint NOT NULL,
	job_type text NOT NULL, title text NOT NULL, customer text NOT NULL, state text NOT NULL,
	built bigint NOT NULL, opened text NOT NULL, start text NOT NULL, due text NOT NULL,
	accepted text NOT NULL, finished text NOT NULL);
CREATE TABLE commits (partition smallint NOT NULL, sequence bigint NOT NULL, raw bytea NOT NULL);`

// postgresIndexes are made after the rows are there, which is the quickest way.
var postgresIndexes = []string{
	"ALTER TABLE facts ADD PRIMARY KEY (firm, job, sequence, line)",
	"CREATE INDEX facts_by_type ON facts (firm, job_type, day)",
	"ALTER TABLE jobs ADD PRIMARY KEY (firm, job, sequence)",
	"CREATE INDEX jobs_by_sequence ON jobs (firm, sequence)",
	"ALTER TABLE commits ADD PRIMARY KEY (partition, sequence)",
	"VACUUM ANALYZE",
}

// postgresCovering is made for just these reports: it finds the kinds of facts that
// each sum is about, and holds what most sums need, so that the table need not be read.
var postgresCovering = []string{
	"CREATE INDEX facts_by_kind ON facts (firm, kind, job) INCLUDE (side, family, task, product, unit, person, " +
		"sign, minutes, quantity_milli, cost_e4, sequence)",
	"VACUUM ANALYZE",
}

// postgres answers questions by the text that the product's stores use.
type postgres struct {
	server *process
	pool   *pgxpool.Pool
	tables facts.Tables
}

var _ reader = (*postgres)(nil)

// startPostgres makes a new server in the folder and its tables.
func startPostgres(ctx context.Context, folder string) (*postgres, error) {
	found, err := filepath.Glob("/usr/lib/postgresql/*/bin")
	if err != nil || len(found) == 0 {
		return nil, errors.New("PostgreSQL is missing: install the Debian package postgresql")
	}
	programs, data := slices.MaxFunc(found, byVersion), filepath.Join(folder, "postgres")
	as, err := unprivileged()
	if err != nil {
		return nil, err
	}
	if err := os.Mkdir(data, 0o700); err != nil {
		return nil, fmt.Errorf("make the folder of PostgreSQL: %w", err)
	}
	if as != nil {
		if err := os.Chown(data, int(as.Uid), int(as.Gid)); err != nil {
			return nil, fmt.Errorf("give PostgreSQL its folder: %w", err)
		}
	}
	initdb := exec.CommandContext(ctx, filepath.Join(programs, "initdb"), "--pgdata="+data, "--username=postgres",
		"--locale=C", "--encoding=UTF8", "--auth=trust")
	initdb.SysProcAttr, initdb.Dir = &syscall.SysProcAttr{Credential: as}, data
	if said, err := initdb.CombinedOutput(); err != nil {
		return nil, fmt.Errorf("make a database: %w: %s", err, said)
	}
	args := []string{"-D", data, "-c", "unix_socket_directories=" + data}
	for _, setting := range postgresSettings {
		args = append(args, "-c", setting)
	}
	command := exec.Command(filepath.Join(programs, "postgres"), args...)
	command.Dir = data
	server, err := start(command, folder, "postgres", as)
	if err != nil {
		return nil, err
	}
	p := &postgres{server: server, tables: facts.Tables{FactsFrom: "facts", JobsFrom: "jobs"}}
	if p.pool, err = pgxpool.New(ctx, "host="+data+" user=postgres dbname=postgres pool_max_conns=16"); err == nil {
		err = server.until(ctx, p.pool.Ping)
	}
	if err == nil {
		_, err = p.pool.Exec(ctx, postgresTables)
	}
	if err != nil {
		return nil, errors.Join(fmt.Errorf("start PostgreSQL: %w", err), p.close())
	}
	return p, nil
}

// byVersion compares folders by the version in their name.
func byVersion(a, b string) int {
	version := func(folder string) int {
		n, _ := strconv.Atoi(filepath.Base(filepath.Dir(folder))) // 0 for a folder of something else
		return n
	}
	return version(a) - version(b)
}

func (p *postgres) close() error {
	if p.pool != nil {
		p.pool.Close()
	}
	return p.server.stop(syscall.SIGINT)
}

// copy adds rows of all tables in one transaction.
func (p *postgres) copy(ctx context.Context, tables []table) error {
	return pgx.BeginFunc(ctx, p.pool, func(tx pgx.Tx) error {
		for _, t := range tables {
			if _, err := tx.CopyFrom(ctx, pgx.Identifier{t.name}, t.columnNames(), pgx.CopyFromRows(t.rows)); err != nil {
				return fmt.Errorf("copy to %s: %w", t.name, err)
			}
		}
		return nil
	})
}

// execute runs statements one after the other.
func (p *postgres) execute(ctx context.Context, statements []string) error {
	for _, statement := range statements {
		if _, err := p.pool.Exec(ctx, statement); err != nil {
			return fmt.Errorf("%s: %w", statement, err)
		}
	}
	return nil
}

// size returns the bytes of facts and of all tables, with their indexes.
func (p *postgres) size(ctx context.Context) (ofFacts, all int64, err error) {
	err = p.pool.QueryRow(ctx, "SELECT pg_total_relation_size('facts'), "+
		"pg_total_relation_size('facts') + pg_total_relation_size('jobs') + pg_total_relation_size('commits')").
		Scan(&ofFacts, &all)
	return ofFacts, all, err
}

// Sum implements [facts.Reader].
func (p *postgres) Sum(ctx context.Context, q reports.Query) ([]reports.Total, error) {
	statement, err := p.tables.Sum(q)
	if err != nil {
		return nil, err
	}
	var t reports.Total
	by := make([]string, len(q.By))
	var fields []any
	for i := range by {
		fields = append(fields, &by[i])
	}
	fields = append(fields, &t.Minutes, &t.QuantityMilli, &t.CostE4, &t.Facts)
	var totals []reports.Total
	err = p.read(ctx, statement, fields, func() {
		row := t
		row.By = slices.Clone(by)
		totals = append(totals, row)
	})
	return totals, err
}

// Lines implements [facts.Store.Lines].
func (p *postgres) Lines(ctx context.Context, q reports.Query) ([]reports.Fact, error) {
	statement, err := p.tables.Lines(q)
	if err != nil {
		return nil, err
	}
	var (
		lines []reports.Fact
		f     reports.Fact
	)
	err = p.read(ctx, statement, facts.FactFields(&f), func() { lines = append(lines, f) })
	return lines, err
}

// Jobs implements [facts.Reader].
func (p *postgres) Jobs(ctx context.Context, q reports.JobQuery) ([]reports.JobRow, error) {
	statement, err := p.tables.Jobs(q)
	if err != nil {
		return nil, err
	}
	var (
		jobs []reports.JobRow
		j    reports.JobRow
	)
	err = p.read(ctx, statement, facts.JobFields(&j), func() { jobs = append(jobs, j) })
	return jobs, err
}

// read runs a statement, and calls each after every row it has put into fields.
func (p *postgres) read(ctx context.Context, statement facts.Statement, fields []any, each func()) error {
	rows, err := p.pool.Query(ctx, numbered(statement.Text), statement.Args...)
	if err != nil {
		return fmt.Errorf("ask PostgreSQL: %w", err)
	}
	if _, err := pgx.ForEachRow(rows, fields, func() error { each(); return nil }); err != nil {
		return fmt.Errorf("ask PostgreSQL: %w", err)
	}
	return nil
}

// numbered writes $1, $2 and so on for each ?. The shared text has no other ?.
func numbered(text string) string {
	parts := strings.Split(text, "?")
	var b strings.Builder
	for i, part := range parts[:len(parts)-1] {
		fmt.Fprintf(&b, "%s$%d", part, i+1)
	}
	b.WriteString(parts[len(parts)-1])
	return b.String()
}
