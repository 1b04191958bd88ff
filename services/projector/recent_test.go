package projector

import "testing"

func TestRecentKeepsWhatWasUsedLast(t *testing.T) {
	r := newRecent[string, int](2)
	r.put("a", 1)
	r.put("b", 2)
	if v, ok := r.get("a"); !ok || v != 1 {
		t.Fatalf("a is %d, %v", v, ok)
	}
	r.put("c", 3) // b was used longest ago
	if _, ok := r.get("b"); ok {
		t.Error("b was kept beyond the bound")
	}
	r.put("a", 4)
	if v, ok := r.get("a"); !ok || v != 4 {
		t.Errorf("a is %d, %v after it was put again", v, ok)
	}
	r.drop("a")
	r.drop("a")
	if _, ok := r.get("a"); ok || len(r.byKey) != 1 || r.order.Len() != 1 {
		t.Errorf("after a drop %d and %d are kept, want 1", len(r.byKey), r.order.Len())
	}
}
