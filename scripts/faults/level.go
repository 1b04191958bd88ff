package main

import (
	"slices"
	"time"
)

// measure is a column of what is seen of the program.
type measure struct {
	name  string
	bound float64 // most that it may rise, as a part of its median; 0: it may rise
	least float64 // a rise that is always allowed: what comes and goes by chance
	most  float64 // that it may ever be; 0: there is no limit
	of    func(sample) float64
}

// memoryMost is what the program lets itself take: 320 MiB of Go's memory
// (services/daysheet/app.go) and 192 MiB of DuckDB's (services/facts/duckdb), of which it
// holds what was not yet moved into its file. Below that, memory may fill.
const memoryMost = 320 + 192

// measures are what a soak looks at. What is in use must stay level. The disk is not judged:
// the ledger keeps everything.
func measures() []measure {
	return []measure{
		{"memory, MiB", 0, 0, memoryMost, func(s sample) float64 { return s.resident / (1 << 20) }},
		{"Go heap, MiB", 0.10, 8, 0, func(s sample) float64 { return s.heap / (1 << 20) }},
		{"goroutines", 0.05, 4, 0, func(s sample) float64 { return s.goroutines }},
		{"file handles", 0.05, 4, 0, func(s sample) float64 { return s.handles }},
		{"disk, MiB", 0, 0, 0, func(s sample) float64 { return s.disk / (1 << 20) }},
		{"events", 0, 0, 0, func(s sample) float64 { return s.events }},
	}
}

// within returns the values that were seen between two times.
func (m measure) within(all []sample, from, until time.Duration) (values []float64) {
	for _, s := range all {
		if s.at > from && s.at <= until {
			values = append(values, m.of(s))
		}
	}
	return values
}

// rise returns by how much a value rises between two times, along the line of Theil and
// Sen, whose slope is the median of the slopes of all pairs, and by how much it may.
func (m measure) rise(all []sample, from, until time.Duration) (rise, most float64) {
	var slopes []float64
	for i, a := range all {
		if a.at <= from || a.at > until {
			continue
		}
		for _, b := range all[i+1:] {
			if b.at <= until {
				slopes = append(slopes, (m.of(b)-m.of(a))/(b.at-a.at).Seconds())
			}
		}
	}
	most = max(m.bound*median(m.within(all, from, until)), m.least)
	return median(slopes) * (until - from).Seconds(), most
}

// median returns the middle of values, which may be empty; then it is 0.
func median(values []float64) float64 {
	if len(values) == 0 {
		return 0
	}
	sorted := slices.Sorted(slices.Values(values))
	half := len(sorted) / 2
	if len(sorted)%2 == 1 {
		return sorted[half]
	}
	return (sorted[half-1] + sorted[half]) / 2
}
