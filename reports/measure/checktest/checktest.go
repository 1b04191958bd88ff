// Package checktest compares figures of this project with figures that others
// published, and says how many checks rest on which source.
package checktest

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
	"testing"
)

// Check is one figure beside the published one.
type Check struct {
	Name      string
	Source    string // standard, handbook or public body; or that there is none
	Got       float64
	Want      float64
	Tolerance float64 // greatest difference; 0 for exactly equal
	Misprint  bool    // Want is a published error: Got must differ by more than Tolerance
}

// Run compares every check and logs how many there are by source. A check without
// a name of its own or without a source fails.
func Run(t *testing.T, checks []Check) {
	t.Helper()
	counts, names := map[string]int{}, map[string]bool{}
	for _, c := range checks {
		t.Run(c.Name, func(t *testing.T) { compare(t, c) })
		if names[c.Name] {
			t.Errorf("%s stands twice in the list", c.Name)
		}
		names[c.Name] = true
		counts[c.Source]++
	}
	var b strings.Builder
	for _, source := range slices.Sorted(maps.Keys(counts)) {
		fmt.Fprintf(&b, "\n%4d  %s", counts[source], source)
	}
	t.Logf("%d checks by %d sources%s", len(checks), len(counts), b.String())
}

func compare(t *testing.T, c Check) {
	t.Helper()
	if c.Name == "" || c.Source == "" {
		t.Errorf("the check %q has no name or no source", c.Name)
	}
	// The slack covers the rounding of decimal constants to binary.
	near := math.Abs(c.Got-c.Want) <= c.Tolerance+1e-9
	switch {
	case math.IsNaN(c.Got) || !c.Misprint && !near:
		t.Errorf("got %v, want %v within %v (%s)", c.Got, c.Want, c.Tolerance, c.Source)
	case c.Misprint && near:
		t.Errorf("got %v, the published error %v (%s)", c.Got, c.Want, c.Source)
	}
}
