package clickhouse

import (
	"context"
	"crypto/tls"
	"errors"
	"maps"
	"net/http/httptest"
	"net/http/httputil"
	"net/url"
	"strings"
	"testing"

	native "github.com/ClickHouse/clickhouse-go/v2"

	"daysheet/reports"
	"daysheet/services/facts"
	"daysheet/services/facts/clickhouse/clickhousetest"
	"daysheet/services/facts/factstest"
)

// TestCurrentTables: a current server keeps text of few values as numbers, and
// has on disk what it answered for.
func TestCurrentTables(t *testing.T) {
	s := open(t, clickhousetest.StartCurrent(t), Options{})
	defer shut(t, s)
	var table, name, kind string
	found := map[string]string{}
	ask(t, s, "SELECT table, name, type FROM system.columns WHERE database = currentDatabase()",
		[]any{&table, &name, &kind}, func() { found[table+"."+name] = kind })
	want := map[string]string{}
	for _, t := range tables {
		for column := range strings.SplitSeq(t.columns, ",") {
			name, kind, _ := strings.Cut(strings.TrimSpace(column), " ")
			want[t.name+"."+name] = strings.ReplaceAll(kind, "WORD", "LowCardinality(String)")
		}
	}
	if !maps.Equal(found, want) {
		t.Fatalf("columns\n%v, want\n%v", found, want)
	}
	synced := func() map[string]uint64 {
		var (
			event  string
			times  uint64
			counts = map[string]uint64{}
		)
		ask(t, s, "SELECT event, value FROM system.events WHERE event IN ('FileSync', 'DirectorySync')",
			[]any{&event, &times}, func() { counts[event] = times })
		return counts
	}
	before := synced()
	write(t, s, factstest.NewHistory(t, 40).Batch(0, 40))
	after := synced()
	for _, event := range []string{"FileSync", "DirectorySync"} {
		// At least once for the part that each table got.
		if after[event] < before[event]+uint64(len(tables)) {
			t.Errorf("%s: %d after the batch, %d before", event, after[event], before[event])
		}
	}
}

// ask runs a statement in the store's database, and calls each after every row.
func ask(t *testing.T, s *Store, statement string, fields []any, each func()) {
	t.Helper()
	err := s.call(t.Context(), func(ctx context.Context, l *link) error {
		return query(ctx, l, facts.Statement{Text: statement}, fields, each)
	})
	if err != nil {
		t.Fatalf("%s: %v", statement, err)
	}
}

// TestErrorAfterRows: over HTTP, an error after the first rows stands where more
// of them would. It is an error still, and the link goes on.
func TestErrorAfterRows(t *testing.T) {
	s := open(t, clickhousetest.StartCurrent(t), Options{})
	defer shut(t, s)
	var (
		number uint64
		rows   int
	)
	statement := facts.Statement{Text: "SELECT number + throwIf(number = 2000000) FROM system.numbers LIMIT 4000000"}
	for range 2 * linksMax {
		rows = 0
		err := s.call(t.Context(), func(ctx context.Context, l *link) error {
			return query(ctx, l, statement, []any{&number}, func() { rows++ })
		})
		const thrown = 395
		var e *native.Exception
		if !errors.As(err, &e) || e.Code != thrown || rows == 0 {
			t.Fatalf("after %d rows: %v", rows, err)
		}
	}
	if at, err := s.Position(t.Context(), 0); err != nil || at != 0 {
		t.Fatalf("position %d, %v", at, err)
	}
}

// TestBehindAProxy speaks HTTP within TLS to a proxy before the server, and gives
// up calls through it.
func TestBehindAProxy(t *testing.T) {
	server := clickhousetest.StartCurrent(t)
	proxy := httptest.NewTLSServer(httputil.NewSingleHostReverseProxy(&url.URL{Scheme: "http", Host: server.Address}))
	defer proxy.Close()
	opts := Options{Address: proxy.Listener.Addr().String(), HTTP: true, Database: t.Name(),
		TLS: &tls.Config{}}
	server.Database(opts.Database)
	s := openTrusting(t, opts, proxy.Certificate())
	defer shut(t, s)
	h := factstest.NewHistory(t, 60)
	write(t, s, h.Batch(0, 30))
	for range linksMax {
		ctx, cancel := context.WithCancel(t.Context())
		var number uint64
		err := s.call(ctx, func(ctx context.Context, l *link) error {
			numbers := facts.Statement{Text: "SELECT number FROM system.numbers"}
			return query(ctx, l, numbers, []any{&number}, cancel)
		})
		if !errors.Is(err, context.Canceled) {
			t.Fatalf("after number %d: %v", number, err)
		}
	}
	if _, err := s.Lines(t.Context(), reports.Query{Firm: "c"}); err != nil {
		t.Fatal(err)
	}
	write(t, s, h.Batch(30, 60))
	h.Check(t, s, 60, questions)
}

// TestCurrentServersThatCannotBe: they are said, and one that can be is used
// though it comes after one that cannot.
func TestCurrentServersThatCannotBe(t *testing.T) {
	server := clickhousetest.StartCurrent(t)
	second, err := Open(t.Context(), Options{Address: "127.0.0.1:1, " + server.Address, HTTP: true})
	if err != nil {
		t.Fatal(err)
	}
	defer shut(t, second)
	h := factstest.NewHistory(t, 10)
	write(t, second, h.Batch(0, 10))
	h.Check(t, second, 10, questions)
	for want, opts := range map[string]Options{
		"127.0.0.1:1":               {Address: "127.0.0.1:1", HTTP: true},
		`no database "none of mine`: {Address: server.Address, HTTP: true, Database: "none of mine"},
	} {
		s, err := Open(t.Context(), opts)
		if err == nil {
			shut(t, s)
			t.Fatalf("%+v was opened", opts)
		}
		if !strings.Contains(err.Error(), want) {
			t.Errorf("%v does not say %q", err, want)
		}
	}
}
