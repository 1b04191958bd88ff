package main

import (
	"errors"
	"io"
	"net"
	"sync"
)

// proxy passes connections on to an address, until it is cut. A pair of nodes has
// one for each direction, so that a node can be parted from the others while its
// process lives on.
type proxy struct {
	listener net.Listener
	target   string

	mu    sync.Mutex
	cut   bool
	conns map[net.Conn]bool
	done  sync.WaitGroup
}

// newProxy listens on a free port of the loopback interface.
func newProxy(target string) (*proxy, error) {
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return nil, err
	}
	p := &proxy{listener: listener, target: target, conns: map[net.Conn]bool{}}
	p.done.Go(p.accept)
	return p, nil
}

func (p *proxy) address() string { return p.listener.Addr().String() }

func (p *proxy) accept() {
	for {
		in, err := p.listener.Accept()
		if err != nil {
			return // it is closed
		}
		out, err := net.Dial("tcp", p.target)
		if err != nil {
			_ = in.Close() // the node is down: who dialled tries again
			continue
		}
		if !p.keep(in, out) {
			continue
		}
		p.done.Go(func() { p.copy(in, out) })
		p.done.Go(func() { p.copy(out, in) })
	}
}

// keep notes a pair of connections, or closes it where the proxy is cut.
func (p *proxy) keep(pair ...net.Conn) bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	for _, c := range pair {
		if p.cut {
			_ = c.Close()
		} else {
			p.conns[c] = true
		}
	}
	return !p.cut
}

// copy passes bytes on and closes both ends when one is done.
func (p *proxy) copy(from, to net.Conn) {
	_, _ = io.Copy(to, from) // an error is the end of the connection, which is all that matters
	_, _ = from.Close(), to.Close()
	p.mu.Lock()
	defer p.mu.Unlock()
	delete(p.conns, from)
	delete(p.conns, to)
}

// setCut parts the two nodes, or lets them meet again.
func (p *proxy) setCut(cut bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.cut = cut
	if cut {
		for c := range p.conns {
			_ = c.Close()
		}
		clear(p.conns)
	}
}

func (p *proxy) close() error {
	err := p.listener.Close()
	p.setCut(true)
	p.done.Wait()
	if errors.Is(err, net.ErrClosed) {
		return nil
	}
	return err
}
