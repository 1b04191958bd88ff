package eventlog

import (
	"context"
	"sync"
	"time"

	"daysheet/events"
)

// Limits of one batch.
const (
	batchMost      = 4096
	batchBytesMost = 8 << 20
)

// linger is how long a batch waits for more that the server has announced.
const linger = 20 * time.Millisecond

// gathering collects what one goroutine reads into batches for another. The
// reader waits while a batch is full, so memory is bounded.
type gathering struct {
	mu     sync.Mutex
	batch  []events.Stored
	bytes  int
	behind bool  // the log holds more than has arrived
	err    error // why nothing more will come
	closed bool

	changed chan struct{} // full if take should look again
	room    chan struct{} // full if put should look again
}

func newGathering() *gathering {
	return &gathering{changed: make(chan struct{}, 1), room: make(chan struct{}, 1)}
}

// put adds one commit, waiting for room. It reports false once g is closed.
func (g *gathering) put(sequence uint64, raw []byte, behind bool) bool {
	for {
		g.mu.Lock()
		if g.closed {
			g.mu.Unlock()
			return false
		}
		if !g.full() {
			break
		}
		g.mu.Unlock()
		<-g.room
	}
	g.batch = append(g.batch, events.Stored{Sequence: sequence, Raw: raw})
	g.bytes += len(raw)
	g.behind = behind
	wake := len(g.batch) == 1 || !behind || g.full()
	g.mu.Unlock()
	if wake {
		signal(g.changed)
	}
	return true
}

// full must be called with g.mu held.
func (g *gathering) full() bool { return len(g.batch) >= batchMost || g.bytes >= batchBytesMost }

// fail says that nothing more will come. What has come is still delivered.
func (g *gathering) fail(err error) {
	g.mu.Lock()
	g.err = err
	g.mu.Unlock()
	signal(g.changed)
}

// close makes put give up.
func (g *gathering) close() {
	g.mu.Lock()
	g.closed = true
	g.mu.Unlock()
	signal(g.room)
}

// take returns the next batch, which holds at least one commit: at once if
// nothing more is known to be on its way, else when it is full or has lingered.
func (g *gathering) take(ctx context.Context) ([]events.Stored, error) {
	var patience <-chan time.Time
	lingered := false
	for {
		g.mu.Lock()
		some := len(g.batch) > 0
		if some && (g.full() || !g.behind || g.err != nil || lingered) {
			batch := g.batch
			g.batch, g.bytes = make([]events.Stored, 0, min(2*len(batch), batchMost)), 0
			g.mu.Unlock()
			signal(g.room)
			return batch, nil
		}
		err := g.err
		g.mu.Unlock()
		if !some && err != nil {
			return nil, err
		}
		if some && patience == nil {
			timer := time.NewTimer(linger)
			defer timer.Stop()
			patience = timer.C
		}
		select {
		case <-g.changed:
		case <-patience:
			lingered = true
		case <-ctx.Done():
			return nil, ctx.Err()
		}
	}
}

// signal leaves one note for whoever waits; a note that is there is enough.
func signal(note chan struct{}) {
	select {
	case note <- struct{}{}:
	default:
	}
}
