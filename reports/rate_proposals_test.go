package reports

import (
	"fmt"
	"testing"
)

// TestProposedChangesAreAllCounted: a chart holds the 20 that differ most; what is said
// beside it counts every proposal, as the table does, also those that the book lacks.
func TestProposedChangesAreAllCounted(t *testing.T) {
	var proposals []RateProposal
	for n := range int64(25) {
		p := RateProposal{Task: fmt.Sprintf("task-%d", n), BookMilli: 1000, ProposedMilli: 1000 + 10*(n+1)}
		if n%2 == 1 {
			p.ProposedMilli = 1000 - 10*(n+1)
		}
		proposals = append(proposals, p)
	}
	proposals = append(proposals, RateProposal{Task: "gild", ProposedMilli: 9000})
	f := proposalFigures(proposals, Names{})[0]
	if got, want := f.Finding.String(), "25 changes are proposed: 13 up, 12 down. 1 rate is not in the book yet."; got != want {
		t.Errorf("the chart says %q, want %q", got, want)
	}
	if len(f.Categories) != barsMost || f.Categories[0] != "task-24" || f.Categories[barsMost-1] != "task-5" {
		t.Errorf("the chart holds %q", f.Categories)
	}
	if got, want := f.Title.String(), "Proposed change of the book (the 20 that differ most)"; got != want {
		t.Errorf("the chart is called %q, want %q", got, want)
	}
}
