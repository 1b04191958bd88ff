package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
)

// series is one measure over all sizes.
type series struct {
	name, unit string
	sizes      []float64 // facts
	values     []float64
	expected   expectation
}

// expectation is how a measure may depend on the size: at most with that power of it.
type expectation struct {
	power float64
	words string
}

// What is expected. A page of one job reads one job, by index or by the pruning of
// blocks; a report sums the rows that its filter leaves; a start reads what the log's
// server keeps in memory, one entry for each job.
var (
	flat   = expectation{0, "flat"}
	linear = expectation{1, "at most linear"}
)

// expected says what is expected of a measure, by its name. What is asked again without
// a record in between is to be kept.
func expected(name string) expectation {
	if strings.HasSuffix(name, " again ms") {
		return flat
	}
	for _, k := range []string{"report ", "rates page", "backtest page", "quote", "start to board s", "rebuild s"} {
		if strings.HasPrefix(name, k) {
			return linear
		}
	}
	return flat
}

func tableCommand(_ context.Context, args []string) error {
	flags := flag.NewFlagSet("table", flag.ContinueOnError)
	folder := flags.String("folder", "bench", "folder of the measurements, for the table and the plots")
	if err := parseFlags(flags, args); err != nil {
		return err
	}
	var s strings.Builder
	s.WriteString("# Measured\n\nRatios carry from one machine to another; the other figures are of this one.\n")
	for _, part := range []struct {
		file  string
		print func(*strings.Builder, []byte, string) error
	}{{"bench.txt", printBenchmarks}, {"growth.jsonl", printGrowth}, {"stores.md", printStores}} {
		raw, err := os.ReadFile(filepath.Join(*folder, part.file))
		if errors.Is(err, fs.ErrNotExist) {
			continue
		}
		if err == nil {
			err = part.print(&s, raw, *folder)
		}
		if err != nil {
			return fmt.Errorf("print %s: %w", part.file, err)
		}
	}
	if err := os.WriteFile(filepath.Join(*folder, "table.md"), []byte(s.String()), 0o644); err != nil {
		return fmt.Errorf("write the table: %w", err)
	}
	return nil
}

func printStores(s *strings.Builder, raw []byte, _ string) error {
	fmt.Fprintf(s, "\n# Stores\n\n%s", raw)
	return nil
}

// printBenchmarks gives each benchmark's ratios a column of their own.
func printBenchmarks(s *strings.Builder, raw []byte, _ string) error {
	all, err := readBenchmarks(bytes.NewReader(raw))
	if err != nil {
		return err
	}
	s.WriteString("\n## Against the raw engines\n\n| package | benchmark | ratio | other figures |\n| --- | --- | ---: " +
		"| --- |\n")
	for _, b := range all {
		var ratios, others []string
		for _, v := range b.values {
			if v.ratio() {
				ratios = append(ratios, digits(v.number)+" "+v.unit)
			} else {
				others = append(others, digits(v.number)+" "+v.unit)
			}
		}
		fmt.Fprintf(s, "| %s | %s | %s | %s |\n", b.pkg, b.name, strings.Join(ratios, ", "), strings.Join(others, ", "))
	}
	return nil
}

// printGrowth writes the table of growth, and the plots.
func printGrowth(s *strings.Builder, raw []byte, folder string) error {
	lines, err := readGrowth(bytes.NewReader(raw))
	if err != nil {
		return err
	}
	first := lines[0]
	fmt.Fprintf(s, "\n## Growth\n\nSeed %d, %d processors, a disk of %.0f syncs a second, file cache warm. Order is "+
		"the slope of the "+
		"value over the facts, both as logarithms.\n\n| measure |", first.Seed, first.Processors, first.SyncsPerS)
	for _, l := range lines {
		fmt.Fprintf(s, " %d facts |", l.Facts)
	}
	fmt.Fprintf(s, " order |\n| --- |%s --- |\n", strings.Repeat(" ---: |", len(lines)))
	all := seriesOf(lines)
	for _, one := range all {
		fmt.Fprintf(s, "| %s |", one.name)
		for _, l := range lines {
			text := "–"
			if v, ok := l.Measures[one.name]; ok {
				text = digits(v)
			}
			fmt.Fprintf(s, " %s |", text)
		}
		fmt.Fprintf(s, " %s |\n", one.verdict())
	}
	for _, l := range lines {
		if len(l.Empty) > 0 {
			fmt.Fprintf(s, "\nAt %d facts these have no rows and were not timed: %s.\n", l.Facts, strings.Join(l.Empty, ", "))
		}
	}
	return plotAll(s, all, folder)
}

func readGrowth(from io.Reader) (lines []grown, err error) {
	for d := json.NewDecoder(from); ; {
		var l grown
		if err := d.Decode(&l); err == io.EOF {
			break
		} else if err != nil {
			return nil, err
		}
		lines = append(lines, l)
	}
	if len(lines) == 0 {
		return nil, errors.New("there is no line")
	}
	return lines, nil
}

// seriesOf turns lines of sizes into series of measures, by name.
func seriesOf(lines []grown) (all []series) {
	names := map[string]bool{}
	for _, l := range lines {
		for name := range l.Measures {
			names[name] = true
		}
	}
	for _, name := range slices.Sorted(maps.Keys(names)) {
		one := series{name: name, unit: name[strings.LastIndex(name, " ")+1:], expected: expected(name)}
		for _, l := range lines {
			if v, ok := l.Measures[name]; ok {
				one.sizes, one.values = append(one.sizes, float64(l.Facts)), append(one.values, v)
			}
		}
		all = append(all, one)
	}
	return all
}

// verdict sets the measured order beside the expected one.
func (s series) verdict() string {
	measured := order(s.sizes, s.values)
	if math.IsNaN(measured) {
		return "expected " + s.expected.words
	}
	return fmt.Sprintf("measured %.2f, expected %s", measured, s.expected.words)
}

// digits prints three significant digits, and all before the point.
func digits(v float64) string {
	switch size := math.Abs(v); {
	case size >= 100:
		return fmt.Sprintf("%.0f", v)
	case size >= 10:
		return fmt.Sprintf("%.1f", v)
	}
	return fmt.Sprintf("%.3g", v)
}
