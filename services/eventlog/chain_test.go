package eventlog

import (
	"slices"
	"strconv"
	"testing"

	"github.com/nats-io/nats.go"

	"daysheet/events"
)

// forge publishes a message in the place of a commit, behind the log's back.
func forge(tb testing.TB, l *Log, firm, job string, data []byte, header map[string]string) uint64 {
	tb.Helper()
	m := nats.NewMsg(subject(firm, job))
	m.Data = data
	for name, value := range header {
		m.Header.Set(name, value)
	}
	ack, err := l.js.PublishMsg(tb.Context(), m)
	if err != nil {
		tb.Fatal(err)
	}
	return ack.Sequence
}

func TestLongChain(t *testing.T) {
	dir := t.TempDir()
	l := openDir(t, dir)
	// Two jobs of one firm, so that sequences of a job are not their versions.
	const n = 3*trailLength + 10
	record(t, l, testFirm, "job-2", opening("job-2"))
	record(t, l, testFirm, testJob, opening(testJob))
	var sequences []uint64
	for i := range n {
		record(t, l, testFirm, "job-2", hours(bookingID(i), "job-2", 5))
		sequences = append(sequences, record(t, l, testFirm, testJob, hours(bookingID(i), testJob, 5))[0].Sequence)
	}
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	l = openDir(t, dir)
	all := commits(t, l, testFirm, testJob, 0)
	if len(all) != n+1 {
		t.Fatalf("%d commits are read, want %d", len(all), n+1)
	}
	for i, s := range all[1:] {
		if s.Sequence != sequences[i] {
			t.Fatalf("commit %d is read from sequence %d, want %d", i+2, s.Sequence, sequences[i])
		}
	}
	ids := eventIDs(t, all)
	for i := range n {
		if ids[i+1] != bookingID(i) {
			t.Fatalf("event %d is %s, want %s", i+1, ids[i+1], bookingID(i))
		}
	}
	// A log that was opened again goes on with the trail where it was.
	for i := n; i < n+2*trailLength; i++ {
		record(t, l, testFirm, testJob, hours(bookingID(i), testJob, 5))
	}
	if got := len(commits(t, l, testFirm, testJob, 0)); got != n+1+2*trailLength {
		t.Errorf("%d commits are read, want %d", got, n+1+2*trailLength)
	}
}

func TestTrailReachesFromOneToTheNext(t *testing.T) {
	l := openDir(t, t.TempDir())
	book(t, l, testFirm, testJob, 2*trailLength)
	for _, version := range []uint64{trailLength, 2 * trailLength} {
		m, ok, err := l.at(t.Context(), Partition(testFirm), version) // the only job, so sequence and version agree
		if err != nil || !ok {
			t.Fatal(ok, err)
		}
		before, err := sequencesBefore(m, 0)
		if err != nil {
			t.Fatal(err)
		}
		first := max(1, version-trailLength)
		if len(before) != int(version-first) || before[0] != version-1 || before[len(before)-1] != first {
			t.Errorf("the trail of commit %d is %v, want %d down to %d", version, before, version-1, first)
		}
	}
	m, _, err := l.at(t.Context(), Partition(testFirm), trailLength+1)
	if err != nil {
		t.Fatal(err)
	}
	if m.header.Get(headerTrail) != "" {
		t.Error("a commit between two trails carries one")
	}
}

func TestCommitsUpTo(t *testing.T) {
	l := openDir(t, t.TempDir())
	record(t, l, testFirm, testJob, opening(testJob))               // 1
	record(t, l, testFirm, "job-2", opening("job-2"))               // 2
	record(t, l, testFirm, testJob, hours("booking-1", testJob, 5)) // 3
	record(t, l, testFirm, "job-2", hours("booking-1", "job-2", 5)) // 4
	record(t, l, testFirm, testJob, hours("booking-2", testJob, 5)) // 5
	for upTo, want := range map[uint64][]uint64{
		0: {1, 3, 5}, 1: {1}, 2: {1}, 3: {1, 3}, 4: {1, 3}, 5: {1, 3, 5}, 99: {1, 3, 5},
	} {
		var got []uint64
		for _, s := range commits(t, l, testFirm, testJob, upTo) {
			got = append(got, s.Sequence)
		}
		if !slices.Equal(got, want) {
			t.Errorf("commits up to %d stand at %v, want %v", upTo, got, want)
		}
	}
	if got := commits(t, l, testFirm, "job-3", 0); len(got) != 0 {
		t.Errorf("a job without events has %d commits", len(got))
	}
}

// TestForgedCommitsAreFound writes what is no honest next commit, and expects
// both readers and writers of the job to name where it stands.
func TestForgedCommitsAreFound(t *testing.T) {
	honest := func(t *testing.T, l *Log) (raw []byte, version, previous string) {
		stored := commits(t, l, testFirm, testJob, 0)
		last := stored[len(stored)-1]
		c := &events.Commit{
			Firm: testFirm, Job: testJob, Version: uint64(len(stored)) + 1, Previous: events.Hash(last.Raw),
			RecordedBy: "crew", Events: []events.Event{hours("booking-forged", testJob, 5)},
		}
		raw, err := c.Encode()
		if err != nil {
			t.Fatal(err)
		}
		return raw, strconv.FormatUint(c.Version, 10), strconv.FormatUint(last.Sequence, 10)
	}
	for name, c := range map[string]struct {
		forge func(raw []byte, header map[string]string) []byte
		says  string
	}{
		"honest":           {leave, ""},
		"garbage":          {garbage, "read commit"},
		"bare garbage":     {bareGarbage, "not a commit"},
		"torn":             {func(raw []byte, _ map[string]string) []byte { return raw[:len(raw)/2] }, "read commit"},
		"other hash":       {otherHash, "does not follow"},
		"other version":    {withHeader(headerVersion, "7"), headerVersion},
		"no way back":      {withHeader(headerPrevious, ""), headerPrevious},
		"way to itself":    {withHeader(headerPrevious, "5"), "do not lead back"},
		"way past one":     {withHeader(headerPrevious, "1"), "does not follow"},
		"way to the other": {withHeader(headerPrevious, "2"), "job-2"},
	} {
		t.Run(name, func(t *testing.T) {
			l := openDir(t, t.TempDir())
			record(t, l, testFirm, testJob, opening(testJob))
			record(t, l, testFirm, "job-2", opening("job-2"))
			record(t, l, testFirm, testJob, hours("booking-1", testJob, 5))
			record(t, l, testFirm, testJob, hours("booking-2", testJob, 5))
			raw, version, previous := honest(t, l)
			header := map[string]string{headerVersion: version, headerPrevious: previous}
			raw = c.forge(raw, header)
			sequence := forge(t, l, testFirm, testJob, raw, header)
			_, readErr := l.Commits(t.Context(), testFirm, testJob, 0)
			_, writeErr := l.Record(t.Context(), testFirm, testJob, "crew", []events.Event{hours("booking-3", testJob, 5)})
			if name == "honest" {
				if readErr != nil || writeErr != nil {
					t.Fatal(readErr, writeErr)
				}
				return
			}
			at := "sequence " + strconv.FormatUint(sequence, 10)
			if name == "way to the other" {
				at = "sequence 2"
			}
			wantCode(t, readErr, events.Internal, at, c.says)
			wantCode(t, writeErr, events.Internal, "sequence ")
			// Another job of the firm is not held up.
			record(t, l, testFirm, "job-2", hours("booking-1", "job-2", 5))
		})
	}
}

func leave(raw []byte, _ map[string]string) []byte { return raw }

func garbage([]byte, map[string]string) []byte { return []byte("garbage") }

// bareGarbage has no headers either.
func bareGarbage(_ []byte, header map[string]string) []byte {
	clear(header)
	return []byte("garbage")
}

// withHeader leaves the commit as it is and changes one header.
func withHeader(name, value string) func([]byte, map[string]string) []byte {
	return func(raw []byte, header map[string]string) []byte {
		header[name] = value
		return raw
	}
}

// otherHash names another commit as the one before.
func otherHash(raw []byte, _ map[string]string) []byte {
	c, err := events.DecodeCommit(raw)
	if err != nil {
		return nil
	}
	c.Previous = events.Hash([]byte("another commit"))
	raw, err = c.Encode()
	if err != nil {
		return nil
	}
	return raw
}
