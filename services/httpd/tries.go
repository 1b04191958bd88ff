package httpd

import (
	"sync"
	"time"
)

// tries slows down who guesses passwords: after a few failures for one person from one
// address each further one doubles the time until the next. Who comes from another
// address is not held up, so that nobody can lock somebody else out, unless both come
// through one proxy; then a new password, set on the command line, begins anew. Memory is
// bounded as that of [Limits] is.
type tries struct {
	now func() time.Time

	mu         sync.Mutex
	young, old map[string]failures
}

type failures struct {
	count int
	until time.Time // no try before
}

const (
	freeTries = 5
	waitMost  = 15 * time.Minute
	triesMost = 8192 // in one generation
)

func newTries(now func() time.Time) *tries { return &tries{now: now, young: map[string]failures{}} }

// wait returns how long no try is looked at; 0 if it is.
func (t *tries) wait(key string) time.Duration {
	t.mu.Lock()
	defer t.mu.Unlock()
	return max(0, t.of(key).until.Sub(t.now()))
}

func (t *tries) of(key string) failures {
	if f, ok := t.young[key]; ok {
		return f
	}
	return t.old[key]
}

// failed counts a failure, and reports whether it is the first that makes the next try wait.
func (t *tries) failed(key string) (lockedOut bool) {
	t.mu.Lock()
	defer t.mu.Unlock()
	f := t.of(key)
	f.count++
	if over := f.count - freeTries; over >= 0 {
		pause := waitMost
		if over < 10 { // 2^10 seconds are more than the most
			pause = min(waitMost, time.Second<<over)
		}
		f.until = t.now().Add(pause)
	}
	if len(t.young) >= triesMost {
		t.young, t.old = map[string]failures{}, t.young
	}
	t.young[key] = f
	return f.count == freeTries
}

func (t *tries) succeeded(key string) {
	t.mu.Lock()
	defer t.mu.Unlock()
	delete(t.young, key)
	delete(t.old, key)
}
