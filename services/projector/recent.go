package projector

import (
	"container/list"
	"sync"
)

// recent keeps the values used last, up to a bound. What falls out can be made
// again from the log, so that losing it costs time and nothing else.
type recent[K comparable, V any] struct {
	mu    sync.Mutex
	most  int
	byKey map[K]*list.Element
	order list.List // of slot[K, V], the one used last in front
}

type slot[K comparable, V any] struct {
	key   K
	value V
}

func newRecent[K comparable, V any](most int) *recent[K, V] {
	return &recent[K, V]{most: most, byKey: map[K]*list.Element{}}
}

func (r *recent[K, V]) get(key K) (value V, ok bool) {
	r.mu.Lock()
	defer r.mu.Unlock()
	e, ok := r.byKey[key]
	if !ok {
		return value, false
	}
	r.order.MoveToFront(e)
	return e.Value.(*slot[K, V]).value, true
}

func (r *recent[K, V]) put(key K, value V) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if e, ok := r.byKey[key]; ok {
		e.Value.(*slot[K, V]).value = value
		r.order.MoveToFront(e)
		return
	}
	r.byKey[key] = r.order.PushFront(&slot[K, V]{key, value})
	if r.order.Len() > r.most {
		oldest := r.order.Remove(r.order.Back()).(*slot[K, V])
		delete(r.byKey, oldest.key)
	}
}

func (r *recent[K, V]) drop(key K) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if e, ok := r.byKey[key]; ok {
		r.order.Remove(e)
		delete(r.byKey, key)
	}
}
