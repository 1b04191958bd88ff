package eventlog

import (
	"bufio"
	"fmt"
	"os"
	"os/exec"
	"strings"
	"sync"
	"testing"
)

// Variables that turn the test binary into the process that is killed.
const (
	crashFolder = "EVENTLOG_CRASH_FOLDER"
	crashRound  = "EVENTLOG_CRASH_ROUND"
)

// crashJobs are so many that commits go in groups as well as alone.
func crashJobs() []string {
	jobs := make([]string, 2*groupLeast)
	for i := range jobs {
		jobs[i] = fmt.Sprintf("job-%d", i)
	}
	return jobs
}

// TestKilledWhileRecording kills a process that records, several times over, and
// expects to find every event that it was told is on disk.
func TestKilledWhileRecording(t *testing.T) {
	if dir := os.Getenv(crashFolder); dir != "" {
		recordUntilKilled(t, dir, os.Getenv(crashRound))
		return
	}
	dir := t.TempDir()
	acknowledged := map[string]map[string]bool{}
	for _, job := range crashJobs() {
		acknowledged[job] = map[string]bool{}
	}
	for round := range 4 {
		for _, line := range killAfter(t, dir, round, 150+round*297) {
			job, id, ok := strings.Cut(line, " ")
			if !ok || acknowledged[job] == nil {
				t.Fatalf("the process said %q", line)
			}
			acknowledged[job][id] = true
		}
		l := openDir(t, dir)
		total := uint64(0)
		for _, job := range crashJobs() {
			stored := commits(t, l, testFirm, job, 0)
			once(t, eventIDs(t, stored), acknowledged[job])
			total += uint64(len(stored))
		}
		if err := l.Check(t.Context(), Partition(testFirm), total); err != nil {
			t.Error(err)
		}
		if err := l.Close(); err != nil {
			t.Fatal(err)
		}
	}
}

// killAfter runs the process until it has acknowledged that many events, kills it,
// and returns all that it acknowledged, as "<job> <id>".
func killAfter(t *testing.T, dir string, round, enough int) []string {
	t.Helper()
	child := exec.Command(os.Args[0], "-test.run=^TestKilledWhileRecording$", "-test.v=false")
	child.Env = append(os.Environ(), crashFolder+"="+dir, fmt.Sprintf("%s=%d", crashRound, round))
	child.Stderr = os.Stderr
	out, err := child.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := child.Start(); err != nil {
		t.Fatal(err)
	}
	var lines []string
	for scanner := bufio.NewScanner(out); scanner.Scan(); {
		if line, ok := strings.CutPrefix(scanner.Text(), "acknowledged "); ok && strings.HasSuffix(line, ".") {
			lines = append(lines, strings.TrimSuffix(line, "."))
		}
		if len(lines) == enough {
			if err := child.Process.Kill(); err != nil {
				t.Fatal(err)
			}
		}
	}
	if err := child.Wait(); err == nil || len(lines) < enough {
		t.Fatalf("the process ended by itself after %d events: %v", len(lines), err)
	}
	return lines
}

// recordUntilKilled books on several jobs at once and says what was acknowledged,
// one whole line for each, after it was acknowledged.
func recordUntilKilled(t *testing.T, dir, round string) {
	l := openDir(t, dir)
	var writers sync.WaitGroup
	for _, job := range crashJobs() {
		writers.Go(func() {
			submitted := opening(job)
			for i := 0; ; i++ {
				receipts, err := untilRecorded(t.Context(), l, job, submitted)
				if err != nil {
					t.Error(err)
					return
				}
				if _, err := fmt.Fprintf(os.Stdout, "acknowledged %s %s.\n", job, receipts[0].ID); err != nil {
					return // nobody listens any more
				}
				submitted = hours(fmt.Sprintf("booking-%s-%d", round, i), job, 5)
			}
		})
	}
	writers.Wait()
}
