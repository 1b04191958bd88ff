package eventlog

import (
	"bytes"
	"io"
	"net"
	"sync"
	"testing"
)

// proxy stands between a log and its server and can lose what passes.
type proxy struct {
	listener net.Listener
	server   string
	all      sync.WaitGroup

	mu     sync.Mutex
	pipes  []*pipe
	parted bool // nobody comes through
}

// pipe is one connection through the proxy.
type pipe struct {
	client, server net.Conn

	mu         sync.Mutex
	loseFrom   net.Conn // nil: nothing is lost
	loseMarked []byte   // losing starts with the first piece that holds this
	losing     bool
	lost       func() // called once, when something is lost
}

func startProxy(tb testing.TB, server string) *proxy {
	tb.Helper()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		tb.Fatal(err)
	}
	p := &proxy{listener: listener, server: server}
	p.all.Go(p.accept)
	tb.Cleanup(func() {
		listener.Close()
		p.cut()
		p.all.Wait()
	})
	return p
}

func (p *proxy) url() string { return "nats://" + p.listener.Addr().String() }

func (p *proxy) accept() {
	for {
		client, err := p.listener.Accept()
		if err != nil {
			return // the test is over
		}
		server, err := net.Dial("tcp", p.server)
		if err != nil {
			client.Close() // the server is away; the client tries again
			continue
		}
		c := &pipe{client: client, server: server}
		p.mu.Lock()
		p.pipes = append(p.pipes, c)
		if p.parted {
			client.Close()
			server.Close()
		}
		p.mu.Unlock()
		p.all.Go(func() { c.pump(client, server) })
		p.all.Go(func() { c.pump(server, client) })
	}
}

// pump moves bytes until one side is closed.
func (c *pipe) pump(from, to net.Conn) {
	defer from.Close()
	defer to.Close()
	buffer := make([]byte, 1<<20)
	for {
		n, err := from.Read(buffer)
		if n > 0 && !c.loses(from, buffer[:n]) {
			if _, err := io.Copy(to, bytes.NewReader(buffer[:n])); err != nil {
				return
			}
		}
		if err != nil {
			return
		}
	}
}

func (c *pipe) loses(from net.Conn, piece []byte) bool {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.loseFrom != from || !c.losing && !bytes.Contains(piece, c.loseMarked) {
		return false
	}
	if !c.losing {
		c.losing = true
		c.lost()
	}
	return true
}

// lose makes every connection lose what comes from the client, or from the
// server, from the first piece on that holds the mark. The channel is closed when
// the first of them has lost something.
func (p *proxy) lose(fromClient bool, mark string) <-chan struct{} {
	p.mu.Lock()
	defer p.mu.Unlock()
	lost := make(chan struct{})
	notice := sync.OnceFunc(func() { close(lost) })
	for _, c := range p.pipes {
		c.mu.Lock()
		c.lost, c.loseMarked, c.loseFrom = notice, []byte(mark), c.server
		if fromClient {
			c.loseFrom = c.client
		}
		c.mu.Unlock()
	}
	return lost
}

// cut closes every connection. New ones lose nothing.
func (p *proxy) cut() {
	p.mu.Lock()
	defer p.mu.Unlock()
	for _, c := range p.pipes {
		c.client.Close()
		c.server.Close()
	}
	p.pipes = nil
}

// part lets nobody through any more, or everybody again.
func (p *proxy) part(parted bool) {
	p.mu.Lock()
	p.parted = parted
	p.mu.Unlock()
	if parted {
		p.cut()
	}
}
