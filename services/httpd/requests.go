package httpd

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"runtime/debug"
	"strconv"
	"strings"
	"time"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"
)

type requestIDKey struct{}

const requestIDHeader = "X-Request-Id"

// RequestIDFrom returns the id of the request, as it stands in the log and in
// the instance of a problem; empty outside of a request.
func RequestIDFrom(ctx context.Context) string {
	id, _ := ctx.Value(requestIDKey{}).(string)
	return id
}

// requestID takes over the id that a proxy gave, if it is a sane one, and makes
// one otherwise.
func requestID(c *gin.Context) {
	id := c.GetHeader(requestIDHeader)
	if !saneRequestID(id) {
		id = uuid.NewString()
	}
	c.Header(requestIDHeader, id)
	c.Request = c.Request.WithContext(context.WithValue(c.Request.Context(), requestIDKey{}, id))
}

// saneRequestID keeps what could break a log line or a URI out.
func saneRequestID(id string) bool {
	if len(id) < 8 || len(id) > 64 {
		return false
	}
	for i := range len(id) {
		switch b := id[i]; {
		case b >= 'a' && b <= 'z', b >= 'A' && b <= 'Z', b >= '0' && b <= '9', b == '-', b == '_', b == '.':
		default:
			return false
		}
	}
	return true
}

// observe measures and logs each request when it is over. The query is left out: it
// can hold the code of the set-up link; and the path where it is a credential.
func (s *Server) observe(c *gin.Context) {
	started := time.Now()
	defer func() {
		elapsed := time.Since(started)
		route := c.FullPath()
		if route == "" {
			route = "none"
		}
		path := c.Request.URL.Path
		if s.held[route] {
			path = route
		}
		status := c.Writer.Status()
		method := knownMethod(c.Request.Method)
		s.durations.WithLabelValues(route, method, strconv.Itoa(status)).Observe(elapsed.Seconds())
		ctx := c.Request.Context()
		caller, _ := CallerFrom(ctx)
		level, attrs := slog.LevelInfo, []slog.Attr{
			slog.String("method", c.Request.Method), slog.String("path", path),
			slog.String("route", route), slog.Int("status", status), slog.Int("bytes", max(c.Writer.Size(), 0)),
			slog.Duration("elapsed", elapsed), slog.String("request", RequestIDFrom(ctx)),
			slog.String("firm", caller.Firm), slog.String("caller", caller.Name), slog.String("remote", c.ClientIP()),
		}
		if len(c.Errors) > 0 {
			level = slog.LevelError
			attrs = append(attrs, slog.String("error", c.Errors.String()))
		}
		s.logger.LogAttrs(context.WithoutCancel(ctx), level, "request", attrs...)
	}()
	c.Next()
}

// knownMethod keeps a sender from making metrics without end.
func knownMethod(method string) string {
	switch method {
	case http.MethodGet, http.MethodHead, http.MethodPost, http.MethodPut, http.MethodPatch, http.MethodDelete,
		http.MethodOptions:
		return method
	}
	return "other"
}

// recovered answers a request whose handler panicked. Where part of the answer
// is on its way already, the connection is cut: a reader must not take half an
// answer for a whole one.
func recovered(c *gin.Context) {
	writer := c.Writer
	defer func() {
		cause := recover()
		if cause == nil {
			return
		}
		if err, ok := cause.(error); ok && errors.Is(err, http.ErrAbortHandler) {
			panic(http.ErrAbortHandler)
		}
		c.Writer = writer
		fault := fmt.Errorf("panic: %v\n%s", cause, debug.Stack())
		if writer.Written() {
			_ = c.Error(fault) // hands it to the access log and returns it again
			panic(http.ErrAbortHandler)
		}
		for _, name := range []string{"Content-Length", "Content-Encoding", "ETag", "Cache-Control"} {
			writer.Header().Del(name)
		}
		Abort(c, fault)
	}()
	c.Next()
}

// contentPolicy lets pages use their own files and nothing else: no inline
// script or style, no other site.
const contentPolicy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; " +
	"connect-src 'self'; manifest-src 'self'; worker-src 'self'; form-action 'self'; base-uri 'none'; " +
	"frame-ancestors 'none'"

// securityHeaders sets what every answer carries. A handler whose answer may be
// kept sets its own Cache-Control.
func (s *Server) securityHeaders(c *gin.Context) {
	h := c.Writer.Header()
	h.Set("Content-Security-Policy", contentPolicy)
	h.Set("X-Content-Type-Options", "nosniff")
	// Not no-referrer: with it browsers hide the origin of a form's own page,
	// and the check for requests from other sites would refuse our forms.
	h.Set("Referrer-Policy", "same-origin")
	h.Set("Cross-Origin-Opener-Policy", "same-origin")
	h.Set("Cross-Origin-Resource-Policy", "same-origin")
	h.Set("Cache-Control", "no-store")
	if s.held[c.FullPath()] {
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("X-Robots-Tag", "noindex, nofollow")
	}
}

// LimitBody sets how many bytes a request to a route may have, where it is not
// the server's usual limit. The route is written as it was registered on the
// engine. It is called before the server serves.
func (s *Server) LimitBody(route string, bytesMax int64) { s.bodyMax[route] = bytesMax }

// GiveTime sets how long a request to a route may take to be answered, where that is more
// than the usual WriteTimeout: to record a large table takes minutes. The route is written as
// it was registered on the engine. It is called before the server serves.
func (s *Server) GiveTime(route string, answer time.Duration) { s.answerTakes[route] = answer }

// limitBody refuses a body that says it is too large, and stops reading one that
// turns out to be.
func (s *Server) limitBody(c *gin.Context) {
	if takes := s.answerTakes[c.FullPath()]; takes > 0 {
		// A writer without a deadline of its own has none to move.
		_ = http.NewResponseController(c.Writer).SetWriteDeadline(time.Now().Add(takes))
	}
	most, ok := s.bodyMax[c.FullPath()]
	if !ok {
		most = s.usualBodyMax
	}
	if c.Request.ContentLength > most {
		c.Header("Connection", "close") // the rest of the body is not read
		Abort(c, &http.MaxBytesError{Limit: most})
		return
	}
	// A packed body would be measured before it is unpacked; nothing here unpacks one.
	if packed := c.GetHeader("Content-Encoding"); packed != "" && !strings.EqualFold(packed, "identity") {
		const rule = "send the body as it is, without a content encoding"
		c.Header("Accept-Encoding", "identity")
		Abort(c, NewProblem(http.StatusUnsupportedMediaType, rule).About("Content-Encoding", packed, rule))
		return
	}
	if c.Request.Body != nil {
		c.Request.Body = http.MaxBytesReader(c.Writer, c.Request.Body, most)
	}
}
