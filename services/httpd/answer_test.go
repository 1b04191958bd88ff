package httpd

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"context"
	"fmt"
	"io"
	"net"
	"net/http"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/gin-gonic/gin"
)

func TestCompression(t *testing.T) {
	long := strings.Repeat("hours booked, ", 500)
	b := newBench(t, nil, func(s *Server) {
		read := s.Engine.Group("", Require(ScopeRead))
		read.GET("/long", func(c *gin.Context) {
			c.Header("Content-Length", fmt.Sprint(len(long)))
			c.String(http.StatusOK, long)
		})
		read.GET("/pieces", func(c *gin.Context) {
			c.Header("Content-Type", "text/csv")
			for _, word := range strings.SplitAfter(long, " ") {
				if _, err := c.Writer.WriteString(word); err != nil {
					return
				}
			}
		})
		read.GET("/short", func(c *gin.Context) { c.String(http.StatusOK, "short") })
		read.GET("/picture", func(c *gin.Context) { c.Data(http.StatusOK, "image/png", []byte(long)) })
		read.GET("/packed", func(c *gin.Context) {
			c.Header("Content-Encoding", "br")
			c.String(http.StatusOK, long)
		})
		read.GET("/nothing", func(c *gin.Context) { c.Status(http.StatusNoContent) })
	})
	for _, c := range []struct {
		path, accept, encoding string
		body                   string
	}{
		{"/long", "gzip", "gzip", long},
		{"/long", "br;q=1, GZIP ; q=0.5", "gzip", long},
		{"/long", "", "", long},
		{"/long", "gzip;q=0", "", long},
		{"/long", "gzip; q=0.000", "", long},
		{"/long", "zip, br", "", long},
		{"/pieces", "gzip", "gzip", long},
		{"/short", "gzip", "", "short"},
		{"/picture", "gzip", "", long},
		{"/packed", "gzip", "br", long},
		{"/nothing", "gzip", "", ""},
	} {
		answer, body := b.do(t, scenario{url: c.path, token: "reader", headers: map[string]string{"Accept-Encoding": c.accept}})
		if got := answer.Header.Get("Content-Encoding"); got != c.encoding {
			t.Errorf("%s for %q is encoded as %q, want %q", c.path, c.accept, got, c.encoding)
			continue
		}
		if c.encoding == "gzip" {
			unpacked, err := gzip.NewReader(strings.NewReader(body))
			must(t, err)
			raw, err := io.ReadAll(unpacked)
			must(t, err)
			if len(body) >= len(raw) || answer.Header.Get("Vary") != "Accept-Encoding" {
				t.Errorf("%s: %d bytes of %d, Vary %q", c.path, len(body), len(raw), answer.Header.Get("Vary"))
			}
			body = string(raw)
		}
		if body != c.body {
			t.Errorf("%s for %q arrived as %d bytes, want %d", c.path, c.accept, len(body), len(c.body))
		}
	}
}

// openStream starts reading an event stream.
func (b *bench) openStream(t *testing.T, path string) *bufio.Scanner {
	t.Helper()
	r, err := http.NewRequestWithContext(t.Context(), http.MethodGet, b.address+path, nil)
	must(t, err)
	r.Header.Set("Authorization", "Bearer "+b.secrets["reader"])
	r.Header.Set("Accept-Encoding", "gzip")
	answer, err := b.client.Do(r)
	must(t, err)
	t.Cleanup(func() { answer.Body.Close() })
	if answer.Header.Get("Content-Encoding") != "" || answer.Header.Get("X-Accel-Buffering") != "no" {
		t.Errorf("the stream is held back: %v", answer.Header)
	}
	return bufio.NewScanner(answer.Body)
}

// TestStream reads an event stream for longer than any answer may take, and then
// stops the server under it.
func TestStream(t *testing.T) {
	const limit = 50 * time.Millisecond
	ended := make(chan struct{})
	b := newBench(t, func(c *Config) { c.WriteTimeout = limit }, func(s *Server) {
		s.Engine.GET("/watch", Require(ScopeRead), func(c *gin.Context) {
			defer close(ended)
			c.Header("Content-Type", "text/event-stream")
			started := time.Now()
			tick := time.NewTicker(limit / 5)
			defer tick.Stop()
			for {
				fmt.Fprintf(c.Writer, "data: %d\n\n", time.Since(started)/limit)
				c.Writer.Flush()
				select {
				case <-tick.C:
				case <-c.Request.Context().Done():
					return
				}
			}
		})
	})
	lines := b.openStream(t, "/watch")
	for lines.Scan() {
		var limits int
		if n, _ := fmt.Sscanf(lines.Text(), "data: %d", &limits); n == 1 && limits >= 4 {
			break
		}
	}
	must(t, lines.Err())
	must(t, b.stop())
	<-ended
	for lines.Scan() { // to the end, which now comes
	}
}

// TestStopLetsRequestsFinish stops the server while a request is under way.
func TestStopLetsRequestsFinish(t *testing.T) {
	arrived, release := make(chan struct{}), make(chan struct{})
	b := newBench(t, nil, func(s *Server) {
		s.Engine.GET("/slow", Require(ScopeRead), func(c *gin.Context) {
			close(arrived)
			<-release
			c.String(http.StatusOK, "finished, %v", c.Request.Context().Err())
		})
	})
	got := make(chan string, 1)
	go func() {
		r, err := http.NewRequestWithContext(context.Background(), http.MethodGet, b.address+"/slow", nil)
		if err != nil {
			got <- err.Error()
			return
		}
		r.Header.Set("Authorization", "Bearer "+b.secrets["reader"])
		answer, err := b.client.Do(r)
		if err != nil {
			got <- err.Error()
			return
		}
		defer answer.Body.Close()
		raw, err := io.ReadAll(answer.Body)
		got <- fmt.Sprint(string(raw), err)
	}()
	<-arrived
	stopped := make(chan error, 1)
	go func() { stopped <- b.stop() }()
	<-b.server.stopping.Done()
	close(release)
	must(t, <-stopped)
	if body := <-got; body != "finished, <nil><nil>" {
		t.Errorf("the request under way got %q", body)
	}
}

// TestStopDoesNotWaitForEver cuts off what does not end.
func TestStopDoesNotWaitForEver(t *testing.T) {
	arrived, release := make(chan struct{}), make(chan struct{})
	b := newBench(t, func(c *Config) { c.StopTimeout = time.Millisecond }, func(s *Server) {
		s.Engine.GET("/stuck", Require(ScopeRead), func(*gin.Context) {
			close(arrived)
			<-release
		})
	})
	b.cutsOff = true
	cut := make(chan error, 1)
	go func() {
		r, err := http.NewRequestWithContext(context.Background(), http.MethodGet, b.address+"/stuck", nil)
		if err == nil {
			r.Header.Set("Authorization", "Bearer "+b.secrets["reader"])
			_, err = b.client.Do(r)
		}
		cut <- err
	}()
	<-arrived
	if err := b.stop(); err == nil || !strings.Contains(err.Error(), "cut off") {
		t.Errorf("stop: %v, want that a request was cut off", err)
	}
	if <-cut == nil {
		t.Error("the request that was cut off got an answer")
	}
	close(release)
}

func TestServeFailsWithItsListener(t *testing.T) {
	tokens, err := OpenTokens(filepath.Join(t.TempDir(), "tokens.json"))
	must(t, err)
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	must(t, err)
	must(t, listener.Close())
	if err := New(Config{Tokens: tokens}).Serve(t.Context(), listener); err == nil {
		t.Error("serving on a closed listener brought no error")
	}
}

func TestWriterKeepsOrder(t *testing.T) {
	b := newBench(t, nil, func(s *Server) {
		s.Engine.GET("/mixed", Require(ScopeRead), func(c *gin.Context) {
			c.Header("Content-Type", "text/plain")
			for i := range 40 {
				fmt.Fprintf(c.Writer, "%03d,", i)
				switch {
				case i == 3:
					c.Writer.WriteHeaderNow()
				case i == 9:
					c.Writer.Flush()
				case i%7 == 0:
					_, _ = c.Writer.Write(bytes.Repeat([]byte{'.'}, 2000))
				}
			}
		})
	})
	_, body := b.do(t, scenario{url: "/mixed", token: "reader"})
	var want strings.Builder
	for i := range 40 {
		fmt.Fprintf(&want, "%03d,", i)
		if i != 3 && i != 9 && i%7 == 0 {
			want.WriteString(strings.Repeat(".", 2000))
		}
	}
	if body != want.String() {
		t.Errorf("the answer arrived in another order: %d bytes, want %d", len(body), want.Len())
	}
}
