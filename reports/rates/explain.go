package rates

import (
	"fmt"
	"math"
	"strings"
)

// Level names of the tree, from the firm down.
const (
	LevelFirm = iota
	LevelTask
	LevelSurface
	LevelMethod
	LevelJobType
)

// Step is one node on the way from the firm to a cell. Factors are of the book:
// 1.1 is a tenth more than the book. Estimate is Own to the power of Z times
// Group to the power of 1-Z: the blend is exact in logarithms.
type Step struct {
	Level    int
	Name     string // of the node: the task, surface, method or job type; empty for the firm
	Jobs     int
	Rows     int
	Own      float64 // average of the node's own rows, as a factor
	Group    float64 // estimate of the group above; 1, the book, for the firm
	Z        float64 // how far the own average is trusted, 0 to 1
	Estimate float64
	Low      float64 // the estimate itself lies from Low to High in four of five cases
	High     float64
	Sentence string
}

// Explanation says where the rate of a cell comes from. Rates are thousandths
// of a minute per unit, rounded like [MinutesMilli].
type Explanation struct {
	Steps       []Step  // from the firm to the deepest node that is known; empty without history
	Unseen      int     // levels below it that no job was done on
	Recent      float64 // factor of the last months against the history; 1 without
	Thin        bool    // under 8 jobs in all: show the book beside the rate, and say nothing about crews or drift
	Book        int64
	Own         int64 // own average of the deepest known node
	Group       int64 // estimate of the group above it
	Recommended int64 // median for one unit, recent level included
	Low         int64 // the typical rate lies from Low to High in four of five cases
	High        int64
	Sentence    string
}

// normal80 is the 90 % point of the normal law: 80 % lie within it.
const normal80 = 1.2815515655446004

// Explain says in numbers and words where the recommended rate of a line comes
// from. QuantityMilli is not used. It refuses what [Fit.Predict] refuses.
func (f *Fit) Explain(q Query) (Explanation, error) {
	at, err := f.locate(q)
	if err != nil {
		return Explanation{}, err
	}
	e := Explanation{Unseen: depth - 1 - at.level, Recent: math.Exp(f.shift(at.task())), Thin: f.Jobs < 8}
	mean, spread, _ := f.estimate(at)
	mean += f.shift(at.task()) + f.crewEffect(q.Crew)
	rate := func(log float64) int64 { return MinutesMilli(at.reference * math.Exp(log)) }
	e.Book, e.Recommended = rate(0), rate(mean)
	e.Own, e.Group = e.Book, e.Book
	e.Low, e.High = rate(mean-normal80*math.Sqrt(spread)), rate(mean+normal80*math.Sqrt(spread))
	if f.core == nil {
		e.Sentence = "No finished jobs yet: the rate is the book's."
		return e, nil
	}
	names := []string{q.Task, q.Surface, q.Method, q.JobType}
	for l := 0; l <= at.level; l++ {
		e.Steps = append(e.Steps, f.step(l, at.nodes[l], at.nodes[max(l-1, 0)], names[:l]))
	}
	deepest := &e.Steps[at.level]
	e.Own, e.Group = rate(math.Log(deepest.Own)), rate(math.Log(deepest.Group))
	e.Sentence = e.say(names)
	return e, nil
}

func (f *Fit) step(level, node, group int, names []string) Step {
	n := &f.core.nodes[level][node]
	s := Step{Level: level, Own: math.Exp(n.m), Group: 1, Z: n.z, Estimate: math.Exp(n.mean),
		Low: math.Exp(n.mean - normal80*math.Sqrt(n.c)), High: math.Exp(n.mean + normal80*math.Sqrt(n.c))}
	if level > 0 {
		s.Name, s.Group = names[level-1], math.Exp(f.core.nodes[level-1][group].mean)
	}
	lo, hi := f.index.tree.span(level, node)
	s.Rows, s.Jobs = hi-lo, int(f.jobsAt()[level][node])
	above := "the quote book"
	if level > 0 {
		above = fmt.Sprintf("%s, which %s", workOf(names[:level-1]), against("takes", s.Group))
	}
	s.Sentence = fmt.Sprintf("%s of %s: on average %s. It is trusted %.0f %%, the other %.0f %% is %s. Together: %s.",
		jobs(s.Jobs), workOf(names), against("", s.Own), 100*s.Z, 100-math.Round(100*s.Z), above, against("", s.Estimate))
	return s
}

// countJobs counts the jobs of every node, by level.
func (f *Fit) countJobs() [][]int32 {
	counts := make([][]int32, depth)
	for l := range counts {
		counts[l] = make([]int32, f.index.tree.count(l))
		seenAt := make([]int32, len(f.index.history.names[columnJob])) // the last node that each job was seen in, plus 1
		for node := range counts[l] {
			lo, hi := f.index.tree.span(l, node)
			for _, r := range f.index.rows[lo:hi] {
				if seenAt[r.job] != int32(node)+1 {
					seenAt[r.job] = int32(node) + 1
					counts[l][node]++
				}
			}
		}
	}
	return counts
}

// say sums the steps up for the cell.
func (e *Explanation) say(names []string) string {
	s := e.Steps[len(e.Steps)-1].Sentence
	if e.Unseen > 0 {
		known := len(names) - e.Unseen
		s = fmt.Sprintf("No job yet of %s; the rate is that of %s. %s", workOf(names), workOf(names[:known]), s)
	}
	if p := percent(e.Recent); p != 0 {
		s += fmt.Sprintf(" The last months move it by %+d %%.", p)
	}
	return s
}

func jobs(n int) string {
	if n == 1 {
		return "1 job"
	}
	return fmt.Sprintf("%d jobs", n)
}

// workOf names a node by its path.
func workOf(names []string) string {
	var known []string
	for _, n := range names {
		if n != "" {
			known = append(known, n)
		}
	}
	if len(known) == 0 {
		return "all work"
	}
	return strings.Join(known, ", ")
}

// percent returns how far a factor is from 1, to the nearest hundredth.
func percent(factor float64) int64 { return int64(math.Round(100 * (factor - 1))) }

// against says how a factor compares with the book.
func against(verb string, factor float64) string {
	text := "what the book says"
	switch p := percent(factor); {
	case p > 0:
		text = fmt.Sprintf("%d %% more than the book", p)
	case p < 0:
		text = fmt.Sprintf("%d %% less than the book", -p)
	}
	return strings.TrimSpace(verb + " " + text)
}
