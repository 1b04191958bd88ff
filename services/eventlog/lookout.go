package eventlog

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
)

// A server that is cut off from the others keeps its clients: it answers some of
// them with what it knew and the rest not at all, and the connection stands, so
// that the client library sees no reason to look for another. A lookout asks the
// server every second who leads a partition, another one each time. Where no good
// answer comes it asks all servers about all partitions, and moves the connection
// to the one that knows most leaders, if that is not the one at hand. What was
// asked before and not answered is then of unknown outcome, and is tried again
// there.
type lookout struct {
	options []nats.Option // for a short visit to another server
	logger  *slog.Logger
	conn    *nats.Conn // that is moved; set by watch, like js
	js      jetstream.JetStream
	stop    context.CancelFunc
	watched sync.WaitGroup

	mu     sync.Mutex
	target string // where the next attempt to connect goes; empty: to the next server in line
}

const (
	lookEvery = time.Second
	// Who is hasty here is asked once more, beside the others, before anything
	// comes of it.
	patience   = 500 * time.Millisecond
	answerMost = time.Second     // for all answers of one server
	visitMost  = 2 * time.Second // to come to another server
)

// watch begins, and goes on until end.
func (o *lookout) watch(conn *nats.Conn, js jetstream.JetStream) {
	ctx, stop := context.WithCancel(context.Background())
	o.conn, o.js, o.stop = conn, js, stop
	o.watched.Go(func() {
		ticker := time.NewTicker(lookEvery)
		defer ticker.Stop()
		for partition := uint8(0); ; partition = (partition + 1) % Partitions {
			select {
			case <-ctx.Done():
				return
			case <-ticker.C:
				o.look(ctx, partition)
			}
		}
	})
}

func (o *lookout) end() {
	o.stop()
	o.watched.Wait()
}

// look moves the connection if its server knows no leader of the partition, and
// another one knows more of the leaders.
func (o *lookout) look(ctx context.Context, partition uint8) {
	pool := o.conn.ServerPool()
	if len(pool) < 2 || !o.conn.IsConnected() {
		return // there is no choice, or the library is choosing
	}
	doubt := leaderKnown(ctx, o.js, partition, patience)
	if doubt == nil {
		return
	}
	known := make([]int, len(pool))
	var visits sync.WaitGroup
	for i, server := range pool {
		visits.Go(func() { known[i] = o.visit(ctx, server) })
	}
	here := leadersKnown(ctx, o.js)
	visits.Wait()
	best := slices.Index(known, slices.Max(known))
	if known[best] > here && pool[best].URL.String() != o.conn.ConnectedUrl() && ctx.Err() == nil {
		o.move(pool[best], doubt)
	}
}

// visit returns how many leaders a server knows when it is asked over a connection
// of its own; none if it cannot be reached.
func (o *lookout) visit(ctx context.Context, server nats.Server) int {
	conn, err := nats.Connect(server.URL.String(), o.options...)
	if err != nil {
		return 0
	}
	defer conn.Close()
	js, err := jetstream.New(conn)
	if err != nil {
		return 0
	}
	return leadersKnown(ctx, js)
}

// leadersKnown returns for how many partitions a leader answers.
func leadersKnown(ctx context.Context, js jetstream.JetStream) int {
	var known atomic.Int32
	var questions sync.WaitGroup
	for partition := range uint8(Partitions) {
		questions.Go(func() {
			if leaderKnown(ctx, js, partition, answerMost) == nil {
				known.Add(1)
			}
		})
	}
	questions.Wait()
	return int(known.Load())
}

// leaderKnown fails unless a leader of the partition that others follow answers.
func leaderKnown(ctx context.Context, js jetstream.JetStream, partition uint8, within time.Duration) error {
	ctx, cancel := context.WithTimeout(ctx, within)
	defer cancel()
	stream, err := js.Stream(ctx, streamName(partition))
	if errors.Is(err, jetstream.ErrStreamNotFound) {
		return nil // the servers know of each other, and nothing is prepared yet
	}
	if err != nil {
		return fmt.Errorf("ask who leads partition %d: %w", partition, err)
	}
	return leads(stream.CachedInfo().Cluster)
}

// move takes the connection to a server.
func (o *lookout) move(server nats.Server, doubt error) {
	o.logger.Warn("a server of the log is cut off from the others; going to one that is not",
		"from", o.conn.ConnectedUrlRedacted(), "to", server.URL.Redacted(), "error", doubt)
	o.mu.Lock()
	o.target = server.URL.String()
	o.mu.Unlock()
	// An error says that the connection is closed.
	_ = o.conn.ForceReconnect()
}

// choose is asked by the client library where to connect to.
func (o *lookout) choose(pool []nats.Server, _ nats.ServerInfo) (*nats.Server, time.Duration) {
	o.mu.Lock()
	defer o.mu.Unlock()
	target := o.target
	o.target = ""
	for i := range pool {
		if pool[i].URL.String() == target {
			return &pool[i], 0
		}
	}
	return nil, 0
}
