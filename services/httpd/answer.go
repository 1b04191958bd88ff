package httpd

import (
	"bytes"
	"compress/gzip"
	"context"
	"mime"
	"net/http"
	"strings"
	"time"

	"github.com/gin-gonic/gin"
)

// compressMin is where compressing begins to pay. Shorter answers go out as they
// are.
const compressMin = 1024

// answerWriter looks at an answer before its first byte goes out: text is
// compressed where the browser can read it, and an event stream is freed from
// the time limits of ordinary answers.
type answerWriter struct {
	gin.ResponseWriter
	server  *Server
	request *http.Request
	cancel  context.CancelFunc // of the request

	waiting bytes.Buffer // what was written before it was decided how
	decided bool
	zip     *gzip.Writer // nil: the answer goes out as it is
}

// answer puts an answerWriter before the handlers.
func (s *Server) answer(c *gin.Context) {
	ctx, cancel := context.WithCancel(c.Request.Context())
	defer cancel()
	c.Request = c.Request.WithContext(ctx)
	w := &answerWriter{ResponseWriter: c.Writer, server: s, request: c.Request, cancel: cancel}
	c.Writer = w
	c.Next()
	// Not deferred: after a panic what is waiting is thrown away.
	if err := w.finish(); err != nil {
		s.logger.Debug("answer not delivered", "error", err, "request", RequestIDFrom(ctx))
	}
	c.Writer = w.ResponseWriter
}

// Unwrap lets http.ResponseController find the connection.
func (w *answerWriter) Unwrap() http.ResponseWriter { return w.ResponseWriter }

func (w *answerWriter) WriteString(s string) (int, error) { return w.Write([]byte(s)) }

func (w *answerWriter) Write(p []byte) (int, error) {
	if !w.decided && w.waiting.Len()+len(p) < compressMin && !w.stream() {
		return w.waiting.Write(p)
	}
	w.decide(true)
	if err := w.release(); err != nil {
		return 0, err
	}
	return w.pass(p)
}

// WriteHeaderNow is called where an answer has no body.
func (w *answerWriter) WriteHeaderNow() {
	w.decide(false)
	w.ResponseWriter.WriteHeaderNow()
}

// Flush sends what there is: the handler wants it to arrive now.
func (w *answerWriter) Flush() {
	w.decide(false)
	if w.release() != nil {
		return // the connection is gone; the next write says so
	}
	if w.zip != nil && w.zip.Flush() != nil {
		return
	}
	w.ResponseWriter.Flush()
}

func (w *answerWriter) finish() error {
	w.decide(false)
	if err := w.release(); err != nil {
		return err
	}
	if w.zip == nil {
		return nil
	}
	err := w.zip.Close()
	w.server.compressors.Put(w.zip)
	return err
}

// release writes what was waiting for the decision.
func (w *answerWriter) release() error {
	if w.waiting.Len() == 0 {
		return nil
	}
	_, err := w.pass(w.waiting.Bytes())
	w.waiting.Reset()
	return err
}

func (w *answerWriter) pass(p []byte) (int, error) {
	if w.zip != nil {
		return w.zip.Write(p)
	}
	return w.ResponseWriter.Write(p)
}

// decide settles once how the answer goes out. long says that it is worth
// compressing.
func (w *answerWriter) decide(long bool) {
	if w.decided {
		return
	}
	w.decided = true
	if w.stream() {
		w.unlimit()
		return
	}
	h := w.Header()
	if !compressible(h.Get("Content-Type")) || h.Get("Content-Encoding") != "" || w.Status() == http.StatusPartialContent {
		return
	}
	h.Add("Vary", "Accept-Encoding")
	if !long || w.request.Method == http.MethodHead || !acceptsGzip(w.request.Header.Get("Accept-Encoding")) {
		return
	}
	h.Set("Content-Encoding", "gzip")
	h.Del("Content-Length")
	zip, ok := w.server.compressors.Get().(*gzip.Writer)
	if !ok {
		zip = gzip.NewWriter(nil)
	}
	zip.Reset(w.ResponseWriter)
	w.zip = zip
}

func (w *answerWriter) stream() bool {
	return strings.HasPrefix(w.Header().Get("Content-Type"), "text/event-stream")
}

// unlimit lets an event stream last until its reader goes or the server stops.
func (w *answerWriter) unlimit() {
	w.Header().Set("X-Accel-Buffering", "no")
	if err := http.NewResponseController(w.ResponseWriter).SetWriteDeadline(time.Time{}); err != nil {
		w.server.logger.Debug("event stream keeps its time limit", "error", err)
	}
	stop := context.AfterFunc(w.server.stopping, w.cancel)
	context.AfterFunc(w.request.Context(), func() { stop() })
}

func compressible(contentType string) bool {
	media, _, err := mime.ParseMediaType(contentType)
	if err != nil {
		return false
	}
	switch media {
	case "application/json", "application/javascript", "image/svg+xml", "application/vnd.oai.openapi+json":
		return true
	}
	return strings.HasPrefix(media, "text/") || strings.HasSuffix(media, "+json")
}

// acceptsGzip reads Accept-Encoding: named, and not refused by a weight of 0.
func acceptsGzip(header string) bool {
	for _, element := range strings.Split(header, ",") {
		name, weight, _ := strings.Cut(element, ";")
		if !strings.EqualFold(strings.TrimSpace(name), "gzip") {
			continue
		}
		weight = strings.TrimPrefix(strings.ReplaceAll(weight, " ", ""), "q=")
		return strings.Trim(weight, "0.") != "" || weight == ""
	}
	return false
}
