package rates

import (
	"fmt"
	"math"
	"math/rand/v2"
)

// The simulator makes invented firms whose true rates are known. It has the
// same nested lognormal shape as the model, so its figures flatter the model:
// only a firm's own backtest counts.

type scenario struct {
	jobs, test int
	days       float64
	real       bool // crew, job, learning, bad lines and jobs, slips
	drift      float64
	walk       float64
	step       float64
}

// The scenarios: clean, realistic, a firm in its first half year, strong drift.
var (
	clean     = scenario{jobs: 180, test: 20, days: 3 * 365}
	realistic = scenario{jobs: 180, test: 20, days: 3 * 365, real: true, drift: .03, step: .15}
	startUp   = scenario{jobs: 15, test: 10, days: 182, real: true, drift: .03, step: .15}
	drifting  = scenario{jobs: 180, test: 20, days: 3 * 365, real: true, drift: .06, walk: .12, step: .25}
)

const (
	simTasks, simSurfaces, simMethods, simJobTypes, simCrews = 14, 4, 3, 4, 4

	firstDay = 20_000
)

// simLine is a line to be quoted, with its true rate against the book.
type simLine struct {
	Sample
	truth float64 // without the crew
	crew  float64
}

type simulator struct {
	*rand.Rand
	scenario
	firm     float64
	task     [simTasks]float64
	surface  [simTasks][simSurfaces]float64
	method   [simTasks][simSurfaces][simMethods]float64
	jobType  [simTasks][simSurfaces][simMethods][simJobTypes]float64
	noise    [simTasks]float64
	book     [simTasks]int64
	walked   [simTasks]float64
	stepTask int
	crew     [simCrews]float64
	repeats  [simCrews][simTasks]int
	lastDay  float64
}

func newSimulator(seed uint64, s scenario) *simulator {
	m := &simulator{Rand: rand.New(rand.NewPCG(seed, 1)), scenario: s}
	m.firm = .06 + .05*m.NormFloat64()
	for t := range m.task {
		m.task[t] = .22 * m.NormFloat64()
		m.noise[t] = math.Exp(m.uniform(math.Log(.15), math.Log(.40)))
		m.book[t] = int64(math.Round(60_000 * math.Exp(m.uniform(math.Log(.02), 0))))
		for s := range m.surface[t] {
			m.surface[t][s] = .15 * m.NormFloat64()
			for k := range m.method[t][s] {
				m.method[t][s][k] = .12 * m.NormFloat64()
				for j := range m.jobType[t][s][k] {
					m.jobType[t][s][k][j] = .15 * m.NormFloat64()
				}
			}
		}
	}
	m.stepTask = m.IntN(simTasks)
	for c := range m.crew {
		if s.real {
			m.crew[c] = .08 * m.NormFloat64()
		}
	}
	return m
}

func (m *simulator) uniform(a, b float64) float64 { return a + (b-a)*m.Float64() }

// zipf draws from 0 to n-1 with weights 1/(k+1)^s.
func (m *simulator) zipf(n int, s float64) int {
	var sum float64
	for k := range n {
		sum += math.Pow(float64(k+1), -s)
	}
	at := m.Float64() * sum
	for k := range n {
		if at -= math.Pow(float64(k+1), -s); at < 0 {
			return k
		}
	}
	return n - 1
}

// simulate returns the history of a firm and the lines of the jobs after it.
func simulate(seed uint64, s scenario) (history []Sample, test []simLine) {
	m := newSimulator(seed, s)
	for j := range s.jobs + s.test {
		for _, l := range m.job(j) {
			if j < s.jobs {
				history = append(history, l.Sample)
			} else {
				test = append(test, l)
			}
		}
	}
	return history, test
}

func (m *simulator) job(j int) []simLine {
	day := m.days * float64(j) / float64(m.jobs)
	for t := range m.walked {
		m.walked[t] += m.walk * math.Sqrt((day-m.lastDay)/365) * m.NormFloat64()
	}
	m.lastDay = day
	jobType, crew := m.zipf(simJobTypes, .7), m.zipf(simCrews, .5)
	var shared float64
	if m.real {
		shared = .10 * m.NormFloat64()
		if m.Float64() < .025 {
			shared += .5
		}
	}
	size := 40 * math.Exp(.5*m.NormFloat64())
	var lines []simLine
	for _, t := range m.Perm(simTasks)[:6+m.IntN(6)] {
		s, k := m.zipf(simSurfaces, 1.2), m.zipf(simMethods, 1.2)
		truth := m.firm + m.task[t] + m.surface[t][s] + m.method[t][s][k] + m.jobType[t][s][k][jobType] +
			m.drift*day/365 + m.walked[t]
		if t == m.stepTask && day > .6*m.days {
			truth += m.step
		}
		m.repeats[crew][t]++
		y := truth + m.noise[t]*m.NormFloat64() + shared
		slip := 0.0
		if m.real {
			learning := .03 * max(0, math.Log2(16/float64(m.repeats[crew][t])))
			truth += learning
			y += learning + m.crew[crew]
			if m.Float64() < .05 {
				y += .4 + .3*math.Abs(m.NormFloat64())
			}
			if m.Float64() < .01 && j < m.jobs {
				slip = math.Log(10) * float64(1-2*m.IntN(2))
			}
		}
		quantity := int64(math.Round(1000 * size * math.Exp(.4*m.NormFloat64())))
		lines = append(lines, simLine{truth: truth, crew: m.crew[crew], Sample: Sample{BookMinutesMilli: m.book[t],
			Minutes: int64(math.Round(float64(quantity) / 1e6 * float64(m.book[t]) * math.Exp(y+slip))),
			Line: Line{Job: fmt.Sprintf("job-%05d", j), Task: fmt.Sprintf("task-%02d", t), Surface: fmt.Sprintf("surface-%d", s),
				Method: fmt.Sprintf("method-%d", k), JobType: fmt.Sprintf("type-%d", jobType), Crew: fmt.Sprintf("crew-%d", crew),
				Day: firstDay + int(day), QuantityMilli: quantity,
				EventIDs: []string{fmt.Sprintf("event-%05d-%02d", j, t)}}}})
	}
	return lines
}
