package clickhouse

import (
	"context"
	"errors"
	"math/rand/v2"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"sync"
	"testing"

	"daysheet/reports"
	"daysheet/services/facts"
	"daysheet/services/facts/clickhouse/clickhousetest"
	"daysheet/services/facts/duckdb"
	"daysheet/services/facts/factstest"
)

// TestClusterConformance runs the whole suite on two shards.
func TestClusterConformance(t *testing.T) {
	c := clickhousetest.StartShards(t)
	factstest.Run(t, func(t *testing.T) facts.Store { return openCluster(t, c, c.Address()) })
}

// openCluster opens the store in the database that belongs to the test.
func openCluster(t testing.TB, c *clickhousetest.Cluster, address string) *Store {
	t.Helper()
	opts := Options{Address: address, Database: databaseOf(t), Cluster: clickhousetest.ClusterName}
	c.Database(opts.Database)
	s, err := Open(context.WithoutCancel(t.Context()), opts)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// TestCluster does in one cluster what harms no server of it.
func TestCluster(t *testing.T) {
	c := clickhousetest.StartCluster(t)
	for name, test := range map[string]func(*testing.T, *clickhousetest.Cluster){
		"TwoWriters": testClusterTwoWriters, "EveryBatchTwice": testClusterTwice, "Spread": testClusterSpread,
		"DeadAddress": testClusterDeadAddress, "Refusals": testClusterRefusals,
	} {
		t.Run(name, func(t *testing.T) { test(t, c) })
	}
}

// testClusterTwoWriters lets two stores write the same partition at the same
// time by mistake, each through another server and in batches of its own.
func testClusterTwoWriters(t *testing.T, c *clickhousetest.Cluster) {
	h := factstest.NewHistory(t, 120)
	stores := []*Store{openCluster(t, c, c.Servers[0].Address), openCluster(t, c, c.Servers[3].Address)}
	failed := make(chan error, len(stores))
	for i, s := range stores {
		defer shut(t, s)
		step := uint64(7 + 4*i)
		go func() {
			for at := uint64(0); at < h.Last(); at += step {
				if err := s.Write(t.Context(), h.Batch(at, min(h.Last(), at+step))); err != nil {
					failed <- err
					return
				}
			}
			failed <- nil
		}()
	}
	if err := errors.Join(<-failed, <-failed); err != nil {
		t.Fatal(err)
	}
	for _, s := range stores {
		h.Check(t, s, h.Last(), questions)
	}
}

// testClusterTwice sends blocks again that the servers have. They take them, so
// that what was lost can be sent again, and nobody sees it.
func testClusterTwice(t *testing.T, c *clickhousetest.Cluster) {
	s := openCluster(t, c, c.Address())
	defer shut(t, s)
	for _, server := range c.Servers {
		server.Exec("SYSTEM STOP MERGES")
		defer server.Exec("SYSTEM START MERGES")
	}
	h := factstest.NewHistory(t, 60)
	for at := uint64(0); at < h.Last(); at += 20 {
		write(t, s, h.Batch(at, at+20))
		write(t, s, h.Batch(at, at+20))
		inserts(t, s, h.Batch(at, at+20), 3)
		inserts(t, s, h.Batch(at, min(at+25, h.Last())), 2)
		h.Check(t, s, at+20, 5)
	}
	h.Check(t, s, h.Last(), questions)
	for _, of := range []string{factsTable, commitsTable} {
		if all, own := count(t, s, of), count(t, s, of+" FINAL"); all < 2*own {
			t.Errorf("%s: %d rows of %d were taken, though each was sent twice", of, all, own)
		}
	}
}

// count counts the rows of a table.
func count(t *testing.T, s *Store, from string) (rows int64) {
	t.Helper()
	statement := facts.Statement{Text: "SELECT CAST(count(*) AS BIGINT) FROM " + from}
	err := s.call(t.Context(), func(ctx context.Context, l *link) error {
		return query(ctx, l, statement, []any{&rows}, func() {})
	})
	if err != nil {
		t.Fatal(err)
	}
	return rows
}

// testClusterSpread: every shard has some of the rows, no row is in two of them,
// and the replicas of a shard have the same.
func testClusterSpread(t *testing.T, c *clickhousetest.Cluster) {
	s := openCluster(t, c, c.Address())
	defer shut(t, s)
	h := factstest.NewHistory(t, 40)
	write(t, s, h.Batch(0, 40))
	for _, name := range []string{factsTable, jobsTable, commitsTable} {
		var held []int64
		for _, server := range c.Servers {
			one := openCluster(t, c, server.Address)
			held = append(held, count(t, one, name+ofShard))
			shut(t, one)
		}
		if held[0] != held[1] || held[2] != held[3] || held[0]+held[2] != count(t, s, name) {
			t.Errorf("%s: servers have %d rows, of %d", name, held, count(t, s, name))
		}
		// Three firms are on both shards, one partition is on one.
		if alone := held[0] == 0 || held[2] == 0; alone != (name == commitsTable) {
			t.Errorf("%s: servers have %d rows", name, held)
		}
	}
}

// testClusterDeadAddress: an address at which nobody answers stops nobody.
func testClusterDeadAddress(t *testing.T, c *clickhousetest.Cluster) {
	s := openCluster(t, c, "127.0.0.1:1, "+c.Servers[2].Address)
	defer shut(t, s)
	h := factstest.NewHistory(t, 20)
	write(t, s, h.Batch(0, 20))
	h.Check(t, s, 20, questions)
	_, err := Open(t.Context(), Options{Address: "127.0.0.1:1,127.0.0.1:2"})
	if err == nil || !strings.Contains(err.Error(), "127.0.0.1:1:") || !strings.Contains(err.Error(), "127.0.0.1:2:") {
		t.Errorf("%v does not say what each address gave", err)
	}
}

func testClusterRefusals(t *testing.T, c *clickhousetest.Cluster) {
	opts := Options{Address: c.Address(), Database: databaseOf(t), Cluster: clickhousetest.ClusterName}
	c.Database(opts.Database)
	c.Database(opts.Database + "-one")
	refused := func(want string, change func(*Options)) {
		t.Helper()
		changed := opts
		change(&changed)
		s, err := Open(t.Context(), changed)
		if err == nil {
			shut(t, s)
			t.Fatalf("%+v was opened", changed)
		}
		if !strings.Contains(err.Error(), want) {
			t.Errorf("%v does not say %q", err, want)
		}
	}
	refused("nowhere", func(o *Options) { o.Cluster = "nowhere" })
	refused("it's", func(o *Options) { o.Cluster = "it's" })
	refused("a{shard}b", func(o *Options) { o.Database = "a{shard}b"; c.Database(o.Database) })
	shut(t, openCluster(t, c, c.Address()))
	refused("spread", func(o *Options) { o.Cluster = "" })
	one := opts
	one.Database, one.Cluster = opts.Database+"-one", ""
	s, err := Open(t.Context(), one)
	if err != nil {
		t.Fatal(err)
	}
	shut(t, s)
	refused("this one server", func(o *Options) { o.Database = one.Database })
}

// TestClusterShardKilled kills a whole shard (SIGKILL) while a history is written
// in batches of random size, each time at another moment, and goes on when it is
// back. The answers are those of DuckDB to the byte.
func TestClusterShardKilled(t *testing.T) {
	c := clickhousetest.StartCluster(t)
	h := factstest.NewHistory(t, 300)
	s := openCluster(t, c, c.Address())
	defer shut(t, s)
	var at uint64
	for kill := range 2 {
		written, ended := make(chan struct{}, h.Last()), make(chan error, 1)
		go func(at uint64) {
			for at < h.Last() {
				upTo := min(h.Last(), at+1+rand.Uint64N(12))
				if err := s.Write(t.Context(), h.Batch(at, upTo)); err != nil {
					ended <- err
					return
				}
				written <- struct{}{}
				at = upTo
			}
			ended <- nil
		}(at)
		for range 3 + 4*kill {
			<-written
		}
		dead := c.Servers[2*kill : 2*kill+2] // the first shard, then the second
		for _, server := range dead {
			server.Kill()
		}
		if err := <-ended; err == nil {
			t.Fatal("a shard was killed, and every write came through")
		}
		if _, err := s.Sum(t.Context(), reports.Query{Firm: "c"}); err == nil {
			t.Fatal("a sum over a shard that is not there")
		}
		c.Restart(dead...)
		at = until(t, s)
		h.Check(t, s, at, 3)
	}
	for at < h.Last() {
		upTo := min(h.Last(), at+1+rand.Uint64N(40))
		for s.Write(t.Context(), h.Batch(at, upTo)) != nil && t.Context().Err() == nil { // until the servers can write again
		}
		at = upTo
	}
	theirs, err := duckdb.Open(t.Context(), filepath.Join(t.TempDir(), "facts.duckdb"), duckdb.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer shut(t, theirs)
	write(t, theirs, h.Batch(0, h.Last()))
	if got, want := h.Answers(t, s, 60), h.Answers(t, theirs, 60); !slices.Equal(got, want) {
		t.Fatalf("answers differ:\n got %s\nwant %s", got, want)
	}
}

// until asks for the position until it is given.
func until(t *testing.T, s *Store) uint64 {
	t.Helper()
	for {
		if at, err := s.Position(t.Context(), factstest.Partition); err == nil {
			return at
		} else if t.Context().Err() != nil {
			t.Fatal(err)
		}
	}
}

// TestClusterReplicaKilled kills one replica (SIGKILL) in the middle of writes.
// Reports go on, and are of whole batches on every server; writes wait until the
// replica is back; and then both have the same.
func TestClusterReplicaKilled(t *testing.T) {
	c := clickhousetest.StartCluster(t)
	h := factstest.NewHistory(t, 150)
	s := openCluster(t, c, c.Address())
	defer shut(t, s)
	write(t, s, h.Batch(0, 20))
	over, read := make(chan struct{}), make(chan uint64, 1)
	var readers, writer sync.WaitGroup
	for _, server := range c.Servers {
		r := openCluster(t, c, server.Address)
		defer shut(t, r)
		readers.Go(func() { readWhole(t, r, h, over, read) })
	}
	tried, done := make(chan error, 1), make(chan struct{})
	writer.Go(func() {
		defer close(done)
		for at := uint64(20); at < h.Last(); {
			upTo := min(h.Last(), at+1+rand.Uint64N(15))
			for t.Context().Err() == nil {
				err := s.Write(t.Context(), h.Batch(at, upTo))
				select {
				case tried <- err:
				default:
				}
				if err == nil {
					break
				}
			}
			at = upTo
		}
	})
	for range 4 {
		<-tried
	}
	c.Servers[1].Kill()
	at := until(t, s)
	for seen := 0; seen < 20; { // reports are asked for and given
		if <-read >= at {
			seen++
		}
	}
	select {
	case <-done:
		t.Fatal("a replica was not there, and everything was written")
	default:
	}
	c.Restart(c.Servers[1])
	go func() { // so that the writer can tell how it fares
		for range tried {
		}
	}()
	go func() {
		for range read {
		}
	}()
	writer.Wait()
	close(over)
	readers.Wait()
	close(tried)
	close(read)
	for _, server := range c.Servers {
		one := openCluster(t, c, server.Address)
		h.Check(t, one, h.Last(), questions)
		shut(t, one)
	}
}

// readWhole asks for the lines of a firm at the position, and requires them to be
// those of all commits up to there, and positions not to go back, until it is
// over. Errors are no answers.
func readWhole(t *testing.T, s *Store, h *factstest.History, over chan struct{}, read chan uint64) {
	const firm = "c"
	for before := uint64(20); ; { // which was written before
		select {
		case <-over:
			return
		default:
		}
		at, err := s.Position(t.Context(), factstest.Partition)
		if err != nil {
			continue
		}
		got, err := s.Lines(t.Context(), reports.Query{Firm: firm, AsOf: at})
		if err != nil {
			continue
		}
		if at < before {
			t.Errorf("at %d after %d", at, before)
			return
		}
		before = at
		var want []reports.Fact
		for _, f := range h.Batch(0, at).Facts {
			if f.Firm == firm {
				want = append(want, f)
			}
		}
		if !reflect.DeepEqual(got, want) {
			t.Errorf("at %d: %d lines, want %d", at, len(got), len(want))
			return
		}
		select {
		case read <- at:
		case <-over:
			return
		}
	}
}
