package eventlog

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
)

// connection is a way to the server.
type connection struct {
	*nats.Conn
	js      jetstream.JetStream
	denials *denials
	lookout *lookout // nil where there is no other server
}

// close ends the connection. What it is still asked for fails.
func (c *connection) close() {
	if c.lookout != nil {
		c.lookout.end()
	}
	c.Conn.Close()
}

// connect opens a connection: to the embedded server, or to the one at the URL.
func connect(ctx context.Context, cfg Config, inside *embedded, name string) (*connection, error) {
	c := &connection{denials: newDenials()}
	options, err := c.options(cfg, inside, name)
	if err != nil {
		return nil, err
	}
	if c.Conn, err = dial(ctx, cfg, inside, options); err != nil {
		return nil, err
	}
	if c.js, err = jetstream.New(c.Conn, jetstream.WithDefaultTimeout(cfg.RequestTimeout)); err != nil {
		c.Conn.Close()
		return nil, fmt.Errorf("use JetStream: %w", err)
	}
	if c.lookout != nil {
		c.lookout.watch(c.Conn, c.js)
	}
	cfg.Logger.Debug("connected", "to", c.ConnectedUrlRedacted(), "as", name)
	return c, nil
}

// options are how the connection is made and kept. They have its denials told what
// the server denies, and let its lookout choose the server.
func (c *connection) options(cfg Config, inside *embedded, name string) ([]nats.Option, error) {
	options := []nats.Option{
		nats.Name(name),
		nats.Timeout(cfg.RequestTimeout),
		nats.MaxReconnects(-1),
		nats.ReconnectWait(200 * time.Millisecond),
		// A publish while disconnected must fail at once: what sits in a buffer
		// would be sent after its caller was told that the outcome is unknown.
		nats.ReconnectBufSize(-1),
		nats.ErrorHandler(func(_ *nats.Conn, _ *nats.Subscription, err error) { c.denials.heard(err) }),
		nats.ReconnectHandler(func(*nats.Conn) { c.denials.forget() }),
	}
	if inside != nil {
		return append(options, nats.InProcessServer(inside.server)), nil
	}
	visits, err := withIdentity([]nats.Option{
		nats.Name(name + " lookout"), nats.Timeout(visitMost), nats.NoReconnect(),
		nats.ErrorHandler(func(*nats.Conn, *nats.Subscription, error) {}), // what matters is whether it answers
	}, cfg)
	if err != nil {
		return nil, err
	}
	c.lookout = &lookout{options: visits, logger: cfg.Logger}
	return withIdentity(append(options, nats.ReconnectToServer(c.lookout.choose)), cfg)
}

// dial connects: to the embedded server at once, to another one patiently.
func dial(ctx context.Context, cfg Config, inside *embedded, options []nats.Option) (*nats.Conn, error) {
	if inside != nil {
		return nats.Connect("", options...)
	}
	var nc *nats.Conn
	err := patiently(ctx, func() error {
		var err error
		if nc, err = nats.Connect(cfg.URL, options...); err == nil || turnedAway(err) {
			return err
		}
		return &unsettled{err}
	})
	if err != nil {
		return nil, fmt.Errorf("connect to the log at %s: %w", cfg.URL, err)
	}
	if nc.MaxPayload() < messageBytesMax {
		nc.Close()
		return nil, fmt.Errorf("connect to the log at %s: its max_payload is %d, the ledger needs at least %d",
			cfg.URL, nc.MaxPayload(), messageBytesMax)
	}
	return nc, nil
}

// turnedAway reports whether the other side, or we, did not accept who is there.
// No second attempt changes that.
func turnedAway(err error) bool {
	var untrusted *tls.CertificateVerificationError
	return errors.Is(err, nats.ErrAuthorization) || errors.As(err, &untrusted)
}

// withIdentity adds who we are and whom we trust.
func withIdentity(options []nats.Option, cfg Config) ([]nats.Option, error) {
	if cfg.CAFile != "" {
		options = append(options, nats.RootCAs(cfg.CAFile))
	}
	if cfg.CertFile != "" {
		options = append(options, nats.ClientCert(cfg.CertFile, cfg.KeyFile))
	}
	if cfg.InboxPrefix != "" {
		options = append(options, nats.CustomInboxPrefix(cfg.InboxPrefix))
	}
	if cfg.NKeyFile != "" {
		key, err := nats.NkeyOptionFromSeed(cfg.NKeyFile)
		if err != nil {
			return nil, fmt.Errorf("read nkey file: %w", err)
		}
		options = append(options, key)
	}
	return options, nil
}
