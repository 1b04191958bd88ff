// Package clickhousetest runs ClickHouse servers for tests, Debian's and one with
// a current engine: the real ones, on free loopback ports, with their data in a
// temporary folder.
package clickhousetest

import (
	_ "embed"
	"fmt"
	"os"
	"path/filepath"
	"testing"

	native "github.com/ClickHouse/clickhouse-go/v2"
)

//go:embed config.xml
var config []byte

// attempts is how often a start is tried: another process may take a port that
// was free.
const attempts = 5

// Server is a server that belongs to a test. It ends with the test.
type Server struct {
	Address string // host:port
	HTTP    bool   // Address is of the HTTP interface, and not of the native protocol

	process
}

// Start starts an empty server of Debian's and waits until it answers. Without
// the program the test fails.
func Start(t testing.TB) *Server {
	t.Helper()
	for range attempts {
		s := newServer(t, freeAddresses(t, 1)[0])
		s.begin()
		if s.answers() {
			return s
		}
		t.Logf("the ClickHouse server does not start:\n%s", s.output)
	}
	t.Fatal("the ClickHouse server does not start")
	return nil
}

// newServer makes the folder of a server.
func newServer(t testing.TB, address string) *Server {
	t.Helper()
	folder := t.TempDir()
	file := filepath.Join(folder, "config.xml")
	if err := os.WriteFile(file, config, 0o600); err != nil {
		t.Fatal(err)
	}
	s := &Server{Address: address, process: process{
		t: t, program: program(t), folder: folder, ready: []string{"Ready for connections"},
		arguments: []string{"--config-file=" + file, "--", "--tcp_port=" + port(t, address),
			"--path=" + folder + "/data/", "--tmp_path=" + folder + "/data/tmp/"},
	}}
	t.Cleanup(s.Kill)
	return s
}

func program(t testing.TB) string {
	t.Helper()
	for _, path := range []string{"/usr/bin/clickhouse-server", "/usr/sbin/clickhouse-server"} {
		if _, err := os.Stat(path); err == nil {
			return path
		}
	}
	t.Fatal("clickhouse-server is missing: install the Debian package of that name, clickhouse-server")
	return ""
}

// Restart starts a server that was killed, with its data and at its address.
func (s *Server) Restart() {
	s.t.Helper()
	s.begin()
	if !s.answers() {
		s.t.Fatalf("the ClickHouse server does not start again:\n%s", s.output)
	}
}

// Database makes an empty database where there is none of that name.
func (s *Server) Database(name string) {
	s.t.Helper()
	s.Exec(fmt.Sprintf("CREATE DATABASE IF NOT EXISTS `%s`", name))
}

// Exec runs a statement as the server's own user, who may do everything.
func (s *Server) Exec(statement string) {
	s.t.Helper()
	opts := &native.Options{Addr: []string{s.Address}}
	if s.HTTP {
		opts.Protocol = native.HTTP
	}
	conn, err := native.Open(opts)
	if err != nil {
		s.t.Fatal(err)
	}
	defer func() {
		if err := conn.Close(); err != nil {
			s.t.Error(err)
		}
	}()
	if err := conn.Exec(s.t.Context(), statement); err != nil {
		s.t.Fatalf("%s: %v", statement, err)
	}
}
