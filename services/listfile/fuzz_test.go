package listfile

import (
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"
)

// kept is what the lists of this test hold.
type kept struct {
	Firm  string    `json:"firm"`
	Names []string  `json:"names"`
	Made  time.Time `json:"made"`
}

// FuzzList reads whatever stands in the file of a list: of who has access, of links, of who
// is erased. What cannot be read to the letter is refused and left as it is; what can is
// written back with nothing lost.
func FuzzList(f *testing.F) {
	for _, seed := range []string{`{"version":1,"things":[{"firm":"north","names":["anna"],"made":"2026-03-02T09:00:00Z"}]}`,
		`{"version":1,"things":[]}`, `{"version":1,"things":null}`, `{"version":2,"things":[]}`, `{"things":[],"version":1,"more":1}`,
		`{"version":1,"things":[{"firm":"north","secret":"x"}]}`, `{"version":1,"things":[[[[`, "", "\ufeff{}", `{"version":1e9,"things":{}}`} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, raw []byte) {
		path := filepath.Join(t.TempDir(), "list.json")
		if err := os.WriteFile(path, raw, 0o600); err != nil {
			t.Fatal(err)
		}
		items, err := New[kept](path, "things").Items()
		changed := New[kept](path, "things").Change(func(list []kept) ([]kept, error) { return append(list, kept{Firm: "new"}), nil })
		if (err == nil) != (changed == nil) {
			t.Fatalf("read with %v, and changed with %v", err, changed)
		}
		again, failed := New[kept](path, "things").Items()
		if err != nil {
			if kept, err := os.ReadFile(path); err != nil || !slices.Equal(kept, raw) {
				t.Fatalf("what could not be read was written over: %q, %v", kept, err)
			}
			return
		}
		if failed != nil || len(again) != len(items)+1 || again[len(items)].Firm != "new" {
			t.Fatalf("%d items, and %d with one more: %v", len(items), len(again), failed)
		}
	})
}
