package backup

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"

	"daysheet/events"
	"daysheet/services/dataformat"
	"daysheet/services/eventlog"
)

// Variables that turn the test binary into the process that backs up or restores.
const (
	childFolder   = "BACKUP_TEST_FOLDER"   // where it writes
	childArchives = "BACKUP_TEST_ARCHIVES" // that it restores; none: it backs up
	childLimit    = "BACKUP_TEST_LIMIT"    // bytes that a file may have: the disk is full there
	childWaits    = "BACKUP_TEST_WAITS"    // it says each step and waits to be told to go on
)

func TestMain(m *testing.M) {
	if folder := os.Getenv(childFolder); folder != "" {
		os.Exit(childProcess(folder))
	}
	os.Exit(m.Run())
}

// childProcess backs an invented ledger up into a folder, or restores archives there.
func childProcess(folder string) int {
	if limit, err := strconv.ParseUint(os.Getenv(childLimit), 10, 64); err == nil {
		signal.Ignore(syscall.SIGXFSZ)
		if err := syscall.Setrlimit(syscall.RLIMIT_FSIZE, &syscall.Rlimit{Cur: limit, Max: limit}); err != nil {
			fmt.Fprintln(os.Stderr, err)
			return 2
		}
	}
	told := bufio.NewReader(os.Stdin)
	step := func(what string) error {
		if os.Getenv(childWaits) == "" {
			return nil
		}
		fmt.Println(what)
		_, err := told.ReadByte()
		return err
	}
	err := childBackup(folder, step)
	if archives := os.Getenv(childArchives); archives != "" {
		err = childRestore(folder, strings.Split(archives, "\n"), step)
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 1
	}
	return 0
}

func childRestore(folder string, archives []string, step func(string) error) error {
	r := restoring(folder, archives)
	log, photo := r.Log, r.Photo
	r.Log = func(ctx context.Context, bytes int64) (*eventlog.Writer, error) {
		if err := step("log"); err != nil {
			return nil, err
		}
		return log(ctx, bytes)
	}
	r.Photo = func(ctx context.Context, firm, digest string, body io.Reader) error {
		return errors.Join(photo(ctx, firm, digest, body), step("photo"))
	}
	r.Upgrade = func(context.Context) error { return step("upgrade") }
	_, err := Restore(context.Background(), r)
	return err
}

// childBackup backs the ledger up that stands in a folder of the environment.
func childBackup(folder string, step func(string) error) error {
	if os.Getenv(childArchives) != "" {
		return nil
	}
	from := os.Getenv(childLedger)
	files, err := eventlog.OpenFiles(filepath.Join(from, "log"))
	if err != nil {
		return err
	}
	l := &ledger{folder: from}
	s := Scheme{Folder: folder, Keys: folder, State: filepath.Join(from, "backups"), Source: l.source(),
		Options: Options{Program: "v0.1.0", Now: day(0)}}
	s.Source.Commits = func(ctx context.Context, p uint8, after uint64, use func(events.Stored) error) error {
		return files.Commits(ctx, p, after, func(c events.Stored) error { return errors.Join(step("commit"), use(c)) })
	}
	photos := s.Source.Photos
	s.Source.Photos = func(ctx context.Context, visit func(string) error) error {
		return photos(ctx, func(path string) error { return errors.Join(visit(path), step("photo")) })
	}
	_, err = s.Run(context.Background())
	return err
}

// childLedger names the data folder that is backed up.
const childLedger = "BACKUP_TEST_LEDGER"

// child runs the process, kills it once it has said a step so often (0: never), and
// returns what it said of a failure. ended is whether it came to its end by itself.
func child(t *testing.T, step string, enough int, env ...string) (complaint string, ended bool) {
	t.Helper()
	c := exec.Command(os.Args[0])
	c.Env = append(os.Environ(), env...)
	if enough > 0 {
		c.Env = append(c.Env, childWaits+"=1")
	}
	var complaints bytes.Buffer
	c.Stderr = &complaints
	out, err := c.StdoutPipe()
	must(t, err)
	in, err := c.StdinPipe()
	must(t, err)
	must(t, c.Start())
	said := 0
	for lines := bufio.NewScanner(out); lines.Scan(); {
		if lines.Text() == step {
			said++
		}
		if said == enough {
			must(t, c.Process.Kill())
		} else if _, err := io.WriteString(in, "\n"); err != nil && !errors.Is(err, syscall.EPIPE) {
			t.Fatal(err)
		}
	}
	err = c.Wait()
	if enough > 0 && (said < enough || err == nil) {
		t.Fatalf("the process ended by itself after %d times %s: %v: %s", said, step, err, complaints.String())
	}
	return complaints.String(), err == nil
}

// bigLedger is a data folder, with an archive of it and its keys: what is killed has
// something to do.
func bigLedger(t *testing.T) (l *ledger, data, archive string) {
	t.Helper()
	l = newLedger(t)
	l.work(t, 5, 20)
	for n := range 3 {
		l.photo(t, "north", fmt.Sprintf("invented photo %d", n)+strings.Repeat("!", 40<<10))
	}
	l.customer(t, "c-1")
	l.customer(t, "c-2")
	archive = l.whole(t, 0)
	data = filepath.Join(t.TempDir(), "data")
	_, err := Restore(t.Context(), restoring(data, []string{archive, archive + ".keys"}))
	must(t, err)
	for n := range 3 { // as the ledger has them, two folders deep
		l.photo(t, "north", fmt.Sprintf("invented photo %d", n)+strings.Repeat("!", 40<<10))
	}
	must(t, os.RemoveAll(filepath.Join(data, "photos")))
	must(t, os.CopyFS(filepath.Join(data, "photos"), os.DirFS(filepath.Join(l.folder, "photos"))))
	return l, data, archive
}

// photoNames returns the names of a ledger's photos.
func (l *ledger) photoNames(t *testing.T) (names []string) {
	t.Helper()
	must(t, l.source().Photos(t.Context(), func(path string) error {
		names = append(names, filepath.Dir(filepath.Dir(path))+"/"+filepath.Base(path))
		return nil
	}))
	return names
}

// TestRestoreKilled kills a process that restores, with SIGKILL, at every step that it
// says and at what it leaves in the folder. The folder is never taken for a ledger, and
// the same command makes the whole of it.
func TestRestoreKilled(t *testing.T) {
	l, _, archive := bigLedger(t)
	env := childArchives + "=" + archive + "\n" + archive + ".keys"
	for _, at := range []struct {
		step   string
		enough int
	}{{"log", 1}, {"photo", 2}, {"upgrade", 1}} {
		folder := filepath.Join(t.TempDir(), "data")
		child(t, at.step, at.enough, childFolder+"="+folder, env)
		if _, err := dataformat.Read(folder); !errors.As(err, new(*dataformat.HalfError)) ||
			!strings.Contains(err.Error(), `run "daysheet restore" with the same archives again`) {
			t.Errorf("killed at %s %d: the folder is read with %v", at.step, at.enough, err)
		}
		child(t, "", 0, childFolder+"="+folder, env)
		l.sameIn(t, folder, l.photoNames(t)...)
		if have, err := dataformat.Read(folder); err != nil || have != dataformat.Current {
			t.Errorf("killed at %s %d, and restored again: format %d, %v", at.step, at.enough, have, err)
		}
		if left := names(t, folder); len(left) != 8 {
			t.Errorf("left in the folder: %v", left)
		}
	}
}

// TestRestoreOnAFullDisk: where the disk is full, at whatever place, the restore fails and
// the folder says that it is half of a ledger. With more room the same command makes the
// whole.
func TestRestoreOnAFullDisk(t *testing.T) {
	l, _, archive := bigLedger(t)
	env := childArchives + "=" + archive + "\n" + archive + ".keys"
	for _, limit := range []int{300, 30_000} {
		folder := filepath.Join(t.TempDir(), "data")
		complaint, ended := child(t, "", 0, childFolder+"="+folder, env, fmt.Sprintf("%s=%d", childLimit, limit))
		if ended || !strings.HasPrefix(complaint, "restore: ") {
			t.Errorf("files of at most %d bytes: it ended well %v, and said: %s", limit, ended, complaint)
		}
		if _, err := dataformat.Read(folder); !errors.As(err, new(*dataformat.HalfError)) {
			t.Errorf("files of at most %d bytes: the folder is read with %v", limit, err)
		}
		if complaint, ended = child(t, "", 0, childFolder+"="+folder, env); !ended {
			t.Errorf("with more room: %s", complaint)
		}
		l.sameIn(t, folder, l.photoNames(t)...)
	}
}

// TestRestoreOnADiskThatFillsUp: where something else takes the room that there was, the
// restore says in one sentence what happened and what to do. The disk is /dev/full, which
// takes no byte; scripts/chaos fills one under the log too.
func TestRestoreOnADiskThatFillsUp(t *testing.T) {
	l, _, archive := bigLedger(t)
	folder := filepath.Join(t.TempDir(), "data")
	r := restoring(folder, []string{archive, archive + ".keys"})
	r.Photo = func(_ context.Context, _, _ string, body io.Reader) error {
		file, err := os.OpenFile("/dev/full", os.O_WRONLY, 0)
		must(t, err)
		_, err = io.Copy(file, body)
		return errors.Join(err, file.Close())
	}
	_, err := Restore(t.Context(), r)
	want := "the disk of " + folder + ` became full before the ledger was restored: make room, and run the same ` +
		`"daysheet restore" again, which begins anew; until then the folder is half restored, and says so`
	if err == nil || err.Error() != want || !errors.Is(err, syscall.ENOSPC) {
		t.Errorf("on a full disk: %v", err)
	}
	if _, err := dataformat.Read(folder); !errors.As(err, new(*dataformat.HalfError)) {
		t.Errorf("the folder is read with %v", err)
	}
	_, err = Restore(t.Context(), restoring(folder, []string{archive, archive + ".keys"}))
	must(t, err)
	l.sameIn(t, folder, l.photoNames(t)...)
}

// TestBackupKilled kills a process that backs up into a folder, with SIGKILL. What it
// leaves there is no archive by its name, and damaged by its content; the next backup is
// whole, and takes away what was left.
func TestBackupKilled(t *testing.T) {
	l, data, _ := bigLedger(t)
	for _, at := range []struct {
		step   string
		enough int
	}{{"commit", 150}, {"photo", 1}, {"photo", 3}} {
		to := t.TempDir()
		child(t, at.step, at.enough, childFolder+"="+to, childLedger+"="+data)
		left := names(t, to)
		all, err := archivesIn(to)
		if err != nil || len(all) > 0 || len(left) != 1 {
			t.Errorf("killed at %s %d: %v, %v", at.step, at.enough, left, err)
		}
		for _, path := range left {
			if _, err := Verify([]string{path}, nil); !errors.As(err, new(*DamagedError)) {
				t.Errorf("killed at %s %d: %s is verified with %v", at.step, at.enough, path, err)
			}
		}
		l.nextIsWhole(t, data, to)
	}
}

// TestBackupOnAFullDisk: where the disk is full, at whatever place, nothing is left, and
// the status says that it failed.
func TestBackupOnAFullDisk(t *testing.T) {
	l, data, archive := bigLedger(t)
	whole, err := os.Stat(archive)
	must(t, err)
	for _, limit := range []int64{0, whole.Size() / 2, whole.Size() - 1} {
		to := t.TempDir()
		complaint, ended := child(t, "", 0, childFolder+"="+to, childLedger+"="+data, fmt.Sprintf("%s=%d", childLimit, limit))
		if left := names(t, to); ended || len(left) > 0 || !strings.Contains(complaint, "file too large") {
			t.Errorf("files of at most %d bytes: it ended well %v, left %v and said: %s", limit, ended, left, complaint)
		}
		if now, err := ReadStatus(filepath.Join(data, "backups")); limit > 0 && (err != nil || now.Failed.IsZero()) {
			t.Errorf("files of at most %d bytes: the status is %+v, %v", limit, now, err)
		}
		l.nextIsWhole(t, data, to)
	}
}

// nextIsWhole backs up again, and proves that.
func (l *ledger) nextIsWhole(t *testing.T, data, to string) {
	t.Helper()
	if complaint, ended := child(t, "", 0, childFolder+"="+to, childLedger+"="+data); !ended {
		t.Fatal(complaint)
	}
	made := names(t, to)
	if len(made) != 2 || slices.ContainsFunc(made, func(name string) bool { return strings.HasSuffix(name, draftEnding) }) {
		t.Errorf("in the folder: %v", made)
	}
	sum, err := Verify(made, nil)
	if err != nil || !sum.Proved || sum.Jobs != len(l.heads) || sum.Photos != 3 || sum.Keys != 2 {
		t.Errorf("the next backup is %+v, %v", sum, err)
	}
}

// TestRoom: a ledger for which there is no room is refused with what there is and what it
// takes, before anything is written.
func TestRoom(t *testing.T) {
	folder := filepath.Join(t.TempDir(), "a", "b")
	must(t, enoughRoom(folder, 1))
	err := enoughRoom(folder, 1<<62)
	if err == nil || !strings.Contains(err.Error(), "takes 4398046511104 MB and more") {
		t.Errorf("more than any disk has: %v", err)
	}
	if _, err := os.Stat(filepath.Dir(folder)); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("looking made the folder: %v", err)
	}
	// What a restore that was broken off left there makes room for the next.
	must(t, dataformat.Begin(folder))
	must(t, os.WriteFile(filepath.Join(folder, "left"), nil, 0o600))
	must(t, os.Truncate(filepath.Join(folder, "left"), 1<<43))
	must(t, enoughRoom(folder, 1<<43))
	must(t, os.Remove(filepath.Join(folder, "restoring.json")))
	if err := enoughRoom(folder, 1<<43); err == nil {
		t.Error("files that stay make room")
	}
}

// failing is a disk that is full after some bytes.
type failing struct {
	room int
	bytes.Buffer
}

func (f *failing) Write(p []byte) (int, error) {
	n := min(len(p), f.room)
	f.room -= n
	f.Buffer.Write(p[:n])
	if n < len(p) {
		return n, syscall.ENOSPC
	}
	return n, nil
}

// TestFullAtAnyPlace: an archive whose disk is full somewhere is an error when it is made,
// and damaged when it is read.
func TestFullAtAnyPlace(t *testing.T) {
	l := newLedger(t)
	l.work(t, 1, 1)
	l.customer(t, "c-1")
	for name, made := range map[string]func(io.Writer) error{
		"ledger": func(to io.Writer) error {
			_, err := archiveLedger(t.Context(), to, l.source(), Options{Now: day(0)})
			return err
		},
		"keys": func(to io.Writer) error {
			_, err := archiveKeys(t.Context(), to, l.source().Places, Options{Now: day(0)})
			return err
		},
	} {
		whole := &failing{room: 1 << 30}
		must(t, made(whole))
		for room := 0; room < whole.Len(); room += min(17, max(1, whole.Len()-1-room)) { // to the last byte
			disk := &failing{room: room}
			if err := made(disk); !errors.Is(err, syscall.ENOSPC) {
				t.Fatalf("%s with room for %d of %d bytes: %v", name, room, whole.Len(), err)
			}
			if _, err := check(&disk.Buffer, nil, nil, use{}); !errors.As(err, new(*DamagedError)) {
				t.Fatalf("%s with room for %d of %d bytes is read with %v", name, room, whole.Len(), err)
			}
		}
	}
}
