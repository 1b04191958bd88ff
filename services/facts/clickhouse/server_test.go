package clickhouse

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"io"
	"net"
	"net/http/httptest"
	"slices"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"

	native "github.com/ClickHouse/clickhouse-go/v2"

	"daysheet/reports"
	"daysheet/services/facts"
	"daysheet/services/facts/clickhouse/clickhousetest"
	"daysheet/services/facts/factstest"
)

// TestServerKilled kills the server (SIGKILL) while a history is written, each
// time at another moment, and goes on from what it still has.
func TestServerKilled(t *testing.T) { onEach(t, testServerKilled) }

func testServerKilled(t *testing.T, server *clickhousetest.Server) {
	h := factstest.NewHistory(t, 200)
	s := open(t, server, Options{})
	defer shut(t, s)
	var at uint64
	for kill := range 3 {
		begun, ended := make(chan struct{}, h.Last()), make(chan error, 1)
		go func(from uint64) {
			for at := from; at < h.Last(); at++ {
				if err := s.Write(t.Context(), h.Batch(at, at+1)); err != nil {
					ended <- err
					return
				}
				begun <- struct{}{}
			}
			ended <- nil
		}(at)
		acknowledged := at
		for range 10 + 13*kill {
			<-begun
			acknowledged++
		}
		server.Kill()
		if err := <-ended; err == nil {
			t.Fatal("the server was killed, and every write came through")
		}
		acknowledged += uint64(len(begun))
		if _, err := s.Position(t.Context(), factstest.Partition); err == nil {
			t.Fatal("a server that is not there gave a position")
		}
		server.Restart()
		position, err := s.Position(t.Context(), factstest.Partition)
		if err != nil || position < acknowledged {
			t.Fatalf("position %d, %v; %d was acknowledged", position, err, acknowledged)
		}
		h.Check(t, s, position, 3)
		at = position
	}
	write(t, s, h.Batch(at, h.Last()))
	h.Check(t, s, h.Last(), questions)
}

// testGivingUp ends the context of reads and writes at moments that nobody chose.
// The store goes on, and every batch is there whole or not at all.
func testGivingUp(t *testing.T, server *clickhousetest.Server) {
	s := open(t, server, Options{})
	defer shut(t, s)
	h := factstest.NewHistory(t, 1500)
	write(t, s, h.Batch(0, 500))
	position := uint64(500)
	for given, attempts := 0, 0; given < 40; attempts++ {
		ctx, cancel := context.WithCancel(t.Context())
		begun, ended := make(chan struct{}), make(chan error, 1)
		go func(writes bool, upTo uint64) {
			close(begun)
			if writes {
				ended <- s.Write(ctx, h.Batch(500, upTo))
				return
			}
			_, err := s.Lines(ctx, reports.Query{Firm: "c"})
			ended <- err
		}(attempts%4 == 0, min(h.Last(), position+10))
		<-begun
		for range attempts % 7 { // a number of reads is a span of time
			if _, err := s.Position(t.Context(), factstest.Partition); err != nil {
				t.Fatal(err)
			}
		}
		cancel()
		if err := <-ended; errors.Is(err, context.Canceled) {
			given++
		} else if err != nil {
			t.Fatal(err)
		}
		now, err := s.Position(t.Context(), factstest.Partition)
		if err != nil || now != position && now != min(h.Last(), position+10) {
			t.Fatalf("position %d, %v after %d", now, err, position)
		}
		position = now
	}
	h.Check(t, s, position, questions)
	write(t, s, h.Batch(0, h.Last()))
	h.Check(t, s, h.Last(), questions)
}

// testGivingUpWhileRowsComeIn ends the context between two of many blocks of rows.
func testGivingUpWhileRowsComeIn(t *testing.T, server *clickhousetest.Server) {
	s := open(t, server, Options{})
	defer shut(t, s)
	numbers := facts.Statement{Text: "SELECT number FROM system.numbers LIMIT 100000000"}
	for range 150 {
		ctx, cancel := context.WithCancel(t.Context())
		var number uint64
		err := s.call(ctx, func(ctx context.Context, l *link) error {
			return query(ctx, l, numbers, []any{&number}, cancel)
		})
		if !errors.Is(err, context.Canceled) {
			t.Fatalf("after number %d: %v", number, err)
		}
	}
	if _, err := s.Position(t.Context(), 0); err != nil {
		t.Fatal(err)
	}
}

// testClosingUnderWork: Close makes calls at work return, and returns itself.
func testClosingUnderWork(t *testing.T, server *clickhousetest.Server) {
	s := open(t, server, Options{})
	h := factstest.NewHistory(t, 300)
	write(t, s, h.Batch(0, h.Last()))
	const readers = 2 * linksMax
	atWork, ended := make(chan struct{}, readers), make(chan error, readers)
	for range readers {
		go func() {
			for first := true; ; first = false {
				if _, err := s.Lines(context.Background(), reports.Query{Firm: "c"}); err != nil {
					ended <- err
					return
				}
				if first {
					atWork <- struct{}{}
				}
			}
		}()
	}
	for range readers {
		<-atWork
	}
	shut(t, s)
	for range readers {
		if err := <-ended; !errors.Is(err, ErrClosed) {
			t.Errorf("a call under Close ended with %v", err)
		}
	}
}

// testCommitsAcrossAHole: a server that lost commits still hands out the others,
// from which a log is repaired.
func testCommitsAcrossAHole(t *testing.T, server *clickhousetest.Server) {
	s := open(t, server, Options{})
	defer shut(t, s)
	h := factstest.NewHistory(t, 60)
	inserts(t, s, h.Batch(0, 10), 3)
	inserts(t, s, h.Batch(50, 60), 3)
	var got []uint64
	for after := uint64(0); ; {
		page, err := s.Commits(t.Context(), factstest.Partition, after, 3)
		if err != nil {
			t.Fatal(err)
		}
		if len(page) == 0 {
			break
		}
		for _, c := range page {
			got = append(got, c.Sequence)
		}
		after = got[len(got)-1]
	}
	var want []uint64
	for _, b := range []struct{ after, upTo uint64 }{{0, 10}, {50, 60}} {
		for _, c := range h.Batch(b.after, b.upTo).Commits {
			want = append(want, c.Sequence)
		}
	}
	if !slices.Equal(got, want) {
		t.Fatalf("commits %v, want %v", got, want)
	}
}

// testCommitsTakenAway: a position that was seen once is not believed for ever.
func testCommitsTakenAway(t *testing.T, server *clickhousetest.Server) {
	s := open(t, server, Options{})
	defer shut(t, s)
	h := factstest.NewHistory(t, 20)
	write(t, s, h.Batch(0, 20))
	h.Check(t, s, 20, 1)
	err := s.call(t.Context(), func(ctx context.Context, l *link) error {
		return l.pool.Exec(ctx, "TRUNCATE TABLE "+commitsTable)
	})
	if err != nil {
		t.Fatal(err)
	}
	h.Check(t, s, 0, 1)
	write(t, s, h.Batch(0, 20))
	h.Check(t, s, 20, questions)
}

// testTablesOfAnotherSchema: tables of another number stay as they are, and the
// new ones are filled from the first commit on.
func testTablesOfAnotherSchema(t *testing.T, server *clickhousetest.Server) {
	h := factstest.NewHistory(t, 20)
	s := open(t, server, Options{})
	write(t, s, h.Batch(0, 20))
	other := func(table string) string { return strings.Replace(table, strconv.Itoa(facts.Schema), "0", 1) }
	err := s.call(t.Context(), func(ctx context.Context, l *link) error {
		for _, table := range tables {
			if err := l.pool.Exec(ctx, "RENAME TABLE "+table.name+" TO "+other(table.name)); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	shut(t, s)
	s = open(t, server, Options{})
	defer shut(t, s)
	h.Check(t, s, 0, 1)
	write(t, s, h.Batch(0, 15))
	h.Check(t, s, 15, questions)
	if commits := count(t, s, other(commitsTable)+" FINAL"); commits != 20 {
		t.Errorf("the other tables have %d commits", commits)
	}
}

// TestTablesOfAModernServer makes the tables with the types that a modern server
// gets. 18.16 takes them when it is told to.
func TestTablesOfAModernServer(t *testing.T) {
	server := clickhousetest.Start(t)
	opts := Options{Address: server.Address, Database: t.Name()}
	server.Database(opts.Database)
	l, err := newLink(opts, false)
	if err != nil {
		t.Fatal(err)
	}
	err = l.use(t.Context(), func(ctx context.Context, l *link) error {
		ctx = native.Context(ctx, native.WithSettings(native.Settings{"allow_experimental_low_cardinality_type": 1}))
		for _, statement := range create(true) {
			columns, _, _ := strings.Cut(statement, " SETTINGS ")
			if err := l.pool.Exec(ctx, columns); err != nil {
				return err
			}
		}
		return nil
	})
	if err := errors.Join(err, l.close()); err != nil {
		t.Fatal(err)
	}
	s := open(t, server, Options{})
	defer shut(t, s)
	h := factstest.NewHistory(t, 150)
	for at := uint64(0); at < h.Last(); at += 50 {
		write(t, s, h.Batch(at, at+50))
	}
	h.Check(t, s, h.Last(), questions)
}

func TestServersThatCannotBe(t *testing.T) {
	server := clickhousetest.Start(t)
	for want, opts := range map[string]Options{
		"host:port":                 {},
		"127.0.0.1:1":               {Address: "127.0.0.1:1"},
		`no database "none of mine`: {Address: server.Address, Database: "none of mine"},
		"nobody":                    {Address: server.Address, Username: "nobody", Password: "secret"},
	} {
		s, err := Open(t.Context(), opts)
		if err == nil {
			shut(t, s)
			t.Fatalf("%+v was opened", opts)
		}
		if !strings.Contains(err.Error(), want) || strings.Contains(err.Error(), "secret") {
			t.Errorf("%v does not say %q", err, want)
		}
	}
}

// TestServerThatSaysNothing: opening ends with its context.
func TestServerThatSaysNothing(t *testing.T) {
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer func() {
		if err := listener.Close(); err != nil {
			t.Error(err)
		}
	}()
	ctx, cancel := context.WithCancel(t.Context())
	accepted := make(chan error, 1)
	go func() {
		conn, err := listener.Accept()
		if err == nil {
			_, greeting := conn.Read(make([]byte, 1))
			cancel()                           // now that it waits for the answer to its greeting
			_, err = io.Copy(io.Discard, conn) // until the other side hangs up
			err = errors.Join(greeting, err, conn.Close())
		}
		accepted <- err
	}()
	if _, err := Open(ctx, Options{Address: listener.Addr().String()}); !errors.Is(err, context.Canceled) {
		t.Fatalf("opening gave up with %v", err)
	}
	if err := <-accepted; err != nil && !errors.Is(err, syscall.ECONNRESET) {
		t.Fatal(err)
	}
}

// TestTLS speaks to the server through a proxy that ends TLS.
func TestTLS(t *testing.T) {
	server := clickhousetest.Start(t)
	authority := httptest.NewTLSServer(nil) // for its certificate
	defer authority.Close()
	listener, err := tls.Listen("tcp", "127.0.0.1:0", &tls.Config{Certificates: authority.TLS.Certificates})
	if err != nil {
		t.Fatal(err)
	}
	var joined sync.WaitGroup
	defer joined.Wait()
	defer func() {
		if err := listener.Close(); err != nil {
			t.Error(err)
		}
	}()
	joined.Go(func() {
		for {
			outer, err := listener.Accept()
			if err != nil {
				return // the test is over
			}
			joined.Go(func() { join(outer, server.Address) })
		}
	})
	opts := Options{Address: listener.Addr().String(), Database: t.Name(), TLS: &tls.Config{}}
	server.Database(opts.Database)
	s := openTrusting(t, opts, authority.Certificate())
	defer shut(t, s)
	h := factstest.NewHistory(t, 30)
	write(t, s, h.Batch(0, 30))
	h.Check(t, s, 30, questions)
}

// openTrusting opens a store over TLS, which fails as long as the server's certificate is
// nobody's.
func openTrusting(t *testing.T, opts Options, certificate *x509.Certificate) *Store {
	t.Helper()
	opts.TLS.RootCAs = x509.NewCertPool()
	if s, err := Open(t.Context(), opts); err == nil {
		shut(t, s)
		t.Fatal("a certificate of nobody's was taken")
	}
	opts.TLS.RootCAs.AddCert(certificate)
	s, err := Open(t.Context(), opts)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// join copies between a connection and an address until either side hangs up.
func join(outer net.Conn, address string) {
	inner, err := net.Dial("tcp", address)
	if err != nil {
		_ = outer.Close() // which the other side sees
		return
	}
	var ways sync.WaitGroup
	for _, way := range []struct{ to, from net.Conn }{{inner, outer}, {outer, inner}} {
		ways.Go(func() {
			_, _ = io.Copy(way.to, way.from) // one side hanging up is how it ends
			_, _ = way.to.Close(), way.from.Close()
		})
	}
	ways.Wait()
}
