package factstest

import (
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"testing"

	"daysheet/reports"
	"daysheet/services/facts"
)

// History is an invented random history of one partition, for tests that write
// it in ways of their own: in pieces, twice, into two stores.
type History struct {
	gamble *gamble
	seed   uint64
}

// Partition is the one that a [History] is of.
const Partition = 7

// NewHistory makes a history of so many commits, and logs its seed.
func NewHistory(t *testing.T, commits int) *History {
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	g := &gamble{Rand: rand.New(rand.NewPCG(seed, 0)), book: &book{partition: Partition},
		firms: []string{firmA, firmB, "c"}}
	for range commits {
		g.commit()
	}
	return &History{gamble: g, seed: seed}
}

// Last returns the sequence of the last commit.
func (h *History) Last() uint64 { return uint64(len(h.gamble.book.commits)) }

// Batch returns the commits after one sequence up to another.
func (h *History) Batch(after, upTo uint64) facts.Batch { return h.gamble.book.batch(after, upTo) }

// questioner asks the same questions each time.
func (h *History) questioner() *gamble {
	g := *h.gamble
	g.Rand = rand.New(rand.NewPCG(h.seed, 1))
	return &g
}

// Check requires a store to hold the history up to a sequence and nothing else:
// its answers to so many random questions must be those of the plain model.
func (h *History) Check(t *testing.T, store facts.Store, upTo uint64, questions int) {
	t.Helper()
	b := &bench{t: t, store: store}
	b.position(Partition, upTo)
	g, held := h.questioner(), facts.Batch{}
	if upTo > 0 {
		held = h.Batch(0, upTo)
	}
	m := &model{facts: held.Facts, jobs: held.Jobs}
	for range questions {
		q := g.query()
		same(t, fmt.Sprintf("sum %+v", q), b.sum(q), m.sum(q))
		same(t, fmt.Sprintf("lines %+v", q), b.lines(q), m.lines(q))
		jq := g.jobQuery()
		same(t, fmt.Sprintf("jobs %+v", jq), b.jobs(jq), m.jobRows(jq))
	}
	for _, firm := range append(g.firms, "nobody") {
		same(t, "sum of "+firm, b.sum(reports.Query{Firm: firm}), m.sum(reports.Query{Firm: firm}))
		same(t, "lines of "+firm, b.lines(reports.Query{Firm: firm}), m.lines(reports.Query{Firm: firm}))
	}
	commits, err := b.archive().Commits(t.Context(), Partition, 0, len(h.gamble.book.commits)+1)
	if err != nil {
		t.Fatal(err)
	}
	sameCommits(t, commits, held.Commits)
}

// Answers returns a store's answers to so many random questions, the same for
// every store, each as JSON after the question.
func (h *History) Answers(t *testing.T, store facts.Store, questions int) []string {
	t.Helper()
	b, g := &bench{t: t, store: store}, h.questioner()
	var out []string
	note := func(question, answer any) {
		raw, err := json.Marshal(answer)
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, fmt.Sprintf("%T %+v: %s", answer, question, raw))
	}
	for range questions {
		q, jq := g.query(), g.jobQuery()
		note(q, b.sum(q))
		note(q, b.lines(q))
		note(jq, b.jobs(jq))
	}
	return out
}
