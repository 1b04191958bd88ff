package main

import (
	"context"
	"maps"
	"slices"
	"testing"

	"daysheet/services/facts/clickhouse/clickhousetest"
)

// TestBothStoresGiveTheSameReports: a ledger that moves its facts from the data
// folder to a ClickHouse server shows the same reports to the byte.
func TestBothStoresGiveTheSameReports(t *testing.T) {
	folder := t.TempDir()
	a := mustOpen(t, folder)
	c := mustInvent(t, a, 8)
	jobs := slices.Sorted(maps.Keys(recompute(t, mustGet(t, c, "/v1/events")).jobs))
	embedded := everyReport(t, c, jobs)
	mustClose(t, a)

	onServer := StoreFlags{ClickHouse: clickhousetest.Start(t).Address, ClickHouseDatabase: "default", ClickHouseUser: "default"}
	g := &Globals{Data: folder, quiet: true}
	a, err := openApp(context.Background(), g, appConfig{store: onServer})
	if err != nil {
		t.Fatal(err)
	}
	mustCatchUp(t, a)
	for path, got := range everyReport(t, owner(a), jobs) {
		if got != embedded[path] {
			t.Fatalf("%s differs on ClickHouse:\n%s\nwas:\n%s", path, got, embedded[path])
		}
	}
	mustClose(t, a)
	if err := (&VerifyCmd{StoreFlags: onServer}).Run(t.Context(), g); err != nil {
		t.Fatalf("verify: %v", err)
	}
}
