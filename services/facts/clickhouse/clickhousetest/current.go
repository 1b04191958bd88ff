package clickhousetest

import (
	"os"
	"os/exec"
	"path/filepath"
	"testing"
)

// StartCurrent starts an empty server of a current version and waits until it
// answers: the engine as a library, behind the HTTP interface that scripts/chdb
// gives it. Without the library the test fails. It knows no users, and does four
// statements at a time.
func StartCurrent(t testing.TB) *Server {
	t.Helper()
	home := filepath.Join(top(t), "scripts", "chdb")
	library := filepath.Join(home, "node_modules", "@chdb", "lib-linux-x64-gnu", "libchdb.so")
	if _, err := os.Stat(library); err != nil {
		t.Fatalf("the engine of a current ClickHouse is missing (%v): run \"scripts/setup test\"", err)
	}
	folder := t.TempDir()
	program := filepath.Join(folder, "chdb")
	if said, err := exec.Command("go", "build", "-C", home, "-o", program, ".").CombinedOutput(); err != nil {
		t.Fatalf("build scripts/chdb: %v\n%s", err, said)
	}
	for range attempts {
		address := freeAddresses(t, 1)[0]
		s := &Server{Address: address, HTTP: true, process: process{
			t: t, program: program, folder: folder, ready: []string{"listens at " + address},
			arguments: []string{"-library", library, "-folder", folder, "-address", address},
		}}
		t.Cleanup(s.Kill)
		s.begin()
		if s.answers() {
			return s
		}
		t.Logf("the current ClickHouse does not start:\n%s", s.output)
	}
	t.Fatal("the current ClickHouse does not start")
	return nil
}
