package httpd

import (
	"bytes"
	"compress/gzip"
	"errors"
	"fmt"
	"io"
	"net"
	"strings"
	"testing"
	"time"

	"github.com/gin-gonic/gin"
)

// TestHostileBodies: bodies that are made to cost more than they weigh are refused, and
// so is the answer to them bounded.
func TestHostileBodies(t *testing.T) {
	b := newBench(t, nil, tryRoutes)
	var packed bytes.Buffer
	w := gzip.NewWriter(&packed)
	_, err := w.Write(bytes.Repeat([]byte(" "), 64<<20))
	must(t, err)
	must(t, w.Close())
	var members strings.Builder
	for i := range 80_000 {
		fmt.Fprintf(&members, `,"a%d":0`, i)
	}
	asJSON := map[string]string{"Content-Type": "application/json"}
	hostile := []scenario{
		{name: "a packed body", body: packed.String(), status: 415, contains: []string{`"field":"Content-Encoding"`, `"value":"gzip"`},
			headers: map[string]string{"Content-Type": "application/json", "Content-Encoding": "gzip"},
			header:  map[string]string{"Accept-Encoding": "identity"}},
		{name: "a packed body of unknown length", reader: chunked{strings.NewReader(packed.String())}, status: 415,
			headers: map[string]string{"Content-Type": "application/json", "Content-Encoding": "br"}},
		{name: "a body that says that it is not packed", body: `{"name":"brush"}`, status: 200,
			headers: map[string]string{"Content-Type": "application/json", "Content-Encoding": "identity"}},
		{name: "lists in lists", headers: asJSON, body: strings.Repeat("[", 500_000), status: 400},
		{name: "objects in objects", headers: asJSON, status: 422,
			body: `{"name":` + strings.Repeat(`{"a":`, 9_000) + "1" + strings.Repeat("}", 9_000) + "}"},
		{name: "very many members", headers: asJSON, body: `{"name":"brush"` + members.String() + "}", status: 422},
		{name: "a number that is too long", headers: asJSON, body: `{"name":"brush","size":` + strings.Repeat("9", 500_000) + "}", status: 400},
	}
	for i := range hostile {
		hostile[i].method, hostile[i].url, hostile[i].token = "POST", "/v1/things", "reader"
	}
	b.run(t, hostile)
	for _, s := range hostile {
		t.Logf("| body | %s | %d |", s.name, s.status)
		if _, answer := b.do(t, scenario{method: s.method, url: s.url, token: s.token, headers: s.headers, body: s.body}); len(answer) > 64<<10 {
			t.Errorf("%s: the answer has %d bytes", s.name, len(answer))
		}
	}
}

// TestSlowClients: whoever does not send on is cut off, and heads have a bound.
func TestSlowClients(t *testing.T) {
	b := newBench(t, func(c *Config) { c.ReadTimeout = 250 * time.Millisecond }, tryRoutes)
	const post = "POST /v1/things HTTP/1.1\r\nHost: x\r\nContent-Type: application/json\r\n"
	authorized := "Authorization: Bearer " + b.secrets["reader"] + "\r\n"
	for name, c := range map[string]struct{ sent, status string }{
		"nothing at all":        {"", ""},
		"half a head":           {"GET /livez HTTP/1.1\r\nHost: x\r\n", ""},
		"half a body":           {post + authorized + "Content-Length: 1000\r\n\r\n{\"name\"", "408"},
		"half a part of a body": {post + authorized + "Transfer-Encoding: chunked\r\n\r\n5\r\n{\"n", "408"},
		"a body by nobody":      {post + "Content-Length: 1000\r\n\r\n{\"name\"", "401"},
		"an endless head":       {"GET /livez HTTP/1.1\r\nHost: x\r\nX-Long: " + strings.Repeat("x", headerBytesMax+8<<10), "431"},
		"two lengths":           {post + authorized + "Content-Length: 2\r\nContent-Length: 3\r\n\r\n{}x", "400"},
		"a head with a break":   {"GET /livez HTTP/1.1\r\nHost: x\r\nX-A: b\x00c\r\n\r\n", "400"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			line, err := net.Dial("tcp", strings.TrimPrefix(b.address, "http://"))
			must(t, err)
			defer line.Close()
			_, err = io.WriteString(line, c.sent)
			must(t, err)
			must(t, line.SetReadDeadline(time.Now().Add(time.Minute))) // it ends with an error then
			got, err := io.ReadAll(line)
			must(t, err)
			if c.status == "" && len(got) > 0 && !strings.HasPrefix(string(got), "HTTP/1.1 408") ||
				c.status != "" && !strings.HasPrefix(string(got), "HTTP/1.1 "+c.status) {
				t.Errorf("the answer is %q", got)
			}
			t.Logf("| slow or broken client | %s | %.21q |", name, got)
		})
	}
}

// TestSlowReader: whoever asks for much and does not read it is cut off, and what makes the
// answer ends.
func TestSlowReader(t *testing.T) {
	ended := make(chan error, 1)
	b := newBench(t, func(c *Config) { c.WriteTimeout = 250 * time.Millisecond }, func(s *Server) {
		tryRoutes(s)
		s.Engine.GET("/endless", Require(ScopeRead), func(c *gin.Context) {
			part := bytes.Repeat([]byte("x"), 1<<20)
			for {
				if _, err := c.Writer.Write(part); err != nil {
					ended <- err
					return
				}
			}
		})
	})
	b.cutsOff = true
	line, err := net.Dial("tcp", strings.TrimPrefix(b.address, "http://"))
	must(t, err)
	defer line.Close()
	_, err = io.WriteString(line, "GET /endless HTTP/1.1\r\nHost: x\r\nAuthorization: Bearer "+b.secrets["reader"]+"\r\n\r\n")
	must(t, err)
	select {
	case err := <-ended:
		t.Logf("| slow or broken client | asks for an answer without end and reads nothing | cut off: %v |", errors.Unwrap(err))
	case <-t.Context().Done():
		t.Fatal("the answer is written for ever")
	}
}
