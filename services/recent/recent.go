// Package recent keeps the values used last, up to a bound: what falls out can be made
// again, so that losing it costs time and nothing else.
package recent

import (
	"container/list"
	"sync"
)

// Values are the values used last, by key. They are made by [New]; all methods are safe
// for concurrent use.
type Values[K comparable, V any] struct {
	mu     sync.Mutex
	most   int
	weight int
	byKey  map[K]*list.Element
	order  list.List // of slot[K, V], the one used last in front
}

type slot[K comparable, V any] struct {
	key    K
	value  V
	weight int
}

// New returns room for values that weigh no more than most together.
func New[K comparable, V any](most int) *Values[K, V] {
	return &Values[K, V]{most: most, byKey: map[K]*list.Element{}}
}

// Get returns the value of a key, which is then the one used last; ok is false where it
// is not kept.
func (r *Values[K, V]) Get(key K) (value V, ok bool) {
	r.mu.Lock()
	defer r.mu.Unlock()
	e, ok := r.byKey[key]
	if !ok {
		return value, false
	}
	r.order.MoveToFront(e)
	return e.Value.(*slot[K, V]).value, true
}

// Put keeps a value that weighs one; see [Values.PutHeavy].
func (r *Values[K, V]) Put(key K, value V) { r.PutHeavy(key, value, 1) }

// PutHeavy keeps a value of that weight, in place of the one that was kept under the key.
// Those used longest ago fall out until the rest is no heavier than the bound; a value
// that is heavier by itself is not kept.
func (r *Values[K, V]) PutHeavy(key K, value V, weight int) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.remove(key)
	r.byKey[key] = r.order.PushFront(&slot[K, V]{key, value, weight})
	for r.weight += weight; r.weight > r.most; {
		r.remove(r.order.Back().Value.(*slot[K, V]).key)
	}
}

// Drop forgets a key.
func (r *Values[K, V]) Drop(key K) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.remove(key)
}

// remove forgets a key. r.mu is held.
func (r *Values[K, V]) remove(key K) {
	if e, ok := r.byKey[key]; ok {
		r.weight -= r.order.Remove(e).(*slot[K, V]).weight
		delete(r.byKey, key)
	}
}
