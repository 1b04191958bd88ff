package rates

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
)

// manySamples returns n rows in tasks x surfaces x methods x job types cells.
func manySamples(n, tasks, surfaces, methods, jobTypes int) []Sample {
	r := rand.New(rand.NewPCG(7, 7))
	samples := make([]Sample, n)
	for i := range samples {
		quantity := 10_000 + r.Int64N(90_000)
		samples[i] = Sample{BookMinutesMilli: 6000, Minutes: max(1, int64(float64(quantity)*.006*math.Exp(.3*r.NormFloat64()))),
			Line: Line{Job: fmt.Sprintf("job-%06d", i/8), Task: fmt.Sprintf("task-%d", i%8*(tasks/8)+r.IntN(tasks/8)),
				Surface: fmt.Sprintf("surface-%d", r.IntN(surfaces)), Method: fmt.Sprintf("method-%d", r.IntN(methods)),
				JobType: fmt.Sprintf("type-%d", r.IntN(jobTypes)), Day: firstDay + i/100, QuantityMilli: quantity,
				EventIDs: []string{fmt.Sprintf("event-%07d", i)}}}
	}
	return samples
}

func BenchmarkFit(b *testing.B) {
	for _, size := range []struct {
		name                               string
		n, tasks, surfaces, methods, types int
	}{
		{"1500rows", 1500, 16, 4, 3, 3},
		{"100000rows/few-cells", 100_000, 16, 4, 4, 4},
		{"100000rows/many-cells", 100_000, 64, 8, 9, 10},
	} {
		samples := manySamples(size.n, size.tasks, size.surfaces, size.methods, size.types)
		for _, part := range []struct {
			name string
			run  func() int
		}{
			{"index", func() int {
				h, err := newHistory(samples, ofLabour)
				if err != nil {
					b.Fatal(err)
				}
				return newIndex(h, h.until(firstDay+2000)).tree.count(depth - 1)
			}},
			{"all", func() int {
				f, err := FitLabour(samples, firstDay+2000, Options{})
				if err != nil {
					b.Fatal(err)
				}
				return len(f.core.nodes[depth-1])
			}},
		} {
			b.Run(size.name+"/"+part.name, func(b *testing.B) {
				cells := 0
				for b.Loop() {
					cells = part.run()
				}
				b.ReportMetric(float64(cells), "cells")
			})
		}
		f, err := FitLabour(samples, firstDay+2000, Options{})
		if err != nil {
			b.Fatal(err)
		}
		y, _ := f.logs(false)
		b.Run(size.name+"/fit", func(b *testing.B) {
			for b.Loop() {
				newCore(f.settings, f.index.tree, y, nil).run()
			}
			b.ReportMetric(float64(f.Rounds), "rounds")
		})
	}
}
