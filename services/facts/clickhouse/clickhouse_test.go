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
	onEach(t, func(t *testing.T, server *clickhousetest.Server) {
		factstest.Run(t, func(t *testing.T) facts.Store { return open(t, server, Options{}) })
	})
}

// TestServer does on one server of each kind what harms none of it.
func TestServer(t *testing.T) {
	onEach(t, func(t *testing.T, server *clickhousetest.Server) {
		for name, test := range map[string]func(*testing.T, *clickhousetest.Server){
			"SameAnswersAsDuckDB": testSameAnswersAsDuckDB, "CrashBetweenInserts": testCrashBetweenInserts,
			"FirstCommitHalfThere": testFirstCommitHalfThere, "EveryBatchTwice": testEveryBatchTwice,
			"TwoWriters": testTwoWriters, "WithoutFinal": testWithoutFinal, "GivingUp": testGivingUp,
			"GivingUpWhileRowsComeIn": testGivingUpWhileRowsComeIn, "ClosingUnderWork": testClosingUnderWork,
			"CommitsAcrossAHole": testCommitsAcrossAHole, "CommitsTakenAway": testCommitsTakenAway,
			"TablesOfAnotherSchema": testTablesOfAnotherSchema,
		} {
			t.Run(name, func(t *testing.T) { test(t, server) })
		}
	})
}

// onEach runs a test on each server that is tested, with none of its data; on all
// at the same time, since each waits for its disk.
func onEach(t *testing.T, test func(t *testing.T, server *clickhousetest.Server)) {
	for name, start := range map[string]func(testing.TB) *clickhousetest.Server{
		"old": clickhousetest.Start, "current": clickhousetest.StartCurrent,
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			test(t, start(t))
		})
	}
}

// open opens the store in the database that belongs to the test.
func open(t testing.TB, server *clickhousetest.Server, opts Options) *Store {
	t.Helper()
	opts.Address, opts.HTTP = server.Address, server.HTTP
	opts.Database = databaseOf(t) + opts.Database
	server.Database(opts.Database)
	s, err := Open(context.WithoutCancel(t.Context()), opts)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func databaseOf(t testing.TB) string { return strings.ReplaceAll(t.Name(), "/", "-") }
