package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"net"
	"strings"
	"sync"
)

// cut puts a network between writers and server that breaks connections off in the
// middle of requests and of answers.
func cut(ctx context.Context, t *trial) error {
	s, err := t.serve(ctx)
	if err != nil {
		return err
	}
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return errors.Join(fmt.Errorf("listen: %w", err), s.kill())
	}
	n := &network{to: strings.TrimPrefix(s.base, "http://"), random: t.random}
	var open sync.WaitGroup
	open.Go(func() { n.carry(listener) })
	to := s.at(t)
	to.Base = "http://" + listener.Addr().String()
	err = t.under(ctx, to, func(ctx context.Context) error { return t.load.More(ctx, 400*t.harness.times) })
	err = errors.Join(err, listener.Close(), s.kill())
	open.Wait()
	t.times, t.message = n.cuts, "nothing: the writers send again"
	return err
}

// network carries connections, each up to a number of bytes.
type network struct {
	to string

	mu     sync.Mutex
	random *rand.Rand
	cuts   int
}

// carry takes connections until the listener is closed, and returns when they ended.
func (n *network) carry(listener net.Listener) {
	var open sync.WaitGroup
	defer open.Wait()
	for {
		from, err := listener.Accept()
		if err != nil {
			return
		}
		to, err := net.Dial("tcp", n.to)
		if err != nil {
			from.Close()
			continue
		}
		open.Go(func() { n.pair(from, to) })
	}
}

// pair carries one connection both ways until an end closes it or its bytes are
// used up, which is in the middle of something.
func (n *network) pair(from, to net.Conn) {
	n.mu.Lock()
	there, back := int64(1+n.random.IntN(4000)), int64(1+n.random.IntN(4000))
	n.mu.Unlock()
	var ways sync.WaitGroup
	way := func(w, r net.Conn, most int64) {
		carried, err := io.CopyN(w, r, most)
		from.Close()
		to.Close()
		if carried == most && err == nil {
			n.mu.Lock()
			n.cuts++
			n.mu.Unlock()
		}
	}
	ways.Go(func() { way(to, from, there) })
	ways.Go(func() { way(from, to, back) })
	ways.Wait()
}
