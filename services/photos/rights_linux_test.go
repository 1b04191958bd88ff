package photos

import (
	"bytes"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"syscall"
	"testing"

	"daysheet/events"
)

// nobody is a user who owns nothing.
const nobody = 65_534

// TestFolderThatMayNotBeWritten takes the right to write from the thread: a test that
// runs as root would be let through otherwise.
func TestFolderThatMayNotBeWritten(t *testing.T) {
	root := filepath.Join(t.TempDir(), "photos")
	raw := jpegOf(t, drawn(40, 30, 1))
	f := NewFolder(root, Limits{})
	put(t, f, north, raw)
	for _, folder := range files(t, root) {
		must(t, os.Chmod(filepath.Join(root, filepath.Dir(folder)), 0o500))
	}
	must(t, os.Chmod(filepath.Join(root, incoming), 0o500))
	runtime.LockOSThread()
	defer runtime.UnlockOSThread()
	me := uintptr(os.Geteuid())
	if me == 0 {
		syscall.RawSyscall(syscall.SYS_SETFSUID, nobody, 0, 0)
		defer syscall.RawSyscall(syscall.SYS_SETFSUID, me, 0, 0)
	}
	other := jpegOf(t, drawn(40, 30, 2))
	_, _, err := f.Put(t.Context(), north, nameOf(other), bytes.NewReader(other))
	if events.CodeOf(err) != events.Unavailable || !errors.Is(err, fs.ErrPermission) ||
		!strings.Contains(err.Error(), "may not write into its folder of photos") {
		t.Errorf("a folder without the right to write: %v", err)
	}
}
