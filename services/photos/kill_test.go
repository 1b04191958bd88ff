package photos

import (
	"bufio"
	"bytes"
	"context"
	"encoding/binary"
	"image"
	"image/png"
	"io"
	"log/slog"
	"math/rand/v2"
	"os"
	"os/exec"
	"strings"
	"sync"
	"syscall"
	"testing"

	"daysheet/events"
)

// writeThenWait names the folder in which a process of this test writes a photo whole
// and then never comes to move it to its place.
const writeThenWait = "PHOTOS_TEST_WRITE_THEN_WAIT"

// keepPutting names the folder into which a process of this test puts photos until it
// is killed.
const keepPutting = "PHOTOS_TEST_KEEP_PUTTING"

func TestMain(m *testing.M) {
	if root := os.Getenv(writeThenWait); root != "" {
		never(root)
	}
	if root := os.Getenv(keepPutting); root != "" {
		forever(root)
	}
	os.Exit(m.Run())
}

// never sends a photo whose sender never says that it was all.
func never(root string) {
	var raw bytes.Buffer
	_, err := raw.ReadFrom(os.Stdin)
	if err != nil {
		panic(err)
	}
	name := nameOf(raw.Bytes())
	_, _, err = NewFolder(root, Limits{}).Put(context.Background(), north, name, io.MultiReader(&raw, waiting{}))
	panic(err)
}

// waiting says that all was written, and waits to be killed.
type waiting struct{}

func (waiting) Read([]byte) (int, error) {
	if _, err := os.Stdout.WriteString("written\n"); err != nil {
		panic(err)
	}
	select {}
}

// TestKilledBeforeTheEnd kills a process between the last byte and the move. What it
// left is no photo, and goes at the next start; while it lives, it stays.
func TestKilledBeforeTheEnd(t *testing.T) {
	root := t.TempDir()
	raw := jpegOf(t, drawn(400, 300, 5))
	program, err := os.Executable()
	must(t, err)
	child := exec.CommandContext(t.Context(), program)
	child.Env = append(os.Environ(), writeThenWait+"="+root)
	child.Stdin = bytes.NewReader(raw)
	child.Stderr = t.Output()
	out, err := child.StdoutPipe()
	must(t, err)
	must(t, child.Start())
	if line, err := bufio.NewReader(out).ReadString('\n'); line != "written\n" {
		t.Fatalf("the other process said %q: %v", line, err)
	}
	f := NewFolder(root, Limits{})
	logger := slog.New(slog.DiscardHandler)
	must(t, f.Sweep(logger))
	left := files(t, root)
	if len(left) != 1 || !strings.HasPrefix(left[0], incoming+"/") {
		t.Fatalf("while it writes, the folder holds %v", left)
	}
	must(t, child.Process.Signal(syscall.SIGKILL))
	if err := child.Wait(); err == nil {
		t.Fatal("the process was not killed")
	}
	if _, err := f.Stat(t.Context(), north, nameOf(raw)); events.CodeOf(err) != events.NotFound {
		t.Errorf("a photo that was never moved to its place: %v", err)
	}
	nothing := func(func(*events.Commit) error) error { return nil }
	if report, err := f.Check(t.Context(), nothing); err != nil || len(report.Findings) != 0 || report.Photos != 0 {
		t.Errorf("check found %+v: %v", report, err)
	}
	must(t, f.Sweep(logger))
	if left := files(t, root); len(left) != 0 {
		t.Errorf("after the next start, the folder holds %v", left)
	}
	put(t, f, north, raw)
}

// forever puts photos by several senders at once, and names each one that was kept.
func forever(root string) {
	f := NewFolder(root, Limits{})
	var senders sync.WaitGroup
	for sender := range 4 {
		senders.Go(func() {
			for n := 0; ; n++ {
				raw := numbered(sender, n)
				if _, _, err := f.Put(context.Background(), north, nameOf(raw), bytes.NewReader(raw)); err != nil {
					panic(err)
				}
				if _, err := os.Stdout.WriteString(nameOf(raw) + "\n"); err != nil {
					panic(err)
				}
			}
		})
	}
	senders.Wait()
}

// numbered is a photo of its own for each process, sender and number.
func numbered(sender, n int) []byte {
	img := image.NewGray(image.Rect(0, 0, 64, 48))
	for i := range img.Pix {
		img.Pix[i] = uint8(i * (1 + sender))
	}
	binary.BigEndian.PutUint64(img.Pix, uint64(n))
	binary.BigEndian.PutUint64(img.Pix[8:], uint64(os.Getpid()))
	var raw bytes.Buffer
	if err := png.Encode(&raw, img); err != nil {
		panic(err)
	}
	return raw.Bytes()
}

// TestKilledWhilePhotosComeIn kills a process again and again once it has said that so
// many photos are kept: all of them are there and whole, and nothing else bears the name
// of a photo.
func TestKilledWhilePhotosComeIn(t *testing.T) {
	root := t.TempDir()
	program, err := os.Executable()
	must(t, err)
	f := NewFolder(root, Limits{})
	said := map[string]bool{}
	random := rand.New(rand.NewPCG(7, 0))
	for range 6 {
		child := exec.CommandContext(t.Context(), program)
		child.Env = append(os.Environ(), keepPutting+"="+root)
		child.Stderr = t.Output()
		out, err := child.StdoutPipe()
		must(t, err)
		must(t, child.Start())
		lines := bufio.NewScanner(out)
		for n := 20 + random.IntN(60); n > 0 && lines.Scan(); n-- {
			said[lines.Text()] = true
		}
		must(t, child.Process.Signal(syscall.SIGKILL))
		for lines.Scan() { // what it said before it was gone
			if validDigest(lines.Text()) {
				said[lines.Text()] = true
			}
		}
		if err := child.Wait(); err == nil {
			t.Fatal("the process was not killed")
		}
		must(t, f.Sweep(slog.New(slog.DiscardHandler)))
		report, err := f.Check(t.Context(), func(func(*events.Commit) error) error { return nil })
		if err != nil || len(report.Findings) > 0 || report.Photos < len(said) {
			t.Fatalf("%d photos were kept; check found %+v: %v", len(said), report, err)
		}
		for digest := range said {
			if _, err := f.Stat(t.Context(), north, digest); err != nil {
				t.Errorf("a photo that was kept is lost: %v", err)
			}
		}
		if got := len(files(t, root)); got != report.Photos {
			t.Errorf("%d files for %d photos", got, report.Photos)
		}
	}
	t.Logf("6 kills, %d photos kept, none lost", len(said))
}
