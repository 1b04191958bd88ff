package main

import (
	"cmp"
	"fmt"
	"runtime"
	"strings"
	"time"
)

// print returns the tables as Markdown.
func (b *bench) print(m measured) string {
	var s strings.Builder
	fmt.Fprintf(&s, "## %d facts, seed %d\n\nHalf of them are of the firm that is asked for. %d processors; DuckDB's "+
		"memory limit is %d MiB; median of %d warm runs; the answers of all engines are equal in every value.\n\n",
		b.made, b.seed, runtime.NumCPU(), cmp.Or(b.memory, duckDBMemoryDefault), b.runs)
	b.printLoads(&s)
	printSizes(&s, m)
	printTimes(&s, m)
	printSpeedUps(&s, m, askPostgres)
	printSpeedUps(&s, m, askCovering)
	return strings.TrimSpace(s.String()) + "\n"
}

// printLoads compares each way of writing with DuckDB's, and with the raw driver.
func (b *bench) printLoads(s *strings.Builder) {
	took := map[string]time.Duration{}
	for _, l := range b.loads {
		took[l.name] = l.took
	}
	fmt.Fprintf(s, "| load, batches of %d facts with their jobs and commits | facts/s | to DuckDB, product | "+
		"to the raw driver | |\n| --- | ---: | ---: | ---: | --- |\n", factsOfBatch)
	for _, l := range b.loads {
		toRaw := ""
		if l.raw != "" {
			toRaw = fmt.Sprintf("%.2f", ratio(took[l.raw], l.took))
		}
		fmt.Fprintf(s, "| %s | %.0f k | %.2f | %s | %s |\n", l.name, float64(b.made)/l.took.Seconds()/1000,
			ratio(b.loads[0].took, l.took), toRaw, l.about)
	}
	s.WriteString("\n")
}

func printSizes(s *strings.Builder, m measured) {
	s.WriteString("| disk, with indexes | facts MB | to DuckDB | all MB, with the commits themselves | to DuckDB |\n" +
		"| --- | ---: | ---: | ---: | ---: |\n")
	for _, z := range m.sizes {
		fmt.Fprintf(s, "| %s | %.0f | %.1f | %.0f | %.1f |\n", z.name, float64(z.ofFacts)/1e6,
			float64(z.ofFacts)/float64(m.sizes[0].ofFacts), float64(z.all)/1e6, float64(z.all)/float64(m.sizes[0].all))
	}
	s.WriteString("\n")
}

// printTimes gives milliseconds, with the ratio to DuckDB in brackets.
func printTimes(s *strings.Builder, m measured) {
	others := []string{askHouse, askPlain, askHouseMerged, askPlainMerged, askCurrent, askPostgres, askCovering}
	fmt.Fprintf(s, "Milliseconds (times DuckDB). ClickHouse has its facts in %d parts, merged in %d.\n\n",
		m.parts, m.partsMerged)
	fmt.Fprintf(s, "| report | queries | rows | %s | %s |\n| --- | ---: | ---: | ---: |%s\n", askDuckDB,
		strings.Join(others, " | "), strings.Repeat(" ---: |", len(others)))
	for _, r := range m.results {
		fmt.Fprintf(s, "| %s | %d | %d | %s |", r.name, r.queries, r.rows, milliseconds(r.took[askDuckDB]))
		for _, name := range others {
			fmt.Fprintf(s, " %s (%s) |", milliseconds(r.took[name]), times(ratio(r.took[name], r.took[askDuckDB])))
		}
		s.WriteString("\n")
	}
	s.WriteString("\n")
}

// printSpeedUps says how many times as long PostgreSQL takes, asked in that way.
func printSpeedUps(s *strings.Builder, m measured, way string) {
	engines := []string{askDuckDB, askHouse, askPlain, askHouseMerged, askPlainMerged, askCurrent}
	fmt.Fprintf(s, "| %s: its time over that of | %s |\n| --- |%s\n", way, strings.Join(engines, " | "),
		strings.Repeat(" ---: |", len(engines)))
	least := map[string]float64{}
	for _, r := range m.results {
		fmt.Fprintf(s, "| %s |", r.name)
		for _, name := range engines {
			speedUp := ratio(r.took[way], r.took[name])
			fmt.Fprintf(s, " %s |", times(speedUp))
			if before, known := least[name]; r.grouped && (!known || speedUp < before) {
				least[name] = speedUp
			}
		}
		s.WriteString("\n")
	}
	s.WriteString("| **least of the reports over all jobs** |")
	for _, name := range engines {
		fmt.Fprintf(s, " **%s** |", times(least[name]))
	}
	s.WriteString("\n\n")
}

func ratio(a, b time.Duration) float64 { return a.Seconds() / b.Seconds() }

// times returns a ratio with no more digits than mean something.
func times(ratio float64) string {
	switch {
	case ratio < 1:
		return fmt.Sprintf("%.2f", ratio)
	case ratio < 10:
		return fmt.Sprintf("%.1f", ratio)
	}
	return fmt.Sprintf("%.0f", ratio)
}

func milliseconds(d time.Duration) string {
	ms := float64(d.Microseconds()) / 1000
	if ms < 100 {
		return fmt.Sprintf("%.1f", ms)
	}
	return fmt.Sprintf("%.0f", ms)
}
