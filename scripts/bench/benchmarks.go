package main

import (
	"bufio"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
)

// benchmark is one line that "go test -bench" printed.
type benchmark struct {
	pkg, name string
	values    []value
}

// value is what was measured, in a unit.
type value struct {
	number float64
	unit   string
}

// ratio says whether the value is one of the product's speed to a raw engine's, or of
// two times: its unit names both, and is no rate and no measure for each of something.
func (v value) ratio() bool {
	of, to, both := strings.Cut(v.unit, "/")
	measure := slices.Contains([]string{"", "ns", "us", "ms", "s", "B", "MB", "allocs"}, of)
	return both && !measure && to != "" && to != "s" && to != "op"
}

// readBenchmarks reads the output of "go test -bench". It fails where a line of a
// benchmark cannot be read, or a test failed: then not all was measured.
func readBenchmarks(from io.Reader) ([]benchmark, error) {
	var all []benchmark
	pkg := ""
	lines := bufio.NewScanner(from)
	lines.Buffer(nil, 1<<20)
	for lines.Scan() {
		line := lines.Text()
		words := strings.Fields(line)
		switch {
		case strings.HasPrefix(line, "pkg: "):
			pkg = strings.TrimPrefix(words[1], "daysheet/")
		case strings.HasPrefix(line, "FAIL") || strings.HasPrefix(line, "--- FAIL"):
			return nil, fmt.Errorf("a benchmark failed: %s", line)
		case strings.HasPrefix(line, "Benchmark") && len(words) > 2:
			b, err := readBenchmark(words)
			if err != nil {
				return nil, fmt.Errorf("%w: %s", err, line)
			}
			b.pkg = pkg
			all = append(all, b)
		}
	}
	if err := lines.Err(); err != nil {
		return nil, fmt.Errorf("read benchmarks: %w", err)
	}
	return all, nil
}

// readBenchmark reads a name, the number of rounds, and pairs of value and unit.
func readBenchmark(words []string) (benchmark, error) {
	b := benchmark{name: strings.TrimPrefix(words[0], "Benchmark")}
	if at := strings.LastIndex(b.name, "-"); at > 0 { // the number of processors
		if _, err := strconv.Atoi(b.name[at+1:]); err == nil {
			b.name = b.name[:at]
		}
	}
	if _, err := strconv.Atoi(words[1]); err != nil || len(words)%2 != 0 {
		return b, fmt.Errorf("a benchmark's line has its rounds and then pairs of value and unit")
	}
	for i := 2; i < len(words); i += 2 {
		number, err := strconv.ParseFloat(words[i], 64)
		if err != nil {
			return b, fmt.Errorf("value %q is no number", words[i])
		}
		b.values = append(b.values, value{number, words[i+1]})
	}
	return b, nil
}
