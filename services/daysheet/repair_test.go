package main

import (
	"bytes"
	"context"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"daysheet/services/eventlog"
	"daysheet/services/facts/clickhouse/clickhousetest"
)

// block returns the last block file of the invented firm's partition.
func block(t *testing.T, folder string) string {
	t.Helper()
	pattern := filepath.Join(folder, logFolder, "jetstream", "$G", "streams",
		fmt.Sprintf("LEDGER_%02d", eventlog.Partition(demoFirm)), "msgs", "*.blk")
	paths, err := filepath.Glob(pattern)
	if err != nil || len(paths) == 0 {
		t.Fatalf("%d block files, %v", len(paths), err)
	}
	slices.Sort(paths)
	return paths[len(paths)-1]
}

// TestDamagedLogIsRepaired damages a ledger's log as a fault of the disk does: the
// ledger does not start, a repair makes it whole from the copy in the store, and
// reports, export and chains are what they were.
func TestDamagedLogIsRepaired(t *testing.T) {
	onServer := StoreFlags{ClickHouse: clickhousetest.Start(t).Address, ClickHouseDatabase: "default", ClickHouseUser: "default"}
	for _, c := range []struct {
		name   string
		store  StoreFlags
		damage func(content []byte, middle int) []byte
	}{
		{"a bit in a length", StoreFlags{}, func(content []byte, middle int) []byte {
			content[middle] ^= 1
			return content
		}},
		{"a file cut off", StoreFlags{}, func(content []byte, middle int) []byte { return content[:middle+100] }},
		{"with facts in ClickHouse", onServer, func(content []byte, middle int) []byte { return content[:middle] }},
	} {
		t.Run(c.name, func(t *testing.T) {
			folder := t.TempDir()
			g := &Globals{Data: folder, quiet: true}
			a, err := openApp(context.Background(), g, appConfig{store: c.store})
			if err != nil {
				t.Fatal(err)
			}
			client := mustInvent(t, a, 30)
			export := mustGet(t, client, "/v1/events")
			jobs := slices.Sorted(maps.Keys(recompute(t, export).jobs))
			before := everyReport(t, client, jobs)
			last, err := a.log.Last(t.Context(), eventlog.Partition(demoFirm))
			if err != nil || last < 200 {
				t.Fatalf("%d commits, %v: the test needs some hundred", last, err)
			}
			mustClose(t, a)

			path := block(t, folder)
			content, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			// A record begins 22 bytes before its subject.
			middle := len(content)/2 + bytes.Index(content[len(content)/2:], []byte("ledger.")) - 22
			if err := os.WriteFile(path, c.damage(content, middle), 0o600); err != nil {
				t.Fatal(err)
			}
			mustNotStart(t, g, c.store)
			if err := (&RepairCmd{StoreFlags: c.store}).Run(t.Context(), g); err != nil {
				t.Fatal(err)
			}
			if err := (&VerifyCmd{StoreFlags: c.store}).Run(t.Context(), g); err != nil {
				t.Fatalf("verify: %v", err)
			}
			if a, err = openApp(context.Background(), g, appConfig{store: c.store}); err != nil {
				t.Fatal(err)
			}
			defer mustClose(t, a)
			mustCatchUp(t, a)
			client = owner(a)
			if after := mustGet(t, client, "/v1/events"); !bytes.Equal(after, export) {
				t.Errorf("the export has %d bytes after the repair, %d before", len(after), len(export))
			}
			for path, got := range everyReport(t, client, jobs) {
				if got != before[path] {
					t.Fatalf("%s differs after the repair:\n%s\nwas:\n%s", path, got, before[path])
				}
			}
			mustInvent(t, a, 30) // everything was recorded: this adds nothing
			if now, err := a.log.Last(t.Context(), eventlog.Partition(demoFirm)); err != nil || now != last {
				t.Errorf("the log ends at %d, want %d (%v)", now, last, err)
			}
		})
	}
}

// mustNotStart requires that the ledger refuses to start, and says what to do.
func mustNotStart(t *testing.T, g *Globals, on StoreFlags) {
	t.Helper()
	for range 2 { // not at the second attempt either
		a, err := openApp(context.Background(), g, appConfig{store: on})
		if err == nil {
			mustClose(t, a)
			t.Fatal("the ledger starts on a damaged log")
		}
		where := fmt.Sprintf("partition %d is damaged", eventlog.Partition(demoFirm))
		if !strings.Contains(err.Error(), where) || !strings.Contains(err.Error(), "daysheet repair") {
			t.Fatalf("the refusal is: %v", err)
		}
	}
}

func TestRepairLeavesAloneWhatItCannotMend(t *testing.T) {
	err := (&RepairCmd{NATSFlags: NATSFlags{NATS: "nats://127.0.0.1:1"}}).Run(t.Context(), &Globals{Data: t.TempDir()})
	if err == nil || !strings.Contains(err.Error(), "cluster") {
		t.Errorf("repairing an external log gives %v", err)
	}
	if err := (&RepairCmd{}).Run(t.Context(), &Globals{Data: t.TempDir()}); err == nil {
		t.Error("a folder without a ledger is repaired")
	}
	folder := t.TempDir()
	g := &Globals{Data: folder, quiet: true}
	a := mustOpen(t, folder)
	mustInvent(t, a, 2)
	mustClose(t, a)
	if err := (&RepairCmd{}).Run(t.Context(), g); err != nil {
		t.Errorf("repairing a whole ledger: %v", err)
	}
	if aside, err := filepath.Glob(filepath.Join(folder, logFolder+".*")); err != nil || len(aside) != 0 {
		t.Errorf("a whole log was set aside: %v, %v", aside, err)
	}
}
