package main

import (
	"context"
	"flag"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"strings"

	"daysheet/services/eventlog"
)

// house is the load and the machines that are reckoned with.
type house struct {
	seed      uint64
	painters  int
	events    int // of a painter in a day
	cellar    float64
	burst     int
	days      int     // of work in a year
	bytes     float64 // of an event in the log
	embedded  disk
	clustered disk
}

// profile is the share of the day's events in each half hour from 07:00 to 16:00: hours
// and checks at the start, the day's sheets at the end, little at noon. It is assumed.
func profile() []float64 {
	return []float64{12, 8, 5, 4, 4, 4, 4, 4, 3, 2, 2, 4, 4, 4, 5, 7, 11, 13}
}

const slotSeconds = 1800

func simulateCommand(_ context.Context, args []string) error {
	h := house{embedded: disk{least: 12, most: 256}, clustered: disk{least: 1, most: 256}}
	var firms, nodes string
	flags := flag.NewFlagSet("simulate", flag.ContinueOnError)
	flags.StringVar(&firms, "firms", "1000,100000", "firms, with commas between")
	flags.StringVar(&nodes, "nodes", "1,3,6", "machines of the log: 1 is the embedded one, three have each commit "+
		"three times")
	flags.Uint64Var(&h.seed, "seed", 1, "seed of the arrivals")
	flags.IntVar(&h.painters, "painters", 30, "painters of a firm")
	flags.IntVar(&h.events, "events", 40, "events of a painter in a day, each a commit")
	flags.Float64Var(&h.cellar, "cellar", 0.05, "share of events that come in bursts, from a phone that was without a "+
		"line")
	flags.IntVar(&h.burst, "burst", 20, "events of a burst")
	flags.IntVar(&h.days, "days", 250, "days of work in a year")
	flags.Float64Var(&h.bytes, "bytes", 650, "bytes that an event, alone in its commit, takes in the log")
	milliseconds := func(into *float64, name string, usual float64, about string) {
		*into = usual / 1000
		flags.Func(name, fmt.Sprintf("milliseconds of %s (default %g)", about, usual), func(text string) error {
			_, err := fmt.Sscan(text, into)
			if *into /= 1000; err == nil && *into <= 0 {
				err = fmt.Errorf("give more than 0")
			}
			return err
		})
	}
	milliseconds(&h.embedded.single, "single", 0.23, "a commit by itself, embedded")
	milliseconds(&h.embedded.group, "group", 2.3, "a group, embedded")
	milliseconds(&h.embedded.each, "each", 0.0105, "a commit in a group, embedded")
	milliseconds(&h.clustered.group, "cluster-group", 0.56, "a group in the cluster")
	milliseconds(&h.clustered.each, "cluster-each", 0.101, "a commit in a group in the cluster")
	if err := parseFlags(flags, args); err != nil {
		return err
	}
	counts, err := numbers("firms", firms, 1, 1_000_000)
	if err != nil {
		return err
	}
	machines, err := numbers("nodes", nodes, 1, 3*eventlog.Partitions)
	if err != nil {
		return err
	}
	for _, n := range machines {
		if n != 1 && n%3 != 0 {
			return fmt.Errorf("--nodes %d: give 1 or a multiple of 3", n)
		}
	}
	if h.painters < 1 || h.events < 1 || h.burst < 1 || h.days < 1 || h.cellar < 0 || h.cellar > 1 || h.bytes <= 0 {
		return fmt.Errorf("--painters, --events, --burst, --days and --bytes are more than 0, and --cellar is from 0 to 1")
	}
	return h.print(os.Stdout, counts, machines)
}

// print reckons each number of firms on each number of machines.
func (h house) print(to io.Writer, firms, nodes []int) error {
	var s strings.Builder
	s.WriteString("| firms | machines | events a day | busiest half hour, events/s | disk busy, day | busiest half " +
		"hour | " +
		"p50 ms | p99 ms | longest ms | fullest partition to mean | log GB a year, each machine |\n" +
		"|" + strings.Repeat(" ---: |", 11) + "\n")
	for _, f := range firms {
		for _, n := range nodes {
			d := h.day(f, n)
			fmt.Fprintf(&s, "| %d | %d | %d | %.0f | %.1f %% | %.1f %% | %s | %s | %s | %.2f | %s |\n", f, n, d.events, d.peak,
				d.busy*100, d.busiest*100, digits(d.waits.quantile(0.5)*1000), digits(d.waits.quantile(0.99)*1000),
				digits(d.waits.most*1000), d.skew, digits(d.gigabytes))
		}
	}
	_, err := io.WriteString(to, s.String())
	return err
}

// day is what a day comes to.
type day struct {
	events    int64
	peak      float64 // events a second in the busiest half hour
	busy      float64 // share of the working day that the disk that has most to do works
	busiest   float64 // the same in its busiest half hour; above 1 the rest was done later
	waits     waits   // from arrival to disk
	skew      float64 // firms of the fullest partition to the mean
	gigabytes float64
}

// day simulates one working day. The firms' keys go to partitions by the product's own
// hash; the partitions' leaders are spread over the disks, three machines to each, since
// each has what is led by the other two as well.
func (h house) day(firms, nodes int) day {
	disks, d := 1, h.embedded
	if nodes > 1 {
		disks, d = nodes/3, h.clustered
	}
	var ofPartition [eventlog.Partitions]int
	for n := range firms {
		ofPartition[eventlog.Partition(fmt.Sprintf("firm-%06d", n))]++
	}
	var out day
	slots := profile()
	whole := 0.0
	for _, share := range slots {
		whole += share
	}
	came := make([]int64, len(slots)+1) // the last: none comes after the day
	for number := range disks {
		var lines []*line
		for p := number; p < eventlog.Partitions; p += disks {
			lines = append(lines, &line{from: h.arrivals(p, ofPartition[p], slots, whole)})
		}
		worked := make([]float64, len(slots))
		total := 0.0
		d.serve(lines, func(began, ended float64, arrived []float64) {
			total += ended - began
			if slot := int(began / slotSeconds); slot < len(worked) {
				worked[slot] += ended - began
			}
			for _, at := range arrived {
				out.waits.add(ended - at)
				came[min(int(at/slotSeconds), len(slots))]++
			}
		})
		out.busy = max(out.busy, total/(slotSeconds*float64(len(slots))))
		for _, seconds := range worked {
			out.busiest = max(out.busiest, seconds/slotSeconds)
		}
	}
	for _, n := range came {
		out.peak = max(out.peak, float64(n)/slotSeconds)
	}
	for _, n := range ofPartition {
		out.skew = max(out.skew, float64(n)*eventlog.Partitions/float64(firms))
	}
	out.events = out.waits.all
	out.gigabytes = float64(firms*h.painters*h.events*h.days) * h.bytes / float64(disks) / 1e9
	return out
}

// arrivals are those of a partition. A burst is one arrival of many events, so that the
// number of events is the same whatever the share of bursts.
func (h house) arrivals(partition, firms int, slots []float64, whole float64) *arrivals {
	a := &arrivals{random: rand.New(rand.NewPCG(h.seed, uint64(partition))), slot: slotSeconds, burst: h.burst,
		pace: make([]float64, len(slots))}
	bursts := h.cellar / float64(h.burst)
	toArrivals := 1 - h.cellar + bursts
	a.share = bursts / toArrivals
	for i, share := range slots {
		a.pace[i] = float64(firms*h.painters*h.events) * share / whole / slotSeconds * toArrivals
	}
	return a
}
