package eventlog

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/nats-io/nats-server/v2/server"

	"daysheet/events"
)

// movedFirms are in partitions of their own.
var movedFirms = [...]string{"firm-a", "firm-b", "firm-c"}

// movedBookings is how many hours are booked on each job of a log that is moved:
// enough for a trail.
const movedBookings = trailLength + 20

// movable makes an embedded log of three firms with two jobs each, and returns its
// folder and all of its commits.
func movable(t *testing.T) (dir string, all second) {
	t.Helper()
	dir = filepath.Join(t.TempDir(), "log")
	l := open(t, Config{Dir: dir})
	for _, firm := range movedFirms {
		for _, job := range []string{"job-1", "job-2"} {
			record(t, l, firm, job, opening(job))
		}
		for i := range movedBookings {
			for _, job := range []string{"job-1", "job-2"} {
				record(t, l, firm, job, hours(bookingID(i), job, 60))
			}
		}
	}
	all = everything(t, l)
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	if n := len(movedFirms) * 2 * (1 + movedBookings); len(all) != n {
		t.Fatalf("the log has %d commits, want %d", len(all), n)
	}
	return dir, all
}

// everything returns the commits of all partitions.
func everything(t *testing.T, l *Log) (all second) {
	t.Helper()
	for partition := range uint8(Partitions) {
		last, err := l.Last(t.Context(), partition)
		if err != nil {
			t.Fatal(err)
		}
		if last == 0 {
			continue
		}
		arrived, end := follow(t, l, partition, 0)
		for range last {
			all = append(all, next(t, arrived, end))
		}
	}
	return all
}

func sameCommit(a, b events.Stored) bool {
	return a.Partition == b.Partition && a.Sequence == b.Sequence && string(a.Raw) == string(b.Raw)
}

// wantMoved requires that the external log has the commits, that jobs can be read
// and recorded on there, and that the embedded log refuses.
func wantMoved(t *testing.T, dir string, to Config, all second) {
	t.Helper()
	l, err := Open(t.Context(), to)
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	if got := everything(t, l); !slices.EqualFunc(got, all, sameCommit) {
		t.Fatalf("%d commits in the external log differ from the %d that were moved", len(got), len(all))
	}
	for _, firm := range movedFirms {
		if got := len(commits(t, l, firm, "job-1", 0)); got != 1+movedBookings {
			t.Errorf("the chain of %s has %d commits, want %d", firm, got, 1+movedBookings)
		}
		last, err := l.Last(t.Context(), Partition(firm))
		if err != nil {
			t.Fatal(err)
		}
		again := record(t, l, firm, "job-1", hours(bookingID(3), "job-1", 60))
		fresh := record(t, l, firm, "job-1", hours("after-the-move", "job-1", 5))
		if !again[0].Duplicate || fresh[0].Duplicate || fresh[0].Sequence != last+1 {
			t.Errorf("recording after the move gives %+v and %+v, and %d is the last before", again, fresh, last)
		}
	}
	_, err = Open(t.Context(), Config{Dir: dir})
	var moved *MovedError
	if !errors.As(err, &moved) || moved.To != withoutPasswords(to.URL) {
		t.Fatalf("the embedded log opens with %v", err)
	}
	wantText(t, err, dir, "with --nats", `"daysheet migrate --back"`)
	if _, err := Repair(t.Context(), Config{Dir: dir}, nil, nil); !errors.As(err, &moved) {
		t.Errorf("repairing a log that was moved gives %v", err)
	}
}

// TestMigrate moves a log, and again once it goes on at its new place.
func TestMigrate(t *testing.T) {
	t.Parallel()
	dir, all := movable(t)
	to := Config{URL: startExternal(t).url(), MaxBytes: 64 << 20}
	steps := map[string]uint64{}
	n := uint64(len(all))
	report, err := Migrate(t.Context(), Config{Dir: dir}, to, all, func(step string, done, total uint64) {
		if done != steps[step]+1 || total != n {
			t.Errorf("%s: %d of %d after %d", step, done, total, steps[step])
		}
		steps[step] = done
	})
	if err != nil || report != (Migration{Commits: n, Copied: n}) {
		t.Fatalf("the report is %+v, %v", report, err)
	}
	if len(steps) != 3 || steps["check"] != n || steps["copy"] != n || steps["compare"] != n {
		t.Errorf("the progress is %v, want three times %d", steps, n)
	}
	wantMoved(t, dir, to, all) // three commits are added
	report, err = Migrate(t.Context(), Config{Dir: dir}, to, all, nil)
	if err != nil || report != (Migration{Commits: n, Since: 3}) {
		t.Errorf("moving once more gives %+v, %v", report, err)
	}
}

// TestMigrateAnEmptyLog marks it all the same: it could be filled otherwise.
func TestMigrateAnEmptyLog(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	if err := openDir(t, dir).Close(); err != nil {
		t.Fatal(err)
	}
	to := Config{URL: startExternal(t).url(), MaxBytes: 64 << 20}
	if report, err := Migrate(t.Context(), Config{Dir: dir}, to, nil, nil); err != nil || report != (Migration{}) {
		t.Errorf("the report is %+v, %v", report, err)
	}
	_, err := Open(t.Context(), Config{Dir: dir})
	wantText(t, err, "was moved to "+to.URL)
}

// TestMigrateBack: the embedded log goes on again while the external one has nothing
// of its own, and moves again later with what came in between.
func TestMigrateBack(t *testing.T) {
	t.Parallel()
	dir, all := movable(t)
	from, to := Config{Dir: dir}, Config{URL: startExternal(t).url(), MaxBytes: 64 << 20}
	err := MoveBack(t.Context(), from, to)
	wantCode(t, err, events.Invalid, "was not moved")
	move := func(want Migration) {
		t.Helper()
		if report, err := Migrate(t.Context(), from, to, nil, nil); err != nil || report != want {
			t.Fatalf("the report is %+v, %v, want %+v", report, err, want)
		}
	}
	n := uint64(len(all))
	move(Migration{Commits: n, Copied: n})
	elsewhere := Config{URL: startExternal(t).url(), MaxBytes: 64 << 20}
	open(t, elsewhere)
	wantCode(t, MoveBack(t.Context(), from, elsewhere), events.Conflict, "not where the log was moved to")
	if err := MoveBack(t.Context(), from, to); err != nil {
		t.Fatal(err)
	}
	l := openDir(t, dir)
	record(t, l, "firm-b", "in-between", opening("in-between"))
	all = everything(t, l)
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	move(Migration{Commits: n + 1, Copied: 1})
	wantMoved(t, dir, to, all)
	wantCode(t, MoveBack(t.Context(), from, to), events.Conflict, "has recorded 1 commits since the move")
}

// flawed is a log or a place to move it to in which something is wrong.
type flawed struct {
	name    string
	from    func(t *testing.T, dir string)          // what happened to the embedded log
	to      func(t *testing.T, e *external, l *Log) // and to the external one
	archive func(all second) Archive                // what the store has, if not the same
	code    events.Code
	says    []string
}

// TestMigrateRefuses: what cannot be moved is named; nothing is sent and nothing marked.
func TestMigrateRefuses(t *testing.T) {
	sound, all := movable(t)
	partition := Partition("firm-b")
	file := func(dir string) string {
		return filepath.Join(streamFolder(dir, partition), "msgs", "1.blk")
	}
	in := fmt.Sprintf("partition %d ", partition)
	for _, c := range []flawed{
		{name: "a bit on the disk", from: func(t *testing.T, dir string) {
			change(t, file(dir), func(c []byte) []byte { c[len(c)/2] ^= 4; return c })
		}, code: events.Internal, says: []string{in, "neither in the log nor in the store's archive"},
			archive: func(second) Archive { return nil }},
		{name: "a bit on the disk, with a copy", from: func(t *testing.T, dir string) {
			change(t, file(dir), func(c []byte) []byte { c[len(c)/2] ^= 4; return c })
		}, code: events.Internal, says: []string{in, "is damaged", `"daysheet repair"`}},
		{name: "a tail lost", from: func(t *testing.T, dir string) {
			change(t, file(dir), func(c []byte) []byte { return c[:lastRecord(t, c, partition)] })
		}, code: events.Internal, says: []string{in, "1 commits are in the store and not in the log"}},
		{name: "a commit altered, with its checksum", from: func(t *testing.T, dir string) { forgeLast(t, dir) },
			archive: func(second) Archive { return nil },
			code:    events.Internal, says: []string{"of the embedded log", "the chain is broken"}},
		{name: "a commit altered in the store", archive: func(all second) Archive {
			altered := slices.Clone(all)
			altered[9].Raw = []byte(strings.Replace(string(altered[9].Raw), `"minutes":60`, `"minutes":61`, 1))
			return altered
		}, code: events.Internal, says: []string{"of the embedded log", "sequence 10: the commit in the log differs"}},
		{name: "the log of another firm", to: func(t *testing.T, _ *external, l *Log) {
			book(t, l, "firm-z", "job-1", 2)
		}, code: events.Conflict, says: []string{fmt.Sprintf("partition %d holds 3 commits", Partition("firm-z")), "no commits of its own"}},
		{name: "other commits of this firm", to: func(t *testing.T, _ *external, l *Log) {
			record(t, l, "firm-b", "job-1", opening("job-1"))
		}, code: events.Conflict, says: []string{in, "holds other commits: sequence 1 is another commit", "nothing was written over"}},
		{name: "the same commit elsewhere", to: func(t *testing.T, e *external, _ *Log) {
			publish(t, e, "ledger."+fmt.Sprintf("%02d", partition)+".firm-b.job-9", all, partition)
		}, code: events.Conflict, says: []string{in, "sequence 1 is of ledger."}},
		{name: "the same commit without its headers", to: func(t *testing.T, e *external, _ *Log) {
			publish(t, e, subject("firm-b", "job-1"), all, partition)
		}, code: events.Conflict, says: []string{in, "sequence 1 has the header " + headerVersion}},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			dir, e := copyOf(t, sound), startExternal(t)
			to := Config{URL: e.url(), MaxBytes: 64 << 20}
			l := open(t, to)
			if c.from != nil {
				c.from(t, dir)
			}
			if c.to != nil {
				c.to(t, e, l)
			}
			var archive Archive = all
			if c.archive != nil {
				archive = c.archive(all)
			}
			before, there := fingerprint(t, dir), everything(t, l)
			_, err := Migrate(t.Context(), Config{Dir: dir}, to, archive, nil)
			wantCode(t, err, c.code, c.says...)
			if after := fingerprint(t, dir); strings.ReplaceAll(after, lockLine(t, dir), "") !=
				strings.ReplaceAll(before, lockLine(t, dir), "") {
				t.Errorf("the refused move changed the folder:\n%s\nwas\n%s", after, before)
			}
			if got := everything(t, l); !slices.EqualFunc(got, there, sameCommit) {
				t.Errorf("the refused move left %d commits where %d were", len(got), len(there))
			}
		})
	}
}

// lockLine is what a fingerprint says of the lock, which may be made anew.
func lockLine(t *testing.T, dir string) string {
	t.Helper()
	content, err := os.ReadFile(filepath.Join(dir, lockName))
	if err != nil && !errors.Is(err, os.ErrNotExist) {
		t.Fatal(err)
	}
	return fmt.Sprintln(filepath.Join(dir, lockName), events.Hash(content))
}

// lastRecord returns where the last record of a block begins.
func lastRecord(t *testing.T, content []byte, partition uint8) (at int) {
	t.Helper()
	b, err := newBlock(content, partition, 1)
	if err != nil {
		t.Fatal(err)
	}
	for next := 0; next < len(content); {
		size := b.record(next).size
		if size == 0 {
			t.Fatalf("no record at byte %d", next)
		}
		at, next = next, next+size
	}
	return at
}

// forgeLast puts a commit behind a job's last that does not name its hash, as somebody
// does who can write the log's files.
func forgeLast(t *testing.T, dir string) {
	t.Helper()
	l := openDir(t, dir)
	before := commits(t, l, "firm-b", "job-1", 0)
	c, err := events.DecodeCommit(before[len(before)-1].Raw)
	if err != nil {
		t.Fatal(err)
	}
	c.Version++
	raw, err := c.Encode()
	if err != nil {
		t.Fatal(err)
	}
	if _, err := l.js.PublishMsg(t.Context(), newMessage(c, raw, trail{before[len(before)-1].Sequence})); err != nil {
		t.Fatal(err)
	}
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
}

// publish puts the first commit of a partition under a subject, bare.
func publish(t *testing.T, e *external, subject string, all second, partition uint8) {
	t.Helper()
	first, err := all.Commits(t.Context(), partition, 0, 1)
	if err != nil || len(first) != 1 {
		t.Fatal(first, err)
	}
	if _, err := e.admin(t).Publish(t.Context(), subject, first[0].Raw); err != nil {
		t.Fatal(err)
	}
}

// TestMigrateRefusesWhatIsNoMove: sides that cannot be, a log in use, and a user who
// may not send.
func TestMigrateRefusesWhatIsNoMove(t *testing.T) {
	t.Parallel()
	dir, all := movable(t)
	e := startExternal(t)
	to := Config{URL: e.url(), MaxBytes: 64 << 20}
	for field, c := range map[string][2]Config{"Dir": {to, to}, "URL": {{Dir: dir}, {Dir: dir}}} {
		_, err := Migrate(t.Context(), c[0], c[1], nil, nil)
		wantCode(t, err, events.Invalid, field)
		wantCode(t, MoveBack(t.Context(), c[0], c[1]), events.Invalid, field)
	}
	l := openDir(t, dir)
	if _, err := Migrate(t.Context(), Config{Dir: dir}, to, nil, nil); !errors.Is(err, ErrInUse) {
		t.Errorf("moving a log in use gives %v", err)
	}
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	open(t, to)
	e.stop()
	e.options.Users = []*server.User{{Username: "reader", Password: "secret-word", Permissions: &server.Permissions{
		Publish: &server.SubjectPermission{Deny: []string{"ledger.>"}}}}}
	e.start(t)
	to.URL = strings.Replace(e.url(), "nats://", "nats://reader:secret-word@", 1)
	_, err := Migrate(t.Context(), Config{Dir: dir}, to, all, nil)
	wantCode(t, err, events.Unavailable, "does not let this user publish to ledger.")
	if got := withoutPasswords(to.URL + ", 10.0.0.1:4222"); got != e.url()+",nats://10.0.0.1:4222" {
		t.Errorf("the address is written down as %q", got)
	}
}

// TestMigrateThroughOutages cuts the connection again and again, and lets answers be
// lost, so that it is not known what was stored.
func TestMigrateThroughOutages(t *testing.T) {
	t.Parallel()
	dir, all := movable(t)
	e := startExternal(t)
	p := startProxy(t, strings.TrimPrefix(e.url(), "nats://"))
	to := Config{URL: p.url(), MaxBytes: 64 << 20, RequestTimeout: 300 * time.Millisecond}
	count := 0
	report, err := Migrate(t.Context(), Config{Dir: dir}, to, all, func(string, uint64, uint64) {
		switch count++; {
		case count%149 == 0:
			p.cut()
		case count%301 == 0:
			p.lose(false, `"seq":`)
		}
	})
	if err != nil || report.Copied != uint64(len(all)) {
		t.Fatalf("the report is %+v, %v", report, err)
	}
	wantMoved(t, dir, to, all)
}

// TestMigrateBesideAnotherWriter: a commit that comes in between is not covered up.
func TestMigrateBesideAnotherWriter(t *testing.T) {
	t.Parallel()
	for _, at := range []string{"copy", "compare"} {
		t.Run(at, func(t *testing.T) {
			t.Parallel()
			dir, all := movable(t)
			to := Config{URL: startExternal(t).url(), MaxBytes: 64 << 20}
			l := open(t, to)
			wrote := false
			_, err := Migrate(t.Context(), Config{Dir: dir}, to, all, func(step string, _, _ uint64) {
				if step == at && !wrote {
					wrote = true
					record(t, l, "firm-c", "job-7", opening("job-7"))
				}
			})
			wantCode(t, err, events.Conflict, fmt.Sprintf("partition %d ", Partition("firm-c")))
			if err := openDir(t, dir).Close(); err != nil {
				t.Errorf("the embedded log was given up: %v", err)
			}
		})
	}
}

// TestMigrateEnds ends with its context, and is not marked.
func TestMigrateEnds(t *testing.T) {
	t.Parallel()
	dir, all := movable(t)
	to := Config{URL: startExternal(t).url(), MaxBytes: 64 << 20}
	for _, at := range []string{"check", "copy", "compare"} {
		ctx, cancel := context.WithCancel(t.Context())
		_, err := Migrate(ctx, Config{Dir: dir}, to, all, func(step string, done, _ uint64) {
			if step == at {
				cancel()
			}
		})
		cancel()
		if !errors.Is(err, context.Canceled) {
			t.Errorf("ended in %s: %v", at, err)
		}
		if err := openDir(t, dir).Close(); err != nil {
			t.Errorf("ended in %s, the log was given up: %v", at, err)
		}
	}
	if _, err := Migrate(t.Context(), Config{Dir: dir}, to, all, nil); err != nil {
		t.Fatal(err)
	}
	wantMoved(t, dir, to, all)
}

// TestMigrateIntoAFullLog says what the server says, and goes on when there is room.
func TestMigrateIntoAFullLog(t *testing.T) {
	t.Parallel()
	dir, all := movable(t)
	e := startExternal(t)
	js := e.admin(t)
	to := Config{URL: e.url(), MaxBytes: maxBytesLeast}
	open(t, to)
	stream, err := js.Stream(t.Context(), streamName(Partition("firm-c")))
	if err != nil {
		t.Fatal(err)
	}
	small := stream.CachedInfo().Config
	small.MaxBytes = 8 << 10
	if _, err := js.UpdateStream(t.Context(), small); err != nil {
		t.Fatal(err)
	}
	_, err = Migrate(t.Context(), Config{Dir: dir}, to, all, nil)
	wantText(t, err, "does not take a commit", "maximum bytes exceeded", "goes on where it stopped")
	if _, err := Prepare(t.Context(), to); err != nil {
		t.Fatal(err)
	}
	report, err := Migrate(t.Context(), Config{Dir: dir}, to, all, nil)
	if err != nil || report.Copied == 0 || report.Copied == report.Commits {
		t.Fatalf("going on gives %+v, %v", report, err)
	}
	wantMoved(t, dir, to, all)
}
