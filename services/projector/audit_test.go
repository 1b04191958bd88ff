package projector

import (
	"context"
	"database/sql"
	"fmt"
	"strings"
	"testing"

	"daysheet/services/eventlog"
	"daysheet/services/facts"
)

// auditing audits with ranges of ten commits, so that a short log has several.
func auditing(t *testing.T, log Log, store Audited, mend bool) AuditReport {
	t.Helper()
	a := &audit{log: log, store: store, mend: mend, width: 10}
	ends, _, err := a.locate(testContext(t))
	if err != nil {
		t.Fatal(err)
	}
	for partition, end := range ends {
		if end == 0 {
			continue
		}
		span := facts.Span{Partition: uint8(partition), From: 1, To: end, Width: a.width}
		if err := a.partition(testContext(t), span, func(n uint64) { a.report.Commits += n }); err != nil {
			t.Fatal(err)
		}
	}
	return a.report
}

func TestAuditFindsNothingInASoundStore(t *testing.T) {
	h := newHistory(11, sharingFirms()...)
	log := openLog(t, h.now)
	h.record(t, log, 150)
	store := openStore(t)
	if err := Rebuild(testContext(t), log, store, nil); err != nil {
		t.Fatal(err)
	}
	h.record(t, log, 7) // the store is behind, which is no fault
	var done, total uint64
	report, err := Audit(testContext(t), log, store, true, func(d, of uint64) { done, total = d, of })
	if err != nil || report.Commits != 150 || report.Behind != 7 || len(report.Differences) != 0 || report.Unmended != 0 {
		t.Errorf("the report is %+v, %v", report, err)
	}
	if done != 150 || total != 150 {
		t.Errorf("progress is %d of %d", done, total)
	}
	if report := auditing(t, log, store, false); report.Commits != 150 || len(report.Differences) != 0 {
		t.Errorf("the report by tens is %+v", report)
	}
}

// TestAuditMends alters a store behind its back. An audit names just the commits
// that differ, and with mending the store is what a straight replay makes.
func TestAuditMends(t *testing.T) {
	firms := sharingFirms()
	h := newHistory(12, firms...)
	log := openLog(t, h.now)
	h.record(t, log, 160)
	partition := eventlog.Partition(firms[0])
	if last, err := log.Last(testContext(t), partition); err != nil || last < 40 {
		t.Fatalf("the partition has %d commits, %v: the test needs 40", last, err)
	}
	fresh := rebuilt(t, log)
	for _, c := range []struct {
		name  string
		alter []string
		want  []string
	}{
		{"rows lost", []string{"DELETE FROM facts WHERE @ AND sequence >= 23 AND sequence <= 38"}, nil},
		{"everything of some commits lost", []string{"DELETE FROM facts WHERE @ AND sequence >= 18 AND sequence <= 21",
			"DELETE FROM jobs WHERE @ AND sequence >= 18 AND sequence <= 21",
			"DELETE FROM commits WHERE @ AND sequence >= 18 AND sequence <= 21"},
			[]string{"commits 18 to 19: ", "commits 20 to 21: "}},
		{"a commit lost", []string{"DELETE FROM commits WHERE @ AND sequence = 33"},
			[]string{"commits 33 to 33: Commits is 0 and must be 1, Sequences is 0 and must be 33"}},
		{"a commit cut short", []string{"UPDATE commits SET raw = 'cut'::BLOB WHERE @ AND sequence = 7"},
			[]string{"commits 7 to 7: Bytes is 3"}},
		{"commits twice", []string{"INSERT INTO commits SELECT * FROM commits WHERE @ AND sequence IN (30, 31)"},
			[]string{"commits 30 to 31: Commits is 4 and must be 2"}},
		{"rows of nobody", []string{`INSERT INTO facts SELECT * REPLACE (7 AS sequence, 99 AS line, 'ghost' AS job, 5 AS minutes)
			FROM (SELECT * FROM facts WHERE @ LIMIT 1)`}, []string{"commits 7 to 7: Facts is "}},
		{"a job row twice", []string{"INSERT INTO jobs SELECT * REPLACE (7 AS sequence) FROM (SELECT * FROM jobs WHERE @ LIMIT 1)"},
			[]string{"commits 7 to 7: Jobs is "}},
	} {
		t.Run(c.name, func(t *testing.T) {
			path := filledStore(t, log)
			alterAny(t, path, partition, c.alter...)
			store := openStoreAt(t, path)
			report := auditing(t, log, store, false)
			if len(report.Differences) == 0 || report.Unmended != len(report.Differences) {
				t.Fatalf("the audit found %+v", report)
			}
			for i, want := range c.want {
				if i >= len(report.Differences) || !strings.Contains(report.Differences[i].String(),
					fmt.Sprintf("partition %d, %s", partition, want)) {
					t.Errorf("found %v, want %q", report.Differences, want)
				}
			}
			if c.want != nil && len(report.Differences) != len(c.want) {
				t.Errorf("found %v, want %d differences", report.Differences, len(c.want))
			}
			mended := auditing(t, log, store, true)
			if mended.Unmended != 0 || len(mended.Differences) != len(report.Differences) || !mended.Differences[0].Mended {
				t.Errorf("mending gives %+v", mended)
			}
			if again := auditing(t, log, store, false); len(again.Differences) != 0 {
				t.Errorf("after mending the audit found %v", again.Differences)
			}
			same(t, c.name, read(t, store, firms...), read(t, fresh, firms...))
			verified, err := Verify(testContext(t), log, store, openStore(t), nil)
			if err != nil || !verified.Sound() {
				t.Errorf("after mending verify found %v, %v", verified.Findings, err)
			}
		})
	}
}

// TestAuditOfAStoreAheadOfItsLog: there is nothing to audit against.
func TestAuditOfAStoreAheadOfItsLog(t *testing.T) {
	log := openLog(t, nil)
	mustRecord(t, log, firm, opened("stairwell-7"))
	store := openStore(t)
	if err := Rebuild(testContext(t), log, store, nil); err != nil {
		t.Fatal(err)
	}
	_, err := Audit(testContext(t), openLog(t, nil), store, true, nil)
	if err == nil || !strings.Contains(err.Error(), ErrLogBehind.Error()) {
		t.Errorf("the audit gives %v", err)
	}
}

// alterAny changes a store's file by SQL, any number of rows; @ stands for the
// condition of the partition.
func alterAny(t *testing.T, path string, partition uint8, statements ...string) {
	t.Helper()
	db, err := sql.Open("duckdb", path)
	if err != nil {
		t.Fatal(err)
	}
	for _, statement := range statements {
		if _, err := db.ExecContext(context.Background(),
			strings.ReplaceAll(statement, "@", fmt.Sprintf("partition = %d", partition))); err != nil {
			t.Fatalf("%s: %v", statement, err)
		}
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
}
