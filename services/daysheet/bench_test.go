package main

import (
	"bytes"
	"context"
	"database/sql"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/services/daysheet/demo"
	"daysheet/services/facts"
	"daysheet/services/facts/duckdb"
	"daysheet/services/httpd"
)

// BenchmarkAppend compares POST /v1/events, from clients that each have a job of their
// own, with publishing as many bytes to JetStream with the same durability: the log syncs
// to disk before it acknowledges. They take turns, so that a busy disk slows both down.
func BenchmarkAppend(b *testing.B) {
	for _, clients := range []int{1, 16, 64, 256} {
		for _, each := range []int{1, 10, 50} {
			b.Run(fmt.Sprintf("clients=%d/events=%d", clients, each), func(b *testing.B) {
				benchmarkAppend(b, clients, each)
			})
		}
	}
}

func benchmarkAppend(b *testing.B, clients, each int) {
	unlimited := httpd.Config{RateEvery: time.Nanosecond, RateBurst: 1 << 30}
	a, err := openApp(context.Background(), &Globals{Data: b.TempDir(), quiet: true}, appConfig{httpd: unlimited})
	if err != nil {
		b.Fatal(err)
	}
	defer a.Close()
	base, stop := listen(b, a)
	defer stop()
	secret, err := a.tokens.Add(context.Background(), "tests", httpd.Token{Firm: "bench", Name: "bench", Scopes: httpd.Scopes()})
	if err != nil {
		b.Fatal(err)
	}
	to := &client{http: &http.Client{Transport: &http.Transport{MaxIdleConnsPerHost: clients}}, base: base, token: secret}
	for w := range clients {
		post(b, to, [][]byte{event(w, 0, "job.opened", `{"job_type":"stairwell","title":"Invented"}`)})
	}
	bookings := func(w, n int) (list [][]byte) {
		for i := range each {
			list = append(list, event(w, n*each+i, "hours.booked", `{"person":"anna","task":"sand","minutes":30}`))
		}
		return list
	}
	post(b, to, bookings(0, 1))
	stored, err := a.log.Commits(b.Context(), "bench", "job-0", 0)
	if err != nil || len(stored) != 2 {
		b.Fatalf("%d commits, %v", len(stored), err)
	}
	js, subject := rawStream(b)
	payload := bytes.Repeat([]byte("x"), len(stored[1].Raw))
	turn := max(4*clients, 64)
	var raw, appended time.Duration
	calls := 1
	for b.Loop() {
		raw += together(b, clients, turn, func(w, n int) error {
			_, err := js.Publish(b.Context(), fmt.Sprintf("%s.%d", subject, w), payload)
			return err
		})
		appended += together(b, clients, turn, func(w, n int) error {
			post(b, to, bookings(w, calls+n))
			return nil
		})
		calls += turn
	}
	b.ReportMetric(0, "ns/op")
	b.ReportMetric(float64(calls)/raw.Seconds(), "raw/s")
	b.ReportMetric(float64(calls)/appended.Seconds(), "append/s")
	b.ReportMetric(float64(calls*each)/appended.Seconds(), "events/s")
	b.ReportMetric(raw.Seconds()/appended.Seconds(), "append/raw")
}

// together makes n calls from as many workers.
func together(b *testing.B, workers, n int, call func(worker, n int) error) time.Duration {
	b.Helper()
	var next atomic.Int64
	var all sync.WaitGroup
	start := time.Now()
	for w := range workers {
		all.Go(func() {
			for i := next.Add(1); i <= int64(n); i = next.Add(1) {
				if err := call(w, int(i)); err != nil {
					b.Error(err)
					return
				}
			}
		})
	}
	all.Wait()
	return time.Since(start)
}

func event(worker, n int, kind, data string) []byte {
	return fmt.Appendf(nil, `{"specversion":"1.0","id":"bench-%03d-%09d","source":"/bench","type":"daysheet.%s.v1",`+
		`"subject":"job-%d","time":"2026-03-02T08:00:00Z","data":%s}`, worker, n, kind, worker, data)
}

// post sends events together, and fails the benchmark unless they are taken.
func post(b *testing.B, to *client, list [][]byte) {
	body := slices.Concat([]byte("["), bytes.Join(list, []byte(",")), []byte("]"))
	answer, err := to.request(b.Context(), http.MethodPost, "/v1/events", "application/cloudevents-batch+json", bytes.NewReader(body))
	if err != nil {
		b.Error(err)
		return
	}
	if answer.StatusCode != http.StatusCreated {
		b.Errorf("status %d", answer.StatusCode)
	}
	io.Copy(io.Discard, answer.Body)
	answer.Body.Close()
}

func listen(b *testing.B, a *app) (base string, stop func()) {
	b.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		b.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- a.server.Serve(ctx, l) }()
	return "http://" + l.Addr().String(), func() {
		cancel()
		if err := <-ended; err != nil {
			b.Error(err)
		}
	}
}

// rawStream starts a JetStream server of its own that syncs every write.
func rawStream(b *testing.B) (jetstream.JetStream, string) {
	b.Helper()
	s, err := server.NewServer(&server.Options{DontListen: true, NoSigs: true, JetStream: true, StoreDir: b.TempDir(), SyncAlways: true})
	if err != nil {
		b.Fatal(err)
	}
	go s.Start()
	if !s.ReadyForConnections(10 * time.Second) {
		b.Fatal("the raw server did not start")
	}
	nc, err := nats.Connect("", nats.InProcessServer(s))
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { nc.Close(); s.Shutdown(); s.WaitForShutdown() })
	js, err := jetstream.New(nc)
	if err != nil {
		b.Fatal(err)
	}
	if _, err := js.CreateStream(b.Context(), jetstream.StreamConfig{Name: "RAW", Subjects: []string{"raw.>"}, Storage: jetstream.FileStorage}); err != nil {
		b.Fatal(err)
	}
	return js, "raw"
}

// BenchmarkReports compares each report, asked for by HTTP as JSON, with the SQL
// it stands on, run on a copy of the same million facts by a connection of its own.
func BenchmarkReports(b *testing.B) {
	folder := b.TempDir()
	million(b, filepath.Join(folder, factsFile))
	raw, err := sql.Open("duckdb", copyOf(b, filepath.Join(folder, factsFile)))
	if err != nil {
		b.Fatal(err)
	}
	defer raw.Close()
	store, err := duckdb.Open(context.Background(), filepath.Join(folder, factsFile), duckdb.Options{})
	if err != nil {
		b.Fatal(err)
	}
	defer store.Close()
	for _, d := range reports.Definitions() {
		f := reports.Filter{Firm: demoFirm}
		if d.NeedsJob {
			jobs, err := store.Jobs(context.Background(), reports.JobQuery{Firm: demoFirm, Limit: 1})
			if err != nil || len(jobs) == 0 {
				b.Fatalf("no job to report on: %v", err)
			}
			f.Job = jobs[0].Job
		}
		b.Run(d.Name, func(b *testing.B) { compareReport(b, store, raw, d, f) })
	}
}

// compareReport takes turns between the report and its SQL.
func compareReport(b *testing.B, store *duckdb.Store, raw *sql.DB, d reports.Definition, f reports.Filter) {
	question := d.Ask(f)
	var whole, sqlOnly time.Duration
	n := 0
	for b.Loop() {
		start := time.Now()
		answer, err := facts.Ask(b.Context(), store, question)
		if err != nil {
			b.Fatal(err)
		}
		d.Make(f, answer)
		whole += time.Since(start)

		start = time.Now()
		for _, s := range statements(b, question) {
			scan(b, raw, s)
		}
		sqlOnly += time.Since(start)
		n++
	}
	b.ReportMetric(0, "ns/op")
	b.ReportMetric(whole.Seconds()*1000/float64(n), "report-ms")
	b.ReportMetric(sqlOnly.Seconds()*1000/float64(n), "sql-ms")
	b.ReportMetric(whole.Seconds()/sqlOnly.Seconds(), "report/sql")
}

func statements(b *testing.B, question reports.Question) (out []facts.Statement) {
	b.Helper()
	tables := facts.Tables{FactsFrom: "facts", JobsFrom: "jobs"}
	add := func(s facts.Statement, err error) {
		if err != nil {
			b.Fatal(err)
		}
		out = append(out, s)
	}
	if question.Jobs != nil {
		add(tables.Jobs(*question.Jobs))
	}
	for _, q := range question.Sums {
		add(tables.Sum(q))
	}
	return out
}

// scan runs a statement and reads its rows, and nothing else.
func scan(b *testing.B, db *sql.DB, s facts.Statement) {
	b.Helper()
	rows, err := db.QueryContext(b.Context(), s.Text, s.Args...)
	if err != nil {
		b.Fatal(err)
	}
	defer rows.Close()
	columns, err := rows.Columns()
	if err != nil {
		b.Fatal(err)
	}
	values, into := make([]any, len(columns)), make([]any, len(columns))
	for i := range values {
		into[i] = &values[i]
	}
	for rows.Next() {
		if err := rows.Scan(into...); err != nil {
			b.Fatal(err)
		}
	}
	if err := rows.Err(); err != nil {
		b.Fatal(err)
	}
}

func copyOf(b *testing.B, path string) string {
	b.Helper()
	raw, err := os.ReadFile(path)
	if err != nil {
		b.Fatal(err)
	}
	to := path + ".copy"
	if err := os.WriteFile(to, raw, 0o600); err != nil {
		b.Fatal(err)
	}
	return to
}

// million fills a store with about a million facts of one firm, by the projection
// and without the log: the jobs of a dozen invented firms under one key.
func million(b *testing.B, path string) {
	b.Helper()
	store, err := duckdb.Open(context.Background(), path, duckdb.Options{})
	if err != nil {
		b.Fatal(err)
	}
	f := filling{store: store, firm: &events.Firm{}, jobs: map[string]*chained{}}
	number := 0
	for firm, err := range demo.Firms(demo.Options{Seed: 1, Today: today, Jobs: demo.JobsMax}, 12) {
		if err != nil {
			b.Fatal(err)
		}
		for s := range firm.Submissions() {
			if s.Job != events.FirmJob {
				s.Job = fmt.Sprintf("f%d-%s", number, s.Job)
			} else if number > 0 {
				continue // they all list the same things
			}
			f.add(b, s)
		}
		number++
	}
	f.flush(b)
	if err := store.Close(); err != nil {
		b.Fatal(err)
	}
	b.Logf("%d facts", f.count)
}

// filling is a store being filled.
type filling struct {
	store *duckdb.Store
	firm  *events.Firm
	jobs  map[string]*chained
	batch facts.Batch
	count int
}

func (f *filling) flush(b *testing.B) {
	b.Helper()
	if err := f.store.Write(context.Background(), f.batch); err != nil {
		b.Fatal(err)
	}
	f.count += len(f.batch.Facts)
	f.batch.Facts, f.batch.Jobs, f.batch.Commits = nil, nil, nil
}

func (f *filling) add(b *testing.B, s demo.Submission) {
	b.Helper()
	j := f.jobs[s.Job]
	if j == nil {
		j = &chained{projection: reports.NewJobProjection(f.firm, demoFirm, s.Job, 0)}
		f.jobs[s.Job] = j
	}
	stored, projected := j.next(b, f.batch.Position+1, s)
	if s.Job == events.FirmJob {
		c, err := events.DecodeCommit(stored.Raw)
		if err != nil {
			b.Fatal(err)
		}
		if err := f.firm.Apply(c, stored.Sequence); err != nil {
			b.Fatal(err)
		}
	}
	f.batch.Position = stored.Sequence
	f.batch.Commits = append(f.batch.Commits, stored)
	f.batch.Facts = append(f.batch.Facts, projected.Facts...)
	if projected.Job != nil {
		f.batch.Jobs = append(f.batch.Jobs, *projected.Job)
	}
	if len(f.batch.Facts) > 50_000 {
		f.flush(b)
	}
}

// chained is a job with the hash of its last commit.
type chained struct {
	projection *reports.JobProjection
	head       string
}

func (j *chained) next(b *testing.B, sequence uint64, s demo.Submission) (events.Stored, reports.Projected) {
	b.Helper()
	c := events.Commit{Firm: demoFirm, Job: s.Job, Version: j.projection.Version() + 1, Previous: j.head,
		RecordedAt: s.At, RecordedBy: s.By, Events: slices.Clone(s.Events)}
	for i := range c.Events {
		c.Events[i].Subject = s.Job
	}
	raw, err := c.Encode()
	if err != nil {
		b.Fatal(err)
	}
	stored := events.Stored{Sequence: sequence, Raw: raw}
	projected, err := j.projection.Apply(stored, &c)
	if err != nil {
		b.Fatal(err)
	}
	j.head = events.Hash(raw)
	return stored, projected
}
