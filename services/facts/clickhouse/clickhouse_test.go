package clickhouse

import (
	"context"
	"strings"
	"testing"

	"daysheet/services/facts"
	"daysheet/services/facts/clickhouse/clickhousetest"
	"daysheet/services/facts/factstest"
)

func TestConformance(t *testing.T) {
	server := clickhousetest.Start(t)
	factstest.Run(t, func(t *testing.T) facts.Store { return open(t, server, Options{}) })
}

// open opens the store in the database that belongs to the test.
func open(t testing.TB, server *clickhousetest.Server, opts Options) *Store {
	t.Helper()
	opts.Address = server.Address
	opts.Database = databaseOf(t) + opts.Database
	server.Database(opts.Database)
	s, err := Open(context.WithoutCancel(t.Context()), opts)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func databaseOf(t testing.TB) string { return strings.ReplaceAll(t.Name(), "/", "-") }
