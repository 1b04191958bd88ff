package clickhouse

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"net"
	"net/http"
	"sync"
	"time"

	native "github.com/ClickHouse/clickhouse-go/v2"
)

// link is one connection to the server, made anew after an error. One call at a
// time uses it.
//
// The driver never gets to see a context that ends. When one does while rows
// come in, the driver closes a channel that it may still be sending on, and the
// whole process dies (clickhouse-go, pull request 1677). Instead the connection
// is cut, which it takes for any other failure of the network. Over HTTP there is
// one connection at a time as well, since each answer is read to its end.
type link struct {
	pool native.Conn // of one connection

	mu   sync.Mutex
	wire net.Conn // what the pool's connection runs over; nil before the first
	over bool     // the call's context has ended: no dialling any more
}

func newLink(opts Options, modern bool) (*link, error) {
	l, config := &link{}, opts.TLS
	told := &native.Options{
		Protocol:     native.Native,
		Addr:         hosts(opts.Address),
		DialStrategy: dialEach,
		Auth:         native.Auth{Database: opts.Database, Username: opts.Username, Password: opts.Password},
		Settings:     settings(modern),
		DialTimeout:  patienceDialling,
		ReadTimeout:  patience,
		MaxOpenConns: 1,
		MaxIdleConns: 1,
	}
	if opts.HTTP {
		speakHTTP(told, config)
		config = nil
	}
	told.DialContext = func(ctx context.Context, address string) (net.Conn, error) { return l.dial(ctx, address, config) }
	pool, err := native.Open(told)
	if err != nil {
		return nil, err
	}
	l.pool = pool
	return l, nil
}

// idleMax is how long a connection to an HTTP interface is kept for the next
// statement: shorter than servers keep it (keep_alive_timeout, 3 seconds and more),
// so that no statement is sent on one that the server closes at that moment.
const idleMax = 2 * time.Second

// speakHTTP makes the driver speak HTTP, within TLS where there is a config: it
// does not leave that to what dials for it.
func speakHTTP(told *native.Options, config *tls.Config) {
	told.Protocol, told.TLS = native.HTTP, config
	told.TransportFunc = func(t *http.Transport) (http.RoundTripper, error) {
		t.IdleConnTimeout = idleMax
		return t, nil
	}
}

// settings returns what the server is told with every statement.
func settings(modern bool) native.Settings {
	s := native.Settings{"max_query_size": querySizeMax, "max_execution_time": int(patience.Seconds())}
	if modern {
		s["async_insert"] = 0       // an insert that is answered is there, as one block
		s["insert_deduplicate"] = 0 // what is sent again after it was lost is taken
	}
	return s
}

func (l *link) dial(ctx context.Context, address string, config *tls.Config) (net.Conn, error) {
	l.mu.Lock()
	over := l.over
	l.mu.Unlock()
	if over {
		return nil, errors.New("the call has ended")
	}
	// The driver's HTTP dials without the time that it was given.
	ctx, cancel := context.WithTimeout(ctx, patienceDialling)
	defer cancel()
	var (
		wire net.Conn
		err  error
	)
	if config != nil {
		wire, err = (&tls.Dialer{Config: config}).DialContext(ctx, "tcp", address)
	} else {
		wire, err = (&net.Dialer{}).DialContext(ctx, "tcp", address)
	}
	if err != nil {
		return nil, err
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	l.hangUp() // the driver leaves a wire open on which the server did not greet it
	if l.over {
		return nil, errors.Join(errors.New("the call has ended"), wire.Close())
	}
	l.wire = wire
	return wire, nil
}

// hangUp closes the wire. The driver may have closed it before, so that an error
// says nothing.
func (l *link) hangUp() {
	if l.wire != nil {
		_ = l.wire.Close()
		l.wire = nil
	}
}

// use runs work, and cuts the connection when ctx ends before work does. Work
// gets a context for the driver.
func (l *link) use(ctx context.Context, work func(context.Context, *link) error) error {
	l.mu.Lock()
	l.over = false
	l.mu.Unlock()
	cut := make(chan struct{})
	stop := context.AfterFunc(ctx, func() {
		defer close(cut)
		l.mu.Lock()
		defer l.mu.Unlock()
		l.over = true
		l.hangUp()
	})
	err := work(context.WithoutCancel(ctx), l)
	if !stop() {
		<-cut // not later, when the link is in use again
	}
	if err == nil || ctx.Err() == nil || errors.Is(err, context.Cause(ctx)) {
		return err
	}
	return fmt.Errorf("%w: %w", context.Cause(ctx), err)
}

func (l *link) close() error {
	err := l.pool.Close()
	l.mu.Lock()
	defer l.mu.Unlock()
	l.hangUp()
	return err
}
