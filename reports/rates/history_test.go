package rates

import (
	"cmp"
	"fmt"
	"math/rand/v2"
	"reflect"
	"runtime"
	"slices"
	"testing"
)

// A fit is the same to the last bit on one processor and on many, and whatever the
// order in which samples come.
func TestFitOnAnyMachine(t *testing.T) {
	samples := manySamples(3*blockRows, 16, 8, 9, 10)
	for i := range samples {
		samples[i].Crew = fmt.Sprintf("crew-%d", i%5)
		if i%50 == 0 {
			samples[i].Minutes *= 8 // a slip
		}
	}
	o := Options{Crews: true}
	was := runtime.GOMAXPROCS(1)
	one := mustFit(t, samples, o)
	runtime.GOMAXPROCS(max(was, 4))
	many := mustFit(t, samples, o)
	runtime.GOMAXPROCS(was)
	shuffled := slices.Clone(samples)
	r := rand.New(rand.NewPCG(3, 3))
	r.Shuffle(len(shuffled), func(i, j int) { shuffled[i], shuffled[j] = shuffled[j], shuffled[i] })
	for name, f := range map[string]*Fit{"many processors": many, "another order": mustFit(t, shuffled, o)} {
		for field, pair := range map[string][2]any{"nodes": {one.core.nodes, f.core.nodes}, "weights": {one.core.u, f.core.u},
			"sigmas": {one.core.sigmas, f.core.sigmas}, "recent level": {one.recent.nodes, f.recent.nodes},
			"slips": {one.Slips, f.Slips}, "crews": {one.Crews, f.Crews},
			"figures": {[3]float64{one.Sigma, one.Smear, one.JobSD}, [3]float64{f.Sigma, f.Smear, f.JobSD}}} {
			if !reflect.DeepEqual(pair[0], pair[1]) {
				t.Errorf("%s: other %s than on one processor", name, field)
			}
		}
	}
	if len(one.core.blocks) < 3 || len(one.Slips) < 100 {
		t.Errorf("%d blocks and %d slips do not try it", len(one.core.blocks), len(one.Slips))
	}
}

// Names that do not go into one word sort as well.
func TestHistoryOfManyNames(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 5))
	name := func() string { return fmt.Sprintf("%05d", r.IntN(60_000)) }
	samples := make([]Sample, 9000)
	for i := range samples {
		samples[i].Line = Line{Task: name()[:2], Surface: name(), Method: name(), JobType: name(), Job: name(),
			QuantityMilli: int64(i)}
		if i%7 == 0 && i > 0 {
			samples[i].Line = samples[i-1].Line // the same cell again
		}
		if i%3 == 0 {
			samples[i].Surface, samples[i].Method, samples[i].JobType = "", "", ""
		}
	}
	h, err := newHistory(samples, ofLabour)
	if err != nil {
		t.Fatal(err)
	}
	want := make([]int32, len(samples))
	for i := range want {
		want[i] = int32(i)
	}
	slices.SortStableFunc(want, func(i, j int32) int {
		a, b := &samples[i], &samples[j]
		return cmp.Or(cmp.Compare(a.Task, b.Task), cmp.Compare(a.Surface, b.Surface), cmp.Compare(a.Method, b.Method),
			cmp.Compare(a.JobType, b.JobType), cmp.Compare(a.Job, b.Job))
	})
	if !slices.Equal(h.order, want) {
		t.Error("samples are not in the order of their cells and jobs")
	}
}
