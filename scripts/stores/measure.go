package main

import (
	"context"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"slices"
	"time"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/services/facts"
)

// reader is what is asked of each engine.
type reader interface {
	facts.Reader
	Lines(ctx context.Context, q reports.Query) ([]reports.Fact, error)
}

// engine is a way of asking.
type engine struct {
	name string
	reader
}

// question is what is asked, of every engine alike.
type question struct {
	name    string
	queries int
	grouped bool // over all jobs of the firm
	ask     func(context.Context, reader) (answer any, rows int, err error)
}

// result is how long the engines took, by their names.
type result struct {
	question
	rows int
	took map[string]time.Duration
}

// size is what an engine needs on disk.
type size struct {
	name         string
	ofFacts, all int64
}

// measured is all that is printed.
type measured struct {
	results     []result
	sizes       []size
	parts       int
	partsMerged int
}

// measure starts the engines, loads them, asks them and returns the tables.
func (b *bench) measure(ctx context.Context) (_ string, err error) {
	if b.duckdb, err = openDuckDB(ctx, b.folder, b.memory); err != nil {
		return "", err
	}
	defer func() { err = errors.Join(err, b.duckdb.close()) }()
	if b.house, err = openClickHouse(ctx, b.folder); err != nil {
		return "", err
	}
	defer func() { err = errors.Join(err, b.house.close()) }()
	if b.current, err = openCurrent(ctx, b.folder); err != nil {
		return "", err
	}
	defer func() { err = errors.Join(err, b.current.close()) }()
	if b.postgres, err = startPostgres(ctx, b.folder); err != nil {
		return "", err
	}
	defer func() { err = errors.Join(err, b.postgres.close()) }()
	if err := b.loadAll(ctx); err != nil {
		return "", err
	}
	var m measured
	if err := b.askAll(ctx, &m); err != nil {
		return "", err
	}
	return b.print(m), nil
}

// Names of the ways of asking.
const (
	askDuckDB      = "DuckDB"
	askHouse       = "ClickHouse"
	askPlain       = "ClickHouse, no FINAL"
	askHouseMerged = "ClickHouse merged"
	askPlainMerged = "ClickHouse merged, no FINAL"
	askCurrent     = "ClickHouse 26.7"
	askPostgres    = "PostgreSQL"
	askCovering    = "PostgreSQL, covering index"
)

// askAll asks first with the parts that loading left, and then again ClickHouse with
// one part of each table, and PostgreSQL with one index more.
func (b *bench) askAll(ctx context.Context, m *measured) error {
	if err := b.house.settle(ctx); err != nil {
		return err
	}
	if err := b.measureSizes(ctx, m); err != nil {
		return err
	}
	questions, err := b.questions(ctx)
	if err != nil {
		return err
	}
	m.results = make([]result, len(questions))
	for i, q := range questions {
		m.results[i] = result{question: q, took: map[string]time.Duration{}}
	}
	sums := make([][sha256.Size]byte, len(questions))
	first := []engine{
		{askDuckDB, b.duckdb.store}, {askHouse, b.house.store}, {askPlain, b.house.plain},
		{askCurrent, b.current.store}, {askPostgres, b.postgres},
	}
	if err := b.askEach(ctx, first, m.results, sums); err != nil {
		return err
	}
	if err := b.house.merge(ctx); err != nil {
		return err
	}
	if _, _, m.partsMerged, err = b.house.size(ctx); err != nil {
		return err
	}
	if err := b.postgres.execute(ctx, postgresCovering); err != nil {
		return err
	}
	covered := size{name: askCovering}
	if covered.ofFacts, covered.all, err = b.postgres.size(ctx); err != nil {
		return err
	}
	m.sizes = append(m.sizes, covered)
	second := []engine{{askHouseMerged, b.house.store}, {askPlainMerged, b.house.plain}, {askCovering, b.postgres}}
	return b.askEach(ctx, second, m.results, sums)
}

func (b *bench) measureSizes(ctx context.Context, m *measured) (err error) {
	m.sizes = []size{{name: "DuckDB"}, {name: "ClickHouse"}, {name: "PostgreSQL"}}
	d, c, p := &m.sizes[0], &m.sizes[1], &m.sizes[2]
	if d.ofFacts, d.all, err = b.duckdb.size(ctx); err != nil {
		return err
	}
	if c.ofFacts, c.all, m.parts, err = b.house.size(ctx); err != nil {
		return err
	}
	p.ofFacts, p.all, err = b.postgres.size(ctx)
	return err
}

// askEach asks every engine every question once, to compare the answers and to warm
// up, and then in turn for the median. A sum that is zero is not known yet.
func (b *bench) askEach(ctx context.Context, engines []engine, results []result, sums [][sha256.Size]byte) error {
	for i := range results {
		r := &results[i]
		fmt.Fprintln(os.Stderr, "asking:", r.name)
		for _, e := range engines {
			answer, rows, err := r.ask(ctx, e)
			if err != nil {
				return fmt.Errorf("%s: %s: %w", e.name, r.name, err)
			}
			raw, err := json.Marshal(answer)
			if err != nil {
				return fmt.Errorf("%s: %s: write the answer down: %w", e.name, r.name, err)
			}
			sum := sha256.Sum256(raw)
			if sums[i] == [sha256.Size]byte{} {
				sums[i], r.rows = sum, rows
			}
			if sum != sums[i] || rows != r.rows || rows == 0 {
				return fmt.Errorf("%s: %s: the answer of %d rows differs from that of %s, which has %d, or both are empty",
					e.name, r.name, rows, askDuckDB, r.rows)
			}
		}
		if err := b.repeat(ctx, engines, r); err != nil {
			return err
		}
	}
	return nil
}

// repeat takes the median of the warm runs of one question.
func (b *bench) repeat(ctx context.Context, engines []engine, r *result) error {
	took := make([][]time.Duration, len(engines))
	for range b.runs {
		for i, e := range engines {
			begin := time.Now()
			if _, _, err := r.ask(ctx, e); err != nil {
				return fmt.Errorf("%s: %s: %w", e.name, r.name, err)
			}
			took[i] = append(took[i], time.Since(begin))
		}
	}
	for i, e := range engines {
		slices.Sort(took[i])
		r.took[e.name] = took[i][len(took[i])/2]
	}
	return nil
}

// questions returns every report of the big firm, over all its jobs where it can be,
// else of one job that is done; and some of their narrower forms.
func (b *bench) questions(ctx context.Context) ([]question, error) {
	jobs, err := b.duckdb.store.Jobs(ctx, reports.JobQuery{Firm: bigFirm, States: []events.State{events.Closed}})
	if err != nil {
		return nil, fmt.Errorf("find a job that is closed: %w", err)
	}
	if len(jobs) == 0 {
		return nil, errors.New("no job is closed: give more facts")
	}
	all, one := reports.Filter{Firm: bigFirm}, reports.Filter{Firm: bigFirm, Job: jobs[len(jobs)/2].Job}
	year := reports.Filter{Firm: bigFirm, From: "2025-01-01", To: "2025-12-31"}
	var questions []question
	for _, d := range reports.Definitions() {
		if !d.NeedsJob {
			questions = append(questions, asked(d.Name, true, d.Ask(all)))
		}
	}
	for _, d := range reports.Definitions() {
		if d.Name == "job-types" {
			questions = append(questions, asked(d.Name+", one year", true, d.Ask(year)))
		}
		if d.NeedsJob || d.Name == "job-summary" {
			questions = append(questions, asked(d.Name+", one job", false, d.Ask(one)))
		}
	}
	lines := reports.Query{Firm: bigFirm}.With(reports.ByJob, one.Job)
	return append(questions, question{name: "lines of one job", queries: 1,
		ask: func(ctx context.Context, r reader) (any, int, error) {
			rows, err := r.Lines(ctx, lines)
			return rows, len(rows), err
		}}), nil
}

// asked is a report's question, put as the product does.
func asked(name string, grouped bool, q reports.Question) question {
	queries := len(q.Sums)
	if q.Jobs != nil {
		queries++
	}
	return question{name: name, queries: queries, grouped: grouped,
		ask: func(ctx context.Context, r reader) (any, int, error) {
			answer, err := facts.Ask(ctx, r, q)
			rows := len(answer.Jobs)
			for _, sums := range answer.Sums {
				rows += len(sums)
			}
			return answer, rows, err
		}}
}
