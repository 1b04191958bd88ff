package clickhousetest

import (
	"bufio"
	"io"
	"net"
	"os"
	"os/exec"
	"runtime"
	"slices"
	"strings"
	"sync"
	"testing"

	"daysheet/scripts/ports"
)

// process is a program that runs for a test and ends with it.
type process struct {
	t           testing.TB
	program     string
	arguments   []string
	environment []string // beside what the test has
	folder      string   // in which it runs
	ready       []string // are in the lines that say that it answers
	command     *exec.Cmd
	output      *output
}

// begin starts the program and does not wait until it answers.
func (p *process) begin() {
	p.t.Helper()
	p.command = exec.Command(p.program, p.arguments...)
	p.command.Dir = p.folder
	p.command.Env = append(os.Environ(), p.environment...)
	read, write := io.Pipe()
	p.command.Stdout, p.command.Stderr = write, write
	p.output = &output{ready: make(chan struct{}), ended: make(chan struct{})}
	tie(p.command)
	started := make(chan error)
	go func(c *exec.Cmd) {
		runtime.LockOSThread() // the program is tied to this thread
		defer runtime.UnlockOSThread()
		err := c.Start()
		started <- err
		if err == nil {
			_ = write.CloseWithError(c.Wait()) // it is killed, so that it ends with an error
		}
	}(p.command)
	if err := <-started; err != nil {
		p.command = nil
		p.t.Fatalf("start %s: %v", p.program, err)
	}
	go p.output.read(read, p.ready)
}

// answers waits, and says whether the program came as far as to answer.
func (p *process) answers() bool {
	select {
	case <-p.output.ready:
		return true
	case <-p.output.ended:
		return false
	}
}

// Kill ends the program at once (SIGKILL). One that has ended stays so.
func (p *process) Kill() {
	if p.command == nil {
		return
	}
	_ = p.command.Process.Kill() // an error says that it has ended
	<-p.output.ended
}

// freeAddresses returns so many loopback addresses that nobody listens at.
func freeAddresses(t testing.TB, many int) []string {
	t.Helper()
	addresses, err := ports.Addresses(many)
	if err != nil {
		t.Fatal(err)
	}
	return addresses
}

// port returns the port of an address.
func port(t testing.TB, address string) string {
	t.Helper()
	_, port, err := net.SplitHostPort(address)
	if err != nil {
		t.Fatal(err)
	}
	return port
}

// output is what a program says.
type output struct {
	ready, ended chan struct{} // closed when it answers, and when it has ended

	mu    sync.Mutex
	lines []string // the last ones
}

func (o *output) read(from io.Reader, readiness []string) {
	defer close(o.ended)
	const linesMax = 40
	awaited := slices.Clone(readiness)
	for lines := bufio.NewReader(from); ; {
		line, err := lines.ReadString('\n')
		if err != nil {
			return // it has ended
		}
		o.mu.Lock()
		o.lines = append(o.lines, line)
		o.lines = o.lines[max(0, len(o.lines)-linesMax):]
		o.mu.Unlock()
		says := func(word string) bool { return strings.Contains(line, word) }
		if len(awaited) > 0 {
			if awaited = slices.DeleteFunc(awaited, says); len(awaited) == 0 {
				close(o.ready)
			}
		}
	}
}

func (o *output) String() string {
	o.mu.Lock()
	defer o.mu.Unlock()
	return strings.Join(o.lines, "")
}
