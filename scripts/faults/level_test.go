package main

import (
	"math/rand/v2"
	"testing"
	"time"
)

// TestRise holds the judgement of a soak to lines whose slope is known: noise and single
// spikes do not move it, a leak does.
func TestRise(t *testing.T) {
	m := measure{"memory", 0.10, 8, 0, func(s sample) float64 { return s.resident }}
	series := func(value func(i int, at time.Duration) float64) (all []sample) {
		for i := range 360 {
			at := time.Duration(i+1) * 5 * time.Second
			all = append(all, sample{at: at, resident: value(i, at)})
		}
		return all
	}
	random := rand.New(rand.NewPCG(1, 2))
	noise := func() float64 { return 60 * (random.Float64() - 0.5) }
	const lasts = 30 * time.Minute
	for name, c := range map[string]struct {
		value    func(i int, at time.Duration) float64
		from, to float64 // of the rise over twenty minutes
	}{
		"level":               {func(int, time.Duration) float64 { return 300 }, 0, 0},
		"saw of a collector":  {func(i int, _ time.Duration) float64 { return 300 + float64(i%9)*10 }, -3, 3},
		"noise":               {func(int, time.Duration) float64 { return 300 + noise() }, -6, 6},
		"a spike at the end":  {func(i int, _ time.Duration) float64 { return 300 + 1000*float64(i/350) }, -3, 3},
		"filled at minute 10": {func(_ int, at time.Duration) float64 { return min(300, at.Minutes()*30) }, 0, 0.5},
		"a leak of 3 a minute": {func(_ int, at time.Duration) float64 {
			return 300 + 3*at.Minutes() + noise()
		}, 54, 66},
	} {
		rise, most := m.rise(series(c.value), lasts/3, lasts)
		if rise < c.from || rise > c.to {
			t.Errorf("%s rises by %.2f, want %v to %v", name, rise, c.from, c.to)
		}
		if leaks := c.from > 50; leaks != (rise > most) {
			t.Errorf("%s: a rise of %.2f where %.2f are allowed", name, rise, most)
		}
	}
}
