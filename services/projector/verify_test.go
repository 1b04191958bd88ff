package projector

import (
	"context"
	"database/sql"
	"fmt"
	"strings"
	"testing"

	"daysheet/events"
	"daysheet/services/eventlog"
)

func TestVerifyFindsNothingInASoundStore(t *testing.T) {
	firms := sharingFirms()
	h := newHistory(7, firms...)
	log := openLog(t, h.now)
	h.record(t, log, 150)
	live := openStore(t)
	p := start(t, log, live, defaultLimits)
	catchUp(t, p.Projector, log)
	var done, total uint64
	report, err := Verify(testContext(t), log, live, openStore(t), func(d, all uint64) { done, total = d, all })
	if err != nil {
		t.Fatal(err)
	}
	if !report.Sound() || report.More != 0 {
		t.Errorf("verify found %q and %d more", report.Findings, report.More)
	}
	var jobs, lines int
	for _, key := range firms {
		c := read(t, live, key)
		jobs, lines = jobs+len(c.jobs[key]), lines+len(c.lines[key])
	}
	want := Report{Partitions: eventlog.Partitions, Firms: 3, Jobs: jobs,
		Commits: 150, Archived: 150, Facts: uint64(lines), Events: report.Events}
	if fmt.Sprint(report) != fmt.Sprint(want) || report.Events < 150 || done != 150 || total != 150 {
		t.Errorf("the report is %+v, want %+v; progress %d of %d", report, want, done, total)
	}
}

// TestVerifyNamesWhatDiffers alters a store behind its back.
func TestVerifyNamesWhatDiffers(t *testing.T) {
	log := openLog(t, nil)
	mustRecord(t, log, firm, opened("stairwell-7"))
	mustRecord(t, log, firm, booked("hours-0001", "stairwell-7", 90))
	mustRecord(t, log, firm, booked("hours-0002", "stairwell-7", 30))
	mustRecord(t, log, firm, opened("landing-8"))
	for _, c := range []struct {
		name, alter string
		want        []string
	}{
		{"altered fact", "UPDATE facts SET minutes = 91 WHERE sequence = 2 AND line = 0", []string{
			"sum of job stairwell-7, actual labour: Minutes is 121 and must be 120",
			"job stairwell-7, sequence 2, line 0: Minutes is 91 and must be 90"}},
		{"altered word", "UPDATE facts SET person = 'ben' WHERE sequence = 3 AND kind = 'labour'", []string{
			"job stairwell-7, sequence 3, line 0: Person is ben and must be ada"}},
		{"missing fact", "DELETE FROM facts WHERE sequence = 2 AND line = 0", []string{
			"sum of job stairwell-7", "job stairwell-7, sequence 2, line 0: the row is missing in the store"}},
		{"fact too many", `INSERT INTO facts SELECT * REPLACE (99 AS line, 'ghost' AS job) FROM facts
			WHERE sequence = 2 AND line = 0`,
			[]string{"sum of job ghost", "job ghost, sequence 2, line 99: the store has a row that the log does not give"}},
		{"missing commit", "DELETE FROM commits WHERE sequence = 2", []string{
			"sequence 2: the commit is missing in the store"}},
		{"altered commit", "UPDATE commits SET raw = 'other'::BLOB WHERE sequence = 3", []string{
			"sequence 3: the commit in the store differs from the log"}},
		{"commit twice", "INSERT INTO commits SELECT * FROM commits WHERE sequence = 3", []string{
			"sequence 3: the store holds the commit twice"}},
		{"altered job", "UPDATE jobs SET state = 'closed' WHERE job = 'landing-8'", []string{
			"job landing-8: State is closed and must be opened"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			path := filledStore(t, log)
			alter(t, path, c.alter)
			report, err := Verify(testContext(t), log, openStoreAt(t, path), openStore(t), nil)
			if err != nil {
				t.Fatal(err)
			}
			if len(report.Findings) != len(c.want) {
				t.Fatalf("verify found %q, want %q", report.Findings, c.want)
			}
			for i, want := range c.want {
				if !strings.Contains(report.Findings[i], want) {
					t.Errorf("finding %q does not say %q", report.Findings[i], want)
				}
			}
		})
	}
}

// alter changes a store's file by SQL; one row must change.
func alter(t *testing.T, path, statement string) {
	t.Helper()
	db, err := sql.Open("duckdb", path)
	if err != nil {
		t.Fatal(err)
	}
	result, err := db.ExecContext(context.Background(), statement)
	if err != nil {
		t.Fatal(err)
	}
	if n, err := result.RowsAffected(); err != nil || n != 1 {
		t.Fatalf("%s changed %d rows, %v", statement, n, err)
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
}

func TestVerifyOfAStoreAheadOfItsLog(t *testing.T) {
	log := openLog(t, nil)
	mustRecord(t, log, firm, opened("stairwell-7"))
	report, err := Verify(testContext(t), openLog(t, nil), rebuilt(t, log), openStore(t), nil)
	if err != nil || len(report.Findings) != 1 || !strings.Contains(report.Findings[0], ErrLogBehind.Error()) {
		t.Errorf("verify found %q, %v", report.Findings, err)
	}
}

func TestVerifyOfAStoreBehindItsLog(t *testing.T) {
	log := openLog(t, nil)
	mustRecord(t, log, firm, opened("stairwell-7"))
	live := rebuilt(t, log)
	mustRecord(t, log, firm, booked("hours-0001", "stairwell-7", 90))
	report, err := Verify(testContext(t), log, live, openStore(t), nil)
	if err != nil || !report.Sound() || report.Behind != 1 || report.Archived != 1 {
		t.Errorf("the report is %+v, %v", report, err)
	}
	if _, err := Verify(testContext(t), log, live, live, nil); err == nil {
		t.Error("a scratch store that is not empty was taken")
	}
}

// TestFindingsAreBounded makes more differences than a report lists.
func TestFindingsAreBounded(t *testing.T) {
	v := &verification{}
	for i := range findingsListed + 5 {
		v.find("finding %d", i)
	}
	if len(v.report.Findings) != findingsListed || v.report.More != 5 {
		t.Errorf("%d findings and %d more", len(v.report.Findings), v.report.More)
	}
}

// TestVerifyKnowsTwoFirstCommits is the one break of a chain that a run can pass
// by: the job was dropped from memory, and a first commit loads nothing.
func TestVerifyKnowsTwoFirstCommits(t *testing.T) {
	log := openRawLog(t)
	mustRecord(t, log.Log, firm, opened("stairwell-7"))
	second := invent("opened-again", "stairwell-7", events.JobOpened, day,
		events.Opening{JobType: "exterior", Title: "Invented job"})
	sequence := log.put(t, "stairwell-7", log.commit(t, "stairwell-7", 1, "", second))
	report, err := Verify(testContext(t), log, openStore(t), openStore(t), nil)
	place := fmt.Sprintf("sequence %d", sequence)
	if err != nil || len(report.Findings) != 1 || !strings.Contains(report.Findings[0], place) {
		t.Errorf("verify found %q, %v", report.Findings, err)
	}
}
