package main

import (
	"context"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"daysheet/services/facts/clickhouse/clickhousetest"
)

// TestClusterGivesTheSameReports: a ledger that moves its facts from the data
// folder to a cluster shows the same reports to the byte. The cluster has the
// sample configuration, and the user there, who may do just what is needed.
func TestClusterGivesTheSameReports(t *testing.T) {
	folder := t.TempDir()
	a := mustOpen(t, folder)
	c := mustInvent(t, a, 5)
	jobs := slices.Sorted(maps.Keys(recompute(t, mustGet(t, c, "/v1/events")).jobs))
	embedded := everyReport(t, c, jobs)
	mustClose(t, a)

	cluster := clickhousetest.SampleCluster(t)
	cluster.Database(clickhousetest.ClusterDatabase)
	password := filepath.Join(t.TempDir(), "password")
	if err := os.WriteFile(password, []byte(clickhousetest.ClusterPassword+"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	onCluster := StoreFlags{ClickHouse: cluster.Address(), ClickHouseCluster: clickhousetest.ClusterName,
		ClickHouseDatabase: clickhousetest.ClusterDatabase, ClickHouseUser: clickhousetest.ClusterUser,
		ClickHousePasswordFile: password}
	g := &Globals{Data: folder, quiet: true}
	a, err := openApp(context.Background(), g, appConfig{store: onCluster})
	if err != nil {
		t.Fatal(err)
	}
	mustCatchUp(t, a)
	for path, got := range everyReport(t, owner(a), jobs) {
		if got != embedded[path] {
			t.Fatalf("%s differs on the cluster:\n%s\nwas:\n%s", path, got, embedded[path])
		}
	}
	mustClose(t, a)
	if err := (&VerifyCmd{StoreFlags: onCluster}).Run(t.Context(), g); err != nil {
		t.Fatalf("verify: %v", err)
	}
	cluster.Database("another")
	onCluster.ClickHouseDatabase = "another"
	if _, err := openApp(context.Background(), g, appConfig{store: onCluster}); err == nil ||
		!strings.Contains(err.Error(), "another") {
		t.Fatalf("the user of daysheet reaches another database: %v", err)
	}
}

func TestClusterWithoutServer(t *testing.T) {
	_, err := openStore(t.Context(), &Globals{Data: t.TempDir()}, StoreFlags{ClickHouseCluster: "invented"}, nil)
	if err == nil || !strings.Contains(err.Error(), "clickhouse-cluster") {
		t.Fatalf("a cluster without a server gave %v", err)
	}
}
