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
	silence silence
}

// connect opens a connection: to the embedded server, or to the one at the URL.
func connect(ctx context.Context, cfg Config, inside *embedded, name string) (*connection, error) {
	denials := newDenials()
	nc, err := dial(ctx, cfg, inside, name, denials)
	if err != nil {
		return nil, err
	}
	js, err := jetstream.New(nc, jetstream.WithDefaultTimeout(cfg.RequestTimeout))
	if err != nil {
		nc.Close()
		return nil, fmt.Errorf("use JetStream: %w", err)
	}
	return &connection{Conn: nc, js: js, denials: denials, silence: silence{worth: cfg.URL != ""}}, nil
}

// dial connects, and has denials told what the server denies.
func dial(ctx context.Context, cfg Config, inside *embedded, name string, denials *denials) (*nats.Conn, error) {
	options := []nats.Option{
		nats.Name(name),
		nats.Timeout(cfg.RequestTimeout),
		nats.MaxReconnects(-1),
		nats.ReconnectWait(200 * time.Millisecond),
		// A publish while disconnected must fail at once: what sits in a buffer
		// would be sent after its caller was told that the outcome is unknown.
		nats.ReconnectBufSize(-1),
		nats.ErrorHandler(func(_ *nats.Conn, _ *nats.Subscription, err error) { denials.heard(err) }),
		nats.ReconnectHandler(func(*nats.Conn) { denials.forget() }),
	}
	if inside != nil {
		return nats.Connect("", append(options, nats.InProcessServer(inside.server))...)
	}
	options, err := withIdentity(options, cfg)
	if err != nil {
		return nil, err
	}
	var nc *nats.Conn
	err = patiently(ctx, func() error {
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
	cfg.Logger.Debug("connected", "to", nc.ConnectedUrlRedacted(), "as", name)
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
