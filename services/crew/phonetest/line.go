package phonetest

import (
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
)

// Line stands between phones and a ledger. It can be down; and it can lose the answer
// to a recording that the ledger took.
type Line struct {
	mu    sync.Mutex
	inner http.Handler
	down  bool
	lose  int
	lost  int
	posts int
}

// Serve puts a ledger at the other end.
func (l *Line) Serve(inner http.Handler) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.inner = inner
}

// Cut takes the line down, or brings it back.
func (l *Line) Cut(down bool) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.down = down
}

// Lose lets the ledger take the next n recordings and photos and loses its answers.
func (l *Line) Lose(n int) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.lose = n
}

// Lost returns how many answers were lost so far.
func (l *Line) Lost() int {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.lost
}

// Posts returns how many recordings arrived so far, those with a lost answer too.
func (l *Line) Posts() int {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.posts
}

// ServeHTTP passes a request on, or breaks it off.
func (l *Line) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	l.mu.Lock()
	inner, down := l.inner, l.down
	recording := r.Method == http.MethodPost && r.URL.Path == "/v1/events"
	sends := recording || r.Method == http.MethodPut && strings.HasPrefix(r.URL.Path, "/v1/photos/")
	lose := sends && l.lose > 0 && !down
	if lose {
		l.lose--
		l.lost++
	}
	if recording && !down {
		l.posts++
	}
	l.mu.Unlock()
	if down {
		panic(http.ErrAbortHandler)
	}
	if lose {
		inner.ServeHTTP(httptest.NewRecorder(), r)
		panic(http.ErrAbortHandler)
	}
	inner.ServeHTTP(w, r)
}
