package httpd

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"time"
)

const (
	headerTimeout   = 10 * time.Second
	idleTimeout     = 2 * time.Minute
	headerBytesMax  = 32 << 10
	flushTokensEach = time.Minute
)

// Serve answers requests until ctx ends, then lets those under way finish, ends
// event streams and returns nil. It returns an error if the listener fails or
// requests had to be cut off.
func (s *Server) Serve(ctx context.Context, listener net.Listener) error {
	server := &http.Server{
		Handler: s.Engine, ReadHeaderTimeout: min(headerTimeout, s.readTimeout), ReadTimeout: s.readTimeout,
		WriteTimeout: s.writeTimeout, IdleTimeout: idleTimeout, MaxHeaderBytes: headerBytesMax,
		ErrorLog: slog.NewLogLogger(s.logger.Handler(), slog.LevelWarn),
	}
	failed := make(chan error, 1) // ends with the listener, at the latest by Shutdown or Close below
	go func() { failed <- server.Serve(listener) }()
	flush := time.NewTicker(flushTokensEach)
	defer flush.Stop()
	defer s.stop()
	for {
		select {
		case err := <-failed:
			return errors.Join(fmt.Errorf("serve: %w", err), server.Close(), s.tokens.Flush())
		case <-flush.C:
			if err := s.tokens.Flush(); err != nil {
				s.logger.Error("last use of tokens not written down", "error", err)
			}
		case <-ctx.Done():
			s.stop()
			// Not ctx: it has ended, and the requests under way get their time.
			grace, cancel := context.WithTimeout(context.WithoutCancel(ctx), s.stopTimeout)
			defer cancel()
			err := server.Shutdown(grace)
			if err != nil {
				err = errors.Join(fmt.Errorf("stop serving: requests were cut off: %w", err), server.Close())
			}
			<-failed
			return errors.Join(err, s.tokens.Flush())
		}
	}
}
