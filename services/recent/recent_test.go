package recent

import "testing"

func TestKeepsWhatWasUsedLast(t *testing.T) {
	r := New[string, int](2)
	r.Put("a", 1)
	r.Put("b", 2)
	if v, ok := r.Get("a"); !ok || v != 1 {
		t.Fatalf("a is %d, %v", v, ok)
	}
	r.Put("c", 3) // b was used longest ago
	if _, ok := r.Get("b"); ok {
		t.Error("b was kept beyond the bound")
	}
	r.Put("a", 4)
	if v, ok := r.Get("a"); !ok || v != 4 {
		t.Errorf("a is %d, %v after it was put again", v, ok)
	}
	r.Drop("a")
	r.Drop("a")
	if _, ok := r.Get("a"); ok || len(r.byKey) != 1 || r.order.Len() != 1 {
		t.Errorf("after a drop %d and %d are kept, want 1", len(r.byKey), r.order.Len())
	}
}

func TestWeighsWhatIsKept(t *testing.T) {
	r := New[string, int](10)
	kept := func() (all string) {
		for _, key := range []string{"a", "b", "c", "d"} {
			if e, ok := r.byKey[key]; ok && e != nil {
				all += key
			}
		}
		return all
	}
	for _, c := range []struct {
		key    string
		weight int
		want   string
	}{
		{"a", 4, "a"}, {"b", 6, "ab"}, {"c", 5, "c"}, {"d", 5, "cd"}, {"c", 6, "c"}, // d was used before c
		{"a", 4, "ac"}, {"a", 1, "ac"}, {"d", 3, "acd"}, {"b", 11, ""}, {"a", 10, "a"}, {"d", 0, "ad"},
	} {
		r.PutHeavy(c.key, 0, c.weight)
		if got := kept(); got != c.want {
			t.Fatalf("after %s of %d %q is kept, want %q", c.key, c.weight, got, c.want)
		}
	}
}
