package demo

import (
	"hash/fnv"
	"math"
	"math/rand/v2"
)

// The law of the demo, in logarithms of actual over book:
//
//	firm + task + surface in task + method in surface + job type in method
//	+ drift + step + learning + crew + job + noise, sometimes + bad luck
//
// and the story that is told on top of it. The sizes are common practice in
// simulations of this kind, no source.
const (
	firmMean, firmSD = -.17, .05 // the book leaves room for what nobody plans
	taskSD           = .15
	surfaceSD        = .10
	methodSD         = .08
	jobTypeSD        = .10
	crewSD           = .08
	jobSD            = .10

	driftPerYear = .03
	stepSize     = .15 // on one task, from 60 per cent of the time on
	stepTask     = "fill"
	stepAt       = .6
	learnHalving = .03 // for each halving of repeats below learnRepeats
	learnRepeats = 16

	noiseLeast, noiseMost = .15, .40 // by task, log-uniform
	badLine               = .05
	badJob                = .025
	slip                  = .01 // of bookings: typed ten times too much or too little

	protectionWhereLived = .50 // the story: covering up around people and furniture
	stairwellWork        = .30 // the story: work on ladders and landings
)

// truth draws the lasting effects of one firm. An effect depends on its name
// and the seed alone, whatever is asked first.
type truth struct{ seed uint64 }

// effect returns a normal draw for the name, cut at two standard deviations so
// that no seed tells another story.
func (t truth) effect(name string, sd float64) float64 {
	return min(2, max(-2, t.rand(name).NormFloat64())) * sd
}

// rand returns the stream of draws with that name.
func (t truth) rand(name string) *rand.Rand {
	h := fnv.New64a()
	h.Write([]byte(name)) // never fails
	return rand.New(rand.NewPCG(t.seed, h.Sum64()))
}

// lasting returns what every line of this kind has in common.
func (t truth) lasting(jobType string, w work) float64 {
	surface := w.task + "/" + w.surface
	method := surface + "/" + w.method
	sum := firmMean + t.effect("firm", firmSD) + t.effect(w.task, taskSD) + t.effect(surface, surfaceSD) +
		t.effect(method, methodSD) + t.effect(method+"/"+jobType, jobTypeSD)
	switch {
	case jobType == occupied && w.phase == protecting:
		sum += protectionWhereLived
	case jobType == stairwell:
		sum += stairwellWork
	}
	return sum
}

// noise returns the spread of single lines of a task.
func (t truth) noise(task string) float64 {
	return noiseLeast * math.Exp(t.rand("noise "+task).Float64()*math.Log(noiseMost/noiseLeast))
}

// learning returns the handicap of a crew that has done a task n times before.
func learning(n int) float64 {
	return learnHalving * math.Log2(learnRepeats/float64(min(n+1, learnRepeats)))
}

// lineFactor returns actual over book for one line of a job. progress goes from
// 0 to 1 over the firm's years.
func (g *generator) lineFactor(j *job, w work) float64 {
	key := j.crew.key + " " + w.task
	sum := g.truth.lasting(j.jobType, w) + g.truth.effect(j.crew.key, crewSD) + j.effect +
		driftPerYear*g.progress(j.start)*g.years + learning(g.repeats[key])
	g.repeats[key]++
	if w.task == stepTask && g.progress(j.start) > stepAt {
		sum += stepSize
	}
	sum += j.rng.NormFloat64() * g.truth.noise(w.task)
	if j.rng.Float64() < badLine {
		sum += .4 + .3*math.Abs(j.rng.NormFloat64())
	}
	return math.Exp(min(1.2, max(-.9, sum)))
}
