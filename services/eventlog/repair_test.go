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

	"daysheet/events"
)

// second is a second copy of one partition.
type second []events.Stored

func (a second) Commits(_ context.Context, partition uint8, after uint64, limit int) ([]events.Stored, error) {
	var out []events.Stored
	for _, s := range a {
		if s.Partition == partition && s.Sequence > after && len(out) < limit {
			out = append(out, s)
		}
	}
	return out, nil
}

// whole returns every commit of the test firm's partition.
func whole(t *testing.T, l *Log) second {
	t.Helper()
	last, err := l.Last(t.Context(), Partition(testFirm))
	if err != nil {
		t.Fatal(err)
	}
	arrived, end := follow(t, l, Partition(testFirm), 0)
	var all second
	for range last {
		all = append(all, next(t, arrived, end))
	}
	return all
}

// booked is how many commits each of the two jobs has that a filled log checks.
const booked = 2*trailLength + 10

// filledFolder makes a log of two block files: two jobs with trails, and between
// their commits large ones of other jobs. It returns its commits.
func filledFolder(t *testing.T) (dir string, all second) {
	t.Helper()
	dir = filepath.Join(t.TempDir(), "log")
	l := open(t, Config{Dir: dir, MaxBytes: 20 << 20}) // its blocks are of 4 MiB
	for i := range booked {
		for _, job := range []string{testJob, "job-2"} {
			e := hours(bookingID(i), job, 60)
			if i == 0 {
				e = opening(job)
			}
			record(t, l, testFirm, job, e)
		}
		job := fmt.Sprintf("large-%d", i)
		submitted := []events.Event{opening(job)}
		for part := range 99 {
			e := hours(bookingID(part), job, 60)
			e.Source = "/phones/" + strings.Repeat("van-", 40)
			submitted = append(submitted, e)
		}
		record(t, l, testFirm, job, submitted...)
	}
	all = whole(t, l)
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	return dir, all
}

// copyOf returns a copy of a log's folder that the test may damage.
func copyOf(t *testing.T, dir string) string {
	t.Helper()
	to := filepath.Join(t.TempDir(), "log")
	if err := os.CopyFS(to, os.DirFS(dir)); err != nil {
		t.Fatal(err)
	}
	return to
}

// blocks returns the paths of the test firm's block files.
func blocks(t *testing.T, dir string) []string {
	t.Helper()
	folder := filepath.Join(streamFolder(dir, Partition(testFirm)), "msgs")
	numbers, err := blockNumbers(folder)
	if err != nil {
		t.Fatal(err)
	}
	var paths []string
	for _, n := range numbers {
		paths = append(paths, filepath.Join(folder, fmt.Sprintf("%d.blk", n)))
	}
	if len(paths) < 2 {
		t.Fatalf("the log has %d block files, the test needs more", len(paths))
	}
	return paths
}

// change rewrites a file.
func change(t *testing.T, path string, how func([]byte) []byte) {
	t.Helper()
	content, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, how(content), 0o600); err != nil {
		t.Fatal(err)
	}
}

// middle returns where a large record begins, near the middle of a block.
func middle(t *testing.T, content []byte) int {
	t.Helper()
	b, err := newBlock(content, Partition(testFirm), 0)
	if err != nil {
		t.Fatal(err)
	}
	b.prefix = append(b.prefix, testFirm+".large-"...)
	return b.resume(len(content) / 2)
}

// flip returns a change of one bit at an offset into the record in the middle.
func flip(t *testing.T, offset int) func([]byte) []byte {
	return func(content []byte) []byte {
		content[middle(t, content)+offset] ^= 4
		return content
	}
}

// serverAt lets the server alone open the log, with what it does to damaged files: the
// damage may come about while the log is open.
func serverAt(t *testing.T, dir string) {
	t.Helper()
	cfg, err := Config{Dir: dir}.withDefaults()
	if err != nil {
		t.Fatal(err)
	}
	s, err := startServer(t.Context(), cfg, newBreakage())
	if err != nil {
		t.Logf("at the start: %v", err)
		return
	}
	s.Shutdown()
	s.WaitForShutdown()
}

// start opens the log and returns what the check says.
func start(t *testing.T, dir string, atLeast uint64) error {
	t.Helper()
	l, err := Open(t.Context(), Config{Dir: dir})
	if err != nil {
		return err
	}
	return errors.Join(l.Check(t.Context(), Partition(testFirm), atLeast), l.Close())
}

// TestRepair damages a log in many ways, with and without a start of the server in
// between, and requires every commit to be there afterwards, under its sequence.
func TestRepair(t *testing.T) {
	sound, all := filledFolder(t)
	inHeaderLength := recordHeader + len(subject(testFirm, "large-99"))
	first := func(t *testing.T, dir string) string { return blocks(t, dir)[0] }
	last := func(t *testing.T, dir string) string { b := blocks(t, dir); return b[len(b)-1] }
	for name, damage := range map[string]func(t *testing.T, dir string){
		"bit in a length":             func(t *testing.T, dir string) { change(t, first(t, dir), flip(t, 0)) },
		"bit in a length, last block": func(t *testing.T, dir string) { change(t, last(t, dir), flip(t, 1)) },
		"bit in a sequence":           func(t *testing.T, dir string) { change(t, first(t, dir), flip(t, 5)) },
		"bit in a subject":            func(t *testing.T, dir string) { change(t, first(t, dir), flip(t, 25)) },
		"bit in a header":             func(t *testing.T, dir string) { change(t, first(t, dir), flip(t, 60)) },
		"bit in a length of headers":  func(t *testing.T, dir string) { change(t, first(t, dir), flip(t, inHeaderLength)) },
		"bit in an event":             func(t *testing.T, dir string) { change(t, first(t, dir), flip(t, 500)) },
		"a block cut off": func(t *testing.T, dir string) {
			change(t, first(t, dir), func(c []byte) []byte { return c[:len(c)/2] })
		},
		"the last block cut off": func(t *testing.T, dir string) {
			change(t, last(t, dir), func(c []byte) []byte { return c[:len(c)/2] })
		},
		"zeros in a block": func(t *testing.T, dir string) {
			change(t, first(t, dir), func(c []byte) []byte { clear(c[len(c)/4 : len(c)/2]); return c })
		},
		"a block lost": func(t *testing.T, dir string) {
			if err := os.Remove(first(t, dir)); err != nil {
				t.Fatal(err)
			}
		},
		"settings torn": func(t *testing.T, dir string) {
			change(t, filepath.Join(streamFolder(dir, Partition(testFirm)), "meta.inf"), func(c []byte) []byte { return c[:9] })
		},
		"a stream lost": func(t *testing.T, dir string) {
			if err := os.RemoveAll(streamFolder(dir, Partition(testFirm))); err != nil {
				t.Fatal(err)
			}
		},
	} {
		for _, started := range []bool{false, true} {
			t.Run(fmt.Sprintf("%s, started %v", name, started), func(t *testing.T) {
				t.Parallel()
				dir := copyOf(t, sound)
				damage(t, dir)
				wantRefused(t, dir, uint64(len(all)))
				if started {
					serverAt(t, dir)
				}
				var done, total uint64
				report, err := Repair(t.Context(), Config{Dir: dir}, all, func(d, of uint64) { done, total = d, of })
				if err != nil {
					t.Fatal(err)
				}
				t.Logf("%+v", report)
				n := uint64(len(all))
				if report.Commits != n || report.Aside == "" || done != n || total != n {
					t.Errorf("the report is %+v, progress %d of %d", report, done, total)
				}
				wantRepaired(t, dir, all)
				if _, err := os.Stat(report.Aside); err != nil {
					t.Error(err)
				}
			})
		}
	}
}

// wantRefused requires that a damaged log is not opened, that the refusal says where it is
// damaged and what to do, and that the files stay as they are.
func wantRefused(t *testing.T, dir string, atLeast uint64) {
	t.Helper()
	before := fingerprint(t, dir)
	err := start(t, dir, atLeast)
	wantText(t, err, fmt.Sprintf("partition %d is damaged", Partition(testFirm)))
	if damaged := new(DamagedError); errors.As(err, &damaged) {
		wantText(t, err, "daysheet repair")
		if after := fingerprint(t, dir); after != before {
			t.Errorf("the refused start changed the folder:\n%s\nwas\n%s", after, before)
		}
	}
}

// wantRepaired opens the log, compares its commits, and goes on recording.
func wantRepaired(t *testing.T, dir string, all second) {
	t.Helper()
	if err := start(t, dir, uint64(len(all))); err != nil {
		t.Fatal(err)
	}
	l := openDir(t, dir)
	same := func(a, b events.Stored) bool { return a.Sequence == b.Sequence && string(a.Raw) == string(b.Raw) }
	if got := whole(t, l); !slices.EqualFunc(got, all, same) {
		t.Fatalf("%d commits after the repair differ from the %d before", len(got), len(all))
	}
	for _, job := range []string{testJob, "job-2"} {
		if got := len(commits(t, l, testFirm, job, 0)); got != booked {
			t.Errorf("the chain of %s has %d commits, want %d", job, got, booked)
		}
		again := record(t, l, testFirm, job, hours("after-"+job, job, 5))
		if again[0].Duplicate || again[0].Sequence <= uint64(len(all)) {
			t.Errorf("recording after the repair gives %+v", again)
		}
	}
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	report, err := Repair(t.Context(), Config{Dir: dir}, all, nil)
	if err != nil || report.Aside != "" || report.Restored != 0 || len(report.Damage) != 0 {
		t.Errorf("repairing a whole log gives %+v, %v", report, err)
	}
}

// TestRepairRefuses: what cannot be made whole is named and left as it is.
func TestRepairRefuses(t *testing.T) {
	sound, all := filledFolder(t)
	content, err := os.ReadFile(blocks(t, sound)[0])
	if err != nil {
		t.Fatal(err)
	}
	b, err := newBlock(content[middle(t, content):], Partition(testFirm), 1)
	if err != nil {
		t.Fatal(err)
	}
	hit := b.record(0).stored
	without := func(sequence uint64) second {
		return slices.DeleteFunc(slices.Clone(all), func(s events.Stored) bool { return s.Sequence == sequence })
	}
	altered := slices.Clone(all)
	altered[9].Raw = []byte(strings.Replace(string(altered[9].Raw), `"minutes":60`, `"minutes":61`, 1))
	beyond := append(slices.Clone(all), events.Stored{Partition: Partition(testFirm), Sequence: uint64(len(all)) + 1,
		Raw: all[len(all)-1].Raw})
	for _, c := range []struct {
		name    string
		archive Archive
		says    string
	}{
		{"in neither", without(hit.Sequence), fmt.Sprintf("sequence %d: the commit is neither", hit.Sequence)},
		{"no archive", nil, fmt.Sprintf("sequence %d: the commit is neither", hit.Sequence)},
		{"differs", altered, "sequence 10: the commit in the log differs"},
		{"broken chain", beyond, fmt.Sprintf("sequence %d: commit", len(all)+1)},
	} {
		t.Run(c.name, func(t *testing.T) {
			dir := copyOf(t, sound)
			change(t, blocks(t, dir)[0], flip(t, 0))
			before := fingerprint(t, filepath.Dir(dir))
			_, err := Repair(t.Context(), Config{Dir: dir}, c.archive, nil)
			wantText(t, err, c.says, fmt.Sprintf("partition %d", Partition(testFirm)))
			if after := fingerprint(t, filepath.Dir(dir)); after != before {
				t.Errorf("the refused repair changed the folder:\n%s\nwas\n%s", after, before)
			}
		})
	}
	_, err = Repair(t.Context(), Config{URL: "nats://127.0.0.1:1"}, all, nil)
	wantCode(t, err, events.Invalid, "Dir")
	openDir(t, sound)
	if _, err = Repair(t.Context(), Config{Dir: sound}, all, nil); !errors.Is(err, ErrInUse) {
		t.Errorf("repairing a log in use gives %v", err)
	}
}

// fingerprint lists all files under a folder with the hash of what is in them.
func fingerprint(t *testing.T, folder string) string {
	t.Helper()
	var out strings.Builder
	err := filepath.WalkDir(folder, func(path string, d os.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		content, err := os.ReadFile(path)
		fmt.Fprintln(&out, path, events.Hash(content))
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return out.String()
}

// TestRepairCutShort leaves the folders as a repair does that is killed before each
// of its last steps; the next start or repair ends with a whole log.
func TestRepairCutShort(t *testing.T) {
	sound, all := filledFolder(t)
	for name, cut := range map[string]func(t *testing.T, dir, built string){
		"while it builds": func(t *testing.T, dir, built string) {
			rename(t, built, dir+repairing)
			change(t, filepath.Join(streamFolder(dir+repairing, Partition(testFirm)), "msgs", "1.blk"),
				func(c []byte) []byte { return c[:len(c)/3] })
		},
		"before the old log is set aside": func(t *testing.T, dir, built string) { rename(t, built, dir+repaired) },
		"after the old log was set aside": func(t *testing.T, dir, built string) {
			rename(t, built, dir+repaired)
			rename(t, dir, dir+aside+"1")
		},
	} {
		t.Run(name, func(t *testing.T) {
			built, dir := copyOf(t, sound), copyOf(t, sound)
			change(t, blocks(t, dir)[0], flip(t, 0))
			cut(t, dir, built)
			if there, err := Exists(dir); err != nil || !there {
				t.Fatalf("the log is there: %v, %v", there, err)
			}
			if name == "while it builds" {
				if _, err := Repair(t.Context(), Config{Dir: dir}, all, nil); err != nil {
					t.Fatal(err)
				}
			}
			wantRepaired(t, dir, all)
			if _, err := os.Stat(dir + repairing); !errors.Is(err, os.ErrNotExist) {
				t.Errorf("the unfinished log is still there: %v", err)
			}
		})
	}
}

func rename(t *testing.T, from, to string) {
	t.Helper()
	if err := os.Rename(from, to); err != nil {
		t.Fatal(err)
	}
}

// TestRepairSaysWhatItLeavesOut tears the record that was written last, which the
// archive does not have: the log is whole without it, and the report tells.
func TestRepairSaysWhatItLeavesOut(t *testing.T) {
	dir, all := filledFolder(t)
	paths := blocks(t, dir)
	change(t, paths[len(paths)-1], func(c []byte) []byte { return c[:len(c)-20] })
	all = all[:len(all)-1]
	report, err := Repair(t.Context(), Config{Dir: dir}, all, nil)
	if err != nil {
		t.Fatal(err)
	}
	if len(report.Damage) != 2 || !strings.Contains(report.Damage[1], fmt.Sprintf("after sequence %d, is left out", len(all))) {
		t.Errorf("the report is %+v", report)
	}
	l := openDir(t, dir)
	if got := whole(t, l); len(got) != len(all) {
		t.Errorf("%d commits are there, want %d", len(got), len(all))
	}
}
