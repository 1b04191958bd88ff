package main

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

func TestReadBenchmarks(t *testing.T) {
	printed := "goos: linux\npkg: daysheet/services/daysheet\ncpu: some\n" +
		"BenchmarkAppend-2   \t       1\t         1.946 append/raw\t      2818 append/s\t      1448 raw/s\n" +
		"BenchmarkReports/job-summary-2 \t 10 \t 1.5 report/sql \t 12 ns/op \t 3 MB/s \t 4 ns/event\nPASS\nok  " +
		"\tdaysheet/services/daysheet\t0.782s\n"
	all, err := readBenchmarks(strings.NewReader(printed))
	if err != nil || len(all) != 2 {
		t.Fatalf("%+v, %v", all, err)
	}
	a, r := all[0], all[1]
	if a.name != "Append" || a.pkg != "services/daysheet" || len(a.values) != 3 || a.values[0] != (value{1.946,
		"append/raw"}) {
		t.Errorf("%+v", a)
	}
	if !a.values[0].ratio() || a.values[1].ratio() || !r.values[0].ratio() || r.values[1].ratio() || r.values[2].ratio() || r.values[3].ratio() {
		t.Error("what is a ratio is told by its unit")
	}
	if r.name != "Reports/job-summary" {
		t.Errorf("name %q", r.name)
	}
	for _, bad := range []string{"BenchmarkX-2 1 twelve ns/op\n", "BenchmarkX-2 1 12\n", "BenchmarkX-2 some 12 ns/op\n",
		"--- FAIL: BenchmarkX\n", "FAIL\tdaysheet/events\t1s\n"} {
		if _, err := readBenchmarks(strings.NewReader(bad)); err == nil {
			t.Errorf("%q is read", bad)
		}
	}
}

func TestOrder(t *testing.T) {
	sizes := []float64{1e3, 1e5, 1e6}
	for power := range 3 {
		values := make([]float64, len(sizes))
		for i, n := range sizes {
			values[i] = 7 * math.Pow(n, float64(power))
		}
		if got := order(sizes, values); math.Abs(got-float64(power)) > 1e-9 {
			t.Errorf("order of a power of %d is %v", power, got)
		}
	}
	if got := order(sizes[:1], sizes[:1]); !math.IsNaN(got) {
		t.Errorf("order of one size is %v", got)
	}
}

func TestGrowthTable(t *testing.T) {
	raw := `{"Facts":1000,"Measures":{"job page p50 ms":4,"report x first ms":2,"report x again ms":3},"Empty":["report y"]}
{"Facts":100000,"Measures":{"job page p50 ms":4,"report x first ms":200,"report x again ms":3,"report y first ms":1}}`
	var s strings.Builder
	if err := printGrowth(&s, []byte(raw), t.TempDir()); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"| job page p50 ms | 4 | 4 | measured 0.00, expected flat |",
		"| report x again ms | 3 | 3 | measured 0.00, expected flat |", "| report x first ms | 2 | 200 | measured 1.00, " +
			"expected at most linear |",
		"| report y first ms | – | 1 | expected at most linear |", "not timed: report y", "![Pages and a quote](pages.svg)"} {
		if !strings.Contains(s.String(), want) {
			t.Errorf("the table lacks %q:\n%s", want, s.String())
		}
	}
	if err := printGrowth(&s, nil, t.TempDir()); err == nil {
		t.Error("no lines make a table")
	}
}

// TestQueueAgainstFormula: a single line of Poisson arrivals before a server that always
// takes the same time is M/D/1, whose mean wait in line is r s / (2 (1 - r)), by the formula of
// Pollaczek and Khinchine (Kleinrock, Queueing Systems, volume 1, 1975, section 5.6; from memory).
func TestQueueAgainstFormula(t *testing.T) {
	const service, runs, perRun = 0.001, 30, 100_000
	d := disk{single: service}
	for _, busy := range []float64{0.3, 0.6, 0.85} {
		pace := busy / service
		want := busy * service / (2 * (1 - busy))
		var sum, squares float64
		for run := range runs {
			from := &arrivals{random: rand.New(rand.NewPCG(5, uint64(run))), pace: []float64{pace}, slot: perRun / pace}
			wait, n := 0.0, 0
			d.serve([]*line{{from: from}}, func(began, _ float64, came []float64) {
				wait += began - came[0]
				n++
			})
			mean := wait / float64(n)
			sum += mean
			squares += mean * mean
		}
		mean := sum / runs
		deviation := math.Sqrt((squares/runs - mean*mean) / (runs - 1))
		if off := math.Abs(mean - want); off > 3*deviation || deviation > want/20 {
			t.Errorf("busy %.2f: mean wait %.6f s, want %.6f, standard error %.6f", busy, mean, want, deviation)
		}
	}
}

func TestGroups(t *testing.T) {
	d := disk{single: 1, group: 10, each: 0.1, least: 12, most: 20}
	var sizes []int
	from := &arrivals{random: rand.New(rand.NewPCG(1, 1)), pace: []float64{1e6, 0}, slot: 31e-6, burst: 31, share: 1}
	d.serve([]*line{{from: from}}, func(began, ended float64, came []float64) {
		sizes = append(sizes, len(came))
		want := 1.0
		if len(came) > 1 {
			want = 10 + 0.1*float64(len(came))
		}
		if math.Abs(ended-began-want) > 1e-9 {
			t.Errorf("%d together took %v", len(came), ended-began)
		}
	})
	total := 0
	for _, n := range sizes {
		total += n
		if n > 20 || n > 1 && n < 12 {
			t.Errorf("%d went together", n)
		}
	}
	if total%31 != 0 || total == 0 || sizes[0] != 20 {
		t.Errorf("groups %v", sizes)
	}
}

func TestDayDependsOnTheSeedAlone(t *testing.T) {
	h := house{seed: 1, painters: 30, events: 40, cellar: 0.05, burst: 20, days: 250, bytes: 650,
		embedded: disk{single: 0.00023, group: 0.0023, each: 0.00001, least: 12, most: 256}}
	first, again := h.day(100, 1), h.day(100, 1)
	if first != again {
		t.Error("the same seed gives another day")
	}
	h.seed = 2
	if h.day(100, 1) == first {
		t.Error("another seed gives the same day")
	}
	const want = 100 * 30 * 40 // bursts and Poisson: a standard error below one percent
	if first.events < want*96/100 || first.events > want*104/100 {
		t.Errorf("%d events, want about %d", first.events, want)
	}
	if first.gigabytes != want*250*650/1e9 {
		t.Errorf("%v GB a year", first.gigabytes)
	}
}

func TestQuantiles(t *testing.T) {
	var w waits
	for n := range 1000 {
		w.add(float64(n+1) / 1000)
	}
	for share, want := range map[float64]float64{0.5: 0.5, 0.99: 0.99, 1: 1} {
		if got := w.quantile(share); math.Abs(got-want) > want/50 {
			t.Errorf("quantile %v is %v", share, got)
		}
	}
}
