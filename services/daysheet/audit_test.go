package main

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"path/filepath"
	"testing"

	native "github.com/ClickHouse/clickhouse-go/v2"

	"daysheet/services/facts"
	"daysheet/services/facts/clickhouse/clickhousetest"
)

// TestAuditMendsTheFile: rows lost behind the program's back are found and put back.
func TestAuditMendsTheFile(t *testing.T) {
	folder := t.TempDir()
	g := &Globals{Data: folder, quiet: true}
	a := mustOpen(t, folder)
	mustInvent(t, a, 6)
	mustClose(t, a)
	if err := (&AuditCmd{}).Run(t.Context(), g); err != nil {
		t.Fatalf("audit of a sound ledger: %v", err)
	}
	db, err := sql.Open("duckdb", filepath.Join(folder, factsFile))
	if err != nil {
		t.Fatal(err)
	}
	for _, statement := range []string{"DELETE FROM facts WHERE sequence BETWEEN 40 AND 60",
		"UPDATE facts SET minutes = minutes + 1 WHERE sequence = 90", "DELETE FROM commits WHERE sequence = 70"} {
		if _, err := db.ExecContext(t.Context(), statement); err != nil {
			t.Fatal(err)
		}
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	mustAudit(t, g, StoreFlags{}, nil)
}

// mustAudit audits a store in which something differs: first it is found, then it
// is mended or, where left says so, still there; the ledger is sound if mended.
func mustAudit(t *testing.T, g *Globals, on StoreFlags, left error) {
	t.Helper()
	if err := (&AuditCmd{StoreFlags: on}).Run(t.Context(), g); !errors.Is(err, errFound) {
		t.Fatalf("the audit gives %v, want findings", err)
	}
	if err := (&AuditCmd{StoreFlags: on, Mend: true}).Run(t.Context(), g); !errors.Is(err, left) {
		t.Fatalf("the audit that mends gives %v, want %v", err, left)
	}
	if err := (&AuditCmd{StoreFlags: on}).Run(t.Context(), g); !errors.Is(err, left) {
		t.Fatalf("the audit afterwards gives %v, want %v", err, left)
	}
	if left != nil {
		return
	}
	if err := (&VerifyCmd{StoreFlags: on}).Run(t.Context(), g); err != nil {
		t.Fatalf("verify after mending: %v", err)
	}
}

// TestAuditMendsAServer: what a ClickHouse server lost is put back; a row that the
// log does not give cannot be taken away by adding, and is said to be there still.
func TestAuditMendsAServer(t *testing.T) {
	server := clickhousetest.Start(t)
	on := StoreFlags{ClickHouse: server.Address, ClickHouseDatabase: "default", ClickHouseUser: "default"}
	g := &Globals{Data: t.TempDir(), quiet: true}
	a, err := openApp(context.Background(), g, appConfig{store: on})
	if err != nil {
		t.Fatal(err)
	}
	mustInvent(t, a, 6)
	mustClose(t, a)
	if err := (&AuditCmd{StoreFlags: on}).Run(t.Context(), g); err != nil {
		t.Fatalf("audit of a sound ledger: %v", err)
	}
	keepOnly(t, server.Address, tableOf("facts"), "sequence < 40 OR sequence > 60")
	keepOnly(t, server.Address, tableOf("jobs"), "sequence < 50 OR sequence > 55")
	keepOnly(t, server.Address, tableOf("commits"), "sequence <> 70")
	mustAudit(t, g, on, nil)
	conn := dial(t, server.Address)
	batch, err := conn.PrepareBatch(t.Context(), "INSERT INTO "+tableOf("jobs")+" (firm, job, partition, sequence)")
	if err != nil {
		t.Fatal(err)
	}
	row := conn.QueryRow(t.Context(), "SELECT partition FROM "+tableOf("commits")+" LIMIT 1")
	var partition uint8
	if err := row.Scan(&partition); err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(batch.Append("ghost", "ghost", partition, uint64(9)), batch.Send()); err != nil {
		t.Fatal(err)
	}
	mustAudit(t, g, on, errFound)
}

func dial(t *testing.T, address string) native.Conn {
	t.Helper()
	conn, err := native.Open(&native.Options{Addr: []string{address}})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := conn.Close(); err != nil {
			t.Error(err)
		}
	})
	return conn
}

// tableOf returns what a table is called on a ClickHouse server.
func tableOf(what string) string { return fmt.Sprintf("%s_%d", what, facts.Schema) }

// keepOnly leaves only some rows in a table, as a server does that lost the rest.
func keepOnly(t *testing.T, address, table, condition string) {
	t.Helper()
	conn := dial(t, address)
	for _, statement := range []string{
		"CREATE TABLE kept_" + table + " AS " + table,
		"INSERT INTO kept_" + table + " SELECT * FROM " + table + " WHERE " + condition,
		"DROP TABLE " + table,
		"RENAME TABLE kept_" + table + " TO " + table,
	} {
		if err := conn.Exec(t.Context(), statement); err != nil {
			t.Fatalf("%s: %v", statement, err)
		}
	}
}
