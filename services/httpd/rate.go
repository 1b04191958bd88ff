package httpd

import (
	"math"
	"net/http"
	"slices"
	"strconv"
	"sync"
	"time"

	"github.com/gin-gonic/gin"
	"golang.org/x/time/rate"
)

// limiters gives each sender its own share. It keeps two generations: when the
// young one is full it becomes the old one, and the old one, whose senders have
// been quiet for a while, is dropped. So memory is bounded whoever calls.
type limiters struct {
	every rate.Limit
	burst int
	most  int // senders in one generation

	mu         sync.Mutex
	young, old map[string]*rate.Limiter
}

const sendersMax = 8192

func newLimiters(every time.Duration, burst, most int) *limiters {
	return &limiters{every: rate.Every(every), burst: burst, most: most, young: map[string]*rate.Limiter{}}
}

// wait returns how long the sender has to wait; 0 takes one from its share.
func (l *limiters) wait(sender string) time.Duration {
	r := l.of(sender).Reserve()
	delay := r.Delay()
	if delay > 0 {
		r.Cancel()
	}
	return delay
}

func (l *limiters) of(sender string) *rate.Limiter {
	l.mu.Lock()
	defer l.mu.Unlock()
	if found, ok := l.young[sender]; ok {
		return found
	}
	if len(l.young) >= l.most {
		l.young, l.old = map[string]*rate.Limiter{}, l.young
	}
	found, ok := l.old[sender]
	if !ok {
		found = rate.NewLimiter(l.every, l.burst)
	}
	l.young[sender] = found
	return found
}

// allow applies the limit: by token where there is one, by address otherwise.
// Health is exempt, since who asks for it asks often and must get an answer.
func (s *Server) allow(c *gin.Context, caller Caller) bool {
	if slices.Contains([]string{"/livez", "/readyz"}, c.FullPath()) {
		return true
	}
	sender := "token " + caller.Firm + "/" + caller.Name
	if caller.Firm == "" {
		sender = "address " + c.ClientIP()
	}
	delay := s.limiters.wait(sender)
	if delay == 0 {
		return true
	}
	p := NewProblem(http.StatusTooManyRequests, "send fewer requests at a time; a batch holds many events")
	p.headers = http.Header{"Retry-After": {strconv.Itoa(int(math.Ceil(delay.Seconds())))}}
	Abort(c, p)
	return false
}
