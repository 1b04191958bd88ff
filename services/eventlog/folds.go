package eventlog

import (
	"container/list"
	"context"
	"fmt"
	"sync"

	"daysheet/events"
)

// folds keeps the folds of jobs that were lately recorded on. The one longest out
// of use makes room; one in use never does, so two goroutines of this process
// never hold two folds of one job.
type folds struct {
	most int

	mu     sync.Mutex
	byName map[string]*list.Element // firm/job -> *fold
	recent *list.List               // most lately used first
}

// fold is a job as far as this process knows it. All but name and users belongs
// to whoever holds it.
type fold struct {
	name  string
	users int           // holding or waiting; guarded by folds.mu
	held  chan struct{} // full while somebody holds the fold

	job   *events.Job // nil until it was read from the log
	last  uint64      // sequence of the last commit in job; 0 if there is none
	trail trail
}

func newFolds(most int) *folds {
	return &folds{most: most, byName: map[string]*list.Element{}, recent: list.New()}
}

// hold returns the fold of a job once nobody else holds it. The caller releases
// it. It fails only when ctx ends first.
func (f *folds) hold(ctx context.Context, firm, job string) (*fold, error) {
	k := f.join(firm + "/" + job)
	select {
	case k.held <- struct{}{}:
		return k, nil
	case <-ctx.Done():
		f.leave(k)
		return nil, fmt.Errorf("wait for job %s/%s: %w", firm, job, ctx.Err())
	}
}

// release lets the next one have the fold.
func (f *folds) release(k *fold) {
	<-k.held
	f.leave(k)
}

func (f *folds) join(name string) *fold {
	f.mu.Lock()
	defer f.mu.Unlock()
	e, ok := f.byName[name]
	if ok {
		f.recent.MoveToFront(e)
	} else {
		e = f.recent.PushFront(&fold{name: name, held: make(chan struct{}, 1)})
		f.byName[name] = e
	}
	k := e.Value.(*fold)
	k.users++
	return k
}

// leave gives up one use, and makes room if there are too many folds.
func (f *folds) leave(k *fold) {
	f.mu.Lock()
	defer f.mu.Unlock()
	k.users--
	for e := f.recent.Back(); e != nil && f.recent.Len() > f.most; {
		oldest, older := e, e.Prev()
		if candidate := oldest.Value.(*fold); candidate.users == 0 {
			f.recent.Remove(oldest)
			delete(f.byName, candidate.name)
		}
		e = older
	}
}

// apply folds one more commit in. After an error the fold knows nothing any more
// and must be read again.
func (k *fold) apply(n link) error {
	if err := k.job.Apply(n.commit, n.stored.Sequence, n.stored.Raw); err != nil {
		k.forget()
		return err
	}
	k.last = n.stored.Sequence
	k.trail = k.trail.add(k.last)
	return nil
}

func (k *fold) forget() { k.job, k.last, k.trail = nil, 0, nil }
