// Package clickhousetest runs a ClickHouse server of Debian's for tests: the real
// one, on a free loopback port, with its data in a temporary folder.
package clickhousetest

import (
	"bufio"
	_ "embed"
	"fmt"
	"io"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"testing"

	native "github.com/ClickHouse/clickhouse-go/v2"
)

//go:embed config.xml
var config []byte

// Server is a server that belongs to a test. It ends with the test.
type Server struct {
	Address string // host:port of the native protocol

	t       testing.TB
	program string
	folder  string
	command *exec.Cmd
	output  *output
}

// Start starts an empty server and waits until it answers. Without the program
// the test fails.
func Start(t testing.TB) *Server {
	t.Helper()
	s := &Server{t: t, program: program(t), folder: t.TempDir()}
	if err := os.WriteFile(filepath.Join(s.folder, "config.xml"), config, 0o600); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(s.Kill)
	for range 5 { // another process may take the port that was free
		s.Address = freeAddress(t)
		if s.start() {
			return s
		}
	}
	t.Fatalf("the ClickHouse server does not start:\n%s", s.output)
	return nil
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

func freeAddress(t testing.TB) string {
	t.Helper()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer func() {
		if err := listener.Close(); err != nil {
			t.Fatal(err)
		}
	}()
	return listener.Addr().String()
}

// Restart starts a server that was killed, with its data and at its address.
func (s *Server) Restart() {
	s.t.Helper()
	if !s.start() {
		s.t.Fatalf("the ClickHouse server does not start again:\n%s", s.output)
	}
}

// start runs the program, and says whether it came as far as to answer.
func (s *Server) start() bool {
	s.t.Helper()
	_, port, err := net.SplitHostPort(s.Address)
	if err != nil {
		s.t.Fatal(err)
	}
	s.command = exec.Command(s.program, "--config-file="+filepath.Join(s.folder, "config.xml"), "--",
		"--tcp_port="+port, "--path="+s.folder+"/data/", "--tmp_path="+s.folder+"/data/tmp/")
	s.command.Dir = s.folder
	read, write := io.Pipe()
	s.command.Stdout, s.command.Stderr = write, write
	s.output = &output{ready: make(chan struct{}), ended: make(chan struct{})}
	tie(s.command)
	started := make(chan error)
	go func(c *exec.Cmd) {
		runtime.LockOSThread() // the program is tied to this thread
		defer runtime.UnlockOSThread()
		err := c.Start()
		started <- err
		if err == nil {
			_ = write.CloseWithError(c.Wait()) // it is killed, so that it ends with an error
		}
	}(s.command)
	if err := <-started; err != nil {
		s.command = nil
		s.t.Fatalf("start %s: %v", s.program, err)
	}
	go s.output.read(read)
	select {
	case <-s.output.ready:
		return true
	case <-s.output.ended:
		return false
	}
}

// Kill ends the server at once (SIGKILL). A server that has ended stays so.
func (s *Server) Kill() {
	if s.command == nil {
		return
	}
	_ = s.command.Process.Kill() // an error says that it has ended
	<-s.output.ended
}

// Database makes an empty database where there is none of that name.
func (s *Server) Database(name string) {
	s.t.Helper()
	conn, err := native.Open(&native.Options{Addr: []string{s.Address}})
	if err != nil {
		s.t.Fatal(err)
	}
	defer func() {
		if err := conn.Close(); err != nil {
			s.t.Error(err)
		}
	}()
	if err := conn.Exec(s.t.Context(), fmt.Sprintf("CREATE DATABASE IF NOT EXISTS `%s`", name)); err != nil {
		s.t.Fatalf("make database %s: %v", name, err)
	}
}

// output is what a server says.
type output struct {
	ready, ended chan struct{} // closed when it answers, and when it has ended

	mu    sync.Mutex
	lines []string // the last ones
}

func (o *output) read(from io.Reader) {
	defer close(o.ended)
	const linesMax = 40
	ready := false
	for lines := bufio.NewReader(from); ; {
		line, err := lines.ReadString('\n')
		if err != nil {
			return // it has ended
		}
		o.mu.Lock()
		o.lines = append(o.lines, line)
		o.lines = o.lines[max(0, len(o.lines)-linesMax):]
		o.mu.Unlock()
		if !ready && strings.Contains(line, "Ready for connections") {
			ready = true
			close(o.ready)
		}
	}
}

func (o *output) String() string {
	o.mu.Lock()
	defer o.mu.Unlock()
	return strings.Join(o.lines, "")
}
