package eventlog

import (
	"sync"
	"time"

	"github.com/nats-io/nats.go"
)

// A server that is cut off from the others keeps its clients and answers none of
// them: the connection stands, so that the client library sees no reason to look
// for another. After a few requests without an answer the log looks elsewhere.
const (
	silencesMost = 2
	stayLeast    = 2 * time.Second // on one server, so that an election is not answered with wandering
)

// silence counts requests without an answer on one connection.
type silence struct {
	mu    sync.Mutex
	count int
	moved time.Time // when the connection last moved; zero before
	worth bool      // there is another server to go to
}

// broken notes that a request was answered.
func (s *silence) broken() {
	s.mu.Lock()
	s.count = 0
	s.mu.Unlock()
}

// heard notes that a request was not answered, and moves the connection to the
// next server of the cluster when that has gone on for too long.
func (s *silence) heard(nc *nats.Conn) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.count++
	if !s.worth || s.count < silencesMost || time.Since(s.moved) < stayLeast {
		return
	}
	s.count, s.moved = 0, time.Now()
	// An error says that the connection is closed or is reconnecting by itself.
	_ = nc.ForceReconnect()
}
