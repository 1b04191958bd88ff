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

// Limits gives each sender its own share. It keeps two generations: when the
// young one is full it becomes the old one, and the old one, whose senders have
// been quiet for a while, is dropped. So memory is bounded whoever calls.
type Limits struct {
	every rate.Limit
	burst int
	most  int // senders in one generation

	mu         sync.Mutex
	young, old map[string]*rate.Limiter
}

const sendersMax = 8192

// NewLimits lets each sender do something once in a time, and save up a few.
func NewLimits(every time.Duration, burst int) *Limits { return newLimits(every, burst, sendersMax) }

func newLimits(every time.Duration, burst, most int) *Limits {
	return &Limits{every: rate.Every(every), burst: burst, most: most, young: map[string]*rate.Limiter{}}
}

// Wait returns how long the sender has to wait; 0 takes one from its share.
func (l *Limits) Wait(sender string) time.Duration {
	r := l.of(sender).Reserve()
	delay := r.Delay()
	if delay > 0 {
		r.Cancel()
	}
	return delay
}

func (l *Limits) of(sender string) *rate.Limiter {
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
	delay := s.limiters.Wait(sender)
	if delay == 0 {
		return true
	}
	Abort(c, TooMany(delay, "send fewer requests at a time; a batch holds many events"))
	return false
}

// seconds writes a time to wait in whole seconds.
func seconds(delay time.Duration) string { return strconv.Itoa(int(math.Ceil(delay.Seconds()))) }

// TooMany returns the problem of a sender who has to wait.
func TooMany(delay time.Duration, detail string) *ProblemDetails {
	p := NewProblem(http.StatusTooManyRequests, detail)
	p.headers = http.Header{"Retry-After": {seconds(delay)}}
	return p
}
