package main

import (
	"math"
	"math/rand/v2"
)

// disk is what a commit waits for: one thing at a time, the longest waiting first.
// Commits of one partition that pile up go together, as the embedded log sends them.
type disk struct {
	single float64 // seconds that a commit takes by itself
	group  float64 // seconds that a group takes, and
	each   float64 // what each commit in it adds
	least  int     // a group begins with so many; 0: none ever does
	most   int     // and has at most so many
}

// arrivals are the moments at which commits of one partition come: a Poisson process
// whose pace changes by the slot, in which some arrivals are bursts.
type arrivals struct {
	random *rand.Rand
	pace   []float64 // arrivals a second, in each slot
	slot   float64   // seconds
	burst  int       // commits of a phone that was without a line
	share  float64   // of the arrivals that are bursts

	at float64
}

// next returns the moment of the next arrival and how many commits it has; +Inf after
// the last slot. An exponential amount of expected arrivals is spent slot by slot, which
// is exact for a pace that changes at their ends only.
func (a *arrivals) next() (at float64, commits int) {
	left := a.random.ExpFloat64()
	for i := int(a.at / a.slot); i < len(a.pace); i++ {
		end := float64(i+1) * a.slot
		if room := (end - a.at) * a.pace[i]; room < left {
			left -= room
			a.at = end
			continue
		}
		a.at += left / a.pace[i]
		if a.burst > 1 && a.random.Float64() < a.share {
			return a.at, a.burst
		}
		return a.at, 1
	}
	return math.Inf(1), 0
}

// line is the commits of one partition that wait.
type line struct {
	from    *arrivals
	at      float64 // of the next arrival
	commits int     // in it
	waiting []float64
	head    int
}

func (l *line) length() int { return len(l.waiting) - l.head }

// admit takes in what has come by now.
func (l *line) admit(now float64) {
	for l.at <= now {
		for range l.commits {
			l.waiting = append(l.waiting, l.at)
		}
		l.at, l.commits = l.from.next()
	}
}

// take removes the first n, which are valid until the next call of admit.
func (l *line) take(n int) []float64 {
	taken := l.waiting[l.head : l.head+n]
	l.head += n
	if l.head == len(l.waiting) {
		l.waiting, l.head = l.waiting[:0], 0
	} else if l.head > 4096 && l.head > len(l.waiting)/2 {
		l.waiting = append([]float64(nil), l.waiting[l.head:]...)
		l.head = 0
	}
	return taken
}

// serve runs the disk until all that came is done. seen hears of each piece of work:
// when it began and ended, and when its commits had come.
func (d disk) serve(lines []*line, seen func(began, ended float64, came []float64)) {
	for _, l := range lines {
		l.at, l.commits = l.from.next()
	}
	for now := 0.0; ; {
		var longest *line
		soonest := math.Inf(1)
		for _, l := range lines {
			l.admit(now)
			soonest = min(soonest, l.at)
			if l.length() > 0 && (longest == nil || l.waiting[l.head] < longest.waiting[longest.head]) {
				longest = l
			}
		}
		if longest == nil {
			if math.IsInf(soonest, 1) {
				return
			}
			now = soonest
			continue
		}
		n, took := 1, d.single
		if d.least > 0 && longest.length() >= d.least {
			n = min(longest.length(), d.most)
			took = d.group + d.each*float64(n)
		}
		seen(now, now+took, longest.take(n))
		now += took
	}
}

// waits counts waits by their length, in steps of one percent.
type waits struct {
	count [2400]int64
	all   int64
	most  float64
}

const leastWait = 1e-6 // seconds; the steps reach a few hours

func (w *waits) add(seconds float64) {
	step := int(math.Log(max(seconds, leastWait)/leastWait) / math.Log(1.01))
	w.count[min(step, len(w.count)-1)]++
	w.all++
	w.most = max(w.most, seconds)
}

// quantile returns the wait that the share of all do not exceed, to one percent.
func (w *waits) quantile(share float64) float64 {
	left := int64(math.Ceil(share * float64(w.all)))
	for step, n := range w.count {
		if left -= n; left <= 0 {
			return min(w.most, leastWait*math.Pow(1.01, float64(step+1)))
		}
	}
	return w.most
}
