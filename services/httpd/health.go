package httpd

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"net/http"
	"slices"
	"time"

	"github.com/gin-gonic/gin"
	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"
)

// readyTimeout bounds all checks of one question together.
const readyTimeout = 3 * time.Second

// NotReady is the error of a check that says more than that it failed. The reason is
// shown to whoever asks, without a credential: it must not name firms, jobs or
// addresses.
type NotReady struct {
	Reason string
	Err    error // for the program's own log; may be nil
}

// Error says both.
func (n *NotReady) Error() string {
	if n.Err == nil {
		return n.Reason
	}
	return n.Reason + ": " + n.Err.Error()
}

// Unwrap returns the cause.
func (n *NotReady) Unwrap() error { return n.Err }

// addHealth adds what a supervisor asks, without a credential: whether the
// process lives, and whether it can serve. The answers name the checks, and no more
// of what is wrong than [NotReady] says.
func (s *Server) addHealth() {
	alive := func(c *gin.Context) { c.JSON(http.StatusOK, gin.H{"status": "alive"}) }
	for _, method := range []string{http.MethodGet, http.MethodHead} {
		s.Engine.Handle(method, "/livez", alive)
		s.Engine.Handle(method, "/readyz", s.readyz)
	}
}

func (s *Server) readyz(c *gin.Context) {
	ctx, cancel := context.WithTimeout(c.Request.Context(), readyTimeout)
	defer cancel()
	passed := gin.H{}
	var failed []Refusal
	for _, name := range slices.Sorted(maps.Keys(s.ready)) {
		if err := s.ready[name](ctx); err != nil {
			_ = c.Error(fmt.Errorf("check %s: %w", name, err)) // hands it to the access log and returns it again
			message := name + " is not ready"
			if why := (*NotReady)(nil); errors.As(err, &why) {
				message += ": " + why.Reason
			}
			failed = append(failed, Refusal{Message: message, Field: name, Rule: "ready"})
			continue
		}
		passed[name] = "ready"
	}
	if len(failed) > 0 {
		p := NewProblem(http.StatusServiceUnavailable, "the server is not ready")
		p.Errors = failed
		Abort(c, p)
		return
	}
	answer := gin.H{"status": "ready", "checks": passed}
	if len(s.notes) > 0 {
		notes := gin.H{}
		for name, note := range s.notes {
			notes[name] = note()
		}
		answer["notes"] = notes
	}
	c.JSON(http.StatusOK, answer)
}

// addMetrics adds the registry and its page.
func (s *Server) addMetrics() {
	s.durations = prometheus.NewHistogramVec(prometheus.HistogramOpts{
		Name:    "http_request_duration_seconds",
		Help:    "Time to answer a request, by route template.",
		Buckets: []float64{.001, .0025, .005, .01, .025, .05, .1, .25, .5, 1, 2.5, 10},
	}, []string{"route", "method", "code"})
	s.Registry.MustRegister(s.durations, collectors.NewGoCollector(),
		collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	// The writer before the handlers compresses already.
	metrics := promhttp.HandlerFor(s.Registry, promhttp.HandlerOpts{DisableCompression: true})
	s.Engine.GET("/metrics", Require(ScopeRead), gin.WrapH(metrics))
}
