package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"slices"
	"time"

	"daysheet/reports"
	"daysheet/scripts/writers"
)

// meter measures one ledger.
type meter struct {
	ledger
	quick bool
	seed  uint64
	size  int // about how many facts were asked for
	since time.Time

	booked int    // bookings made so far
	aside  string // a job to book on where no job is asked for

	measures map[string]float64
	empty    []string
}

// How much is measured, or a little of it where only to see that it works.
func (m *meter) rounds(usual int) int {
	if m.quick {
		return max(3, usual/20)
	}
	return usual
}

// Usual rounds, and the pace of the load beside them.
const (
	startRounds   = 3
	askRounds     = 5
	leastRounds   = 3 // where they take longer than
	enough        = 30 * time.Second
	pageRounds    = 200
	besideRounds  = 1000 // of which ten are slower than the 99th percentile
	appendRounds  = 300
	paceOfWriters = 200 // events a second
	writersBeside = 8
)

// say tells how far it is.
func (m *meter) say(format string, args ...any) {
	fmt.Fprintf(os.Stderr, "%9d facts, %4.0f s: %s\n", m.size, time.Since(m.since).Seconds(), fmt.Sprintf(format, args...))
}

// measureAll measures what is at rest, then starts, then asks, and appends at the end,
// since that changes the ledger.
func (m *meter) measureAll(ctx context.Context) (counts, error) {
	if err := m.starts(ctx); err != nil {
		return counts{}, err
	}
	m.say("verifying")
	c, err := m.verify(ctx)
	if err != nil {
		return counts{}, err
	}
	m.measures["rebuild facts/s"] = float64(c.Facts) / m.measures["rebuild s"]
	for name, file := range map[string]string{"log": "log", "facts file": "facts.duckdb"} {
		bytes, err := m.bytesOf(file)
		if err != nil {
			return counts{}, err
		}
		m.measures[name+" bytes/event"] = float64(bytes) / float64(c.Events)
	}
	s, err := m.serve(ctx)
	if err != nil {
		return counts{}, err
	}
	return c, errors.Join(m.asks(ctx, s), s.stop())
}

// starts measures how soon the board is there with the facts kept, and how long making
// them anew takes.
func (m *meter) starts(ctx context.Context) error {
	m.say("starting")
	if err := m.settle(ctx); err != nil {
		return err
	}
	var took []float64
	for range startRounds {
		start := time.Now()
		s, err := m.serve(ctx)
		if err != nil {
			return err
		}
		_, err = s.good(ctx, page("/"))
		took = append(took, time.Since(start).Seconds())
		if err := errors.Join(err, s.stop()); err != nil {
			return err
		}
	}
	m.measures["start to board s"] = median(took)
	m.say("making the facts anew")
	if err := m.dropFacts(); err != nil {
		return err
	}
	start := time.Now()
	if err := m.settle(ctx); err != nil {
		return err
	}
	m.measures["rebuild s"] = time.Since(start).Seconds()
	return nil
}

// settle serves until the facts have caught up.
func (m *meter) settle(ctx context.Context) error {
	s, err := m.serve(ctx)
	if err != nil {
		return err
	}
	return errors.Join(s.ready(ctx), s.stop())
}

// asks measures the served ledger.
func (m *meter) asks(ctx context.Context, s *served) error {
	if err := s.ready(ctx); err != nil {
		return err
	}
	jobs, err := s.jobs(ctx)
	if err != nil {
		return err
	}
	if err := m.remember(s, "memory after start"); err != nil {
		return err
	}
	random := rand.New(rand.NewPCG(m.seed, 1))
	anyJob := func() string { return jobs[random.IntN(len(jobs))] }
	m.aside = jobs[0]
	if err := m.reports(ctx, s, jobs); err != nil {
		return err
	}
	if err := m.pages(ctx, s, anyJob()); err != nil {
		return err
	}
	if err := m.remember(s, "memory after asking all"); err != nil {
		return err
	}
	m.say("asking for %d pages of jobs", m.rounds(pageRounds))
	jobPage := func(int) request { return page("/jobs/" + anyJob()) }
	if err := m.spread(ctx, s, "job page", m.rounds(pageRounds), jobPage); err != nil {
		return err
	}
	if err := m.besideWriters(ctx, s, jobPage); err != nil {
		return err
	}
	m.say("appending")
	one := anyJob()
	for name, job := range map[string]func() string{"append to any job": anyJob,
		"append to one job": func() string { return one }} {
		next := func(int) request { m.booked++; return booking(job(), m.booked) }
		if err := m.spread(ctx, s, name, m.rounds(appendRounds), next); err != nil {
			return err
		}
	}
	used, err := s.memory()
	m.measures["memory at most MB"] = used.most / 1e6
	return err
}

// remember notes the memory of the server, and how much of it is the program's own file:
// pages that other processes share, and that the system takes back when it needs them.
func (m *meter) remember(s *served, name string) error {
	used, err := s.memory()
	m.measures[name+" MB"], m.measures[name+", of it program MB"] = used.now/1e6, used.file/1e6
	return err
}

// besideWriters asks for pages of jobs while others record at a steady pace.
func (m *meter) besideWriters(ctx context.Context, s *served, jobPage func(int) request) error {
	m.say("asking for pages while %d events a second are recorded", paceOfWriters)
	load := writers.New(writersBeside)
	load.Pace(paceOfWriters)
	writing, stop := context.WithCancel(ctx)
	done := load.Start(writing, writers.Server{Base: s.base, Token: s.token})
	err := load.More(ctx, paceOfWriters/2) // until they are under way
	before, start := load.Acknowledged(), time.Now()
	if err == nil {
		err = m.spread(ctx, s, "job page beside writers", m.rounds(besideRounds), jobPage)
	}
	m.measures["events/s beside the pages"] = float64(load.Acknowledged()-before) / time.Since(start).Seconds()
	stop()
	if err = errors.Join(err, <-done); err != nil {
		return err
	}
	return m.remember(s, "memory beside writers")
}

// reports times each report of the firm and of one job, which is the first that the
// report has rows for.
func (m *meter) reports(ctx context.Context, s *served, jobs []string) error {
	for _, d := range reports.Definitions() {
		m.say("report %s", d.Name)
		if !d.NeedsJob {
			if err := m.time(ctx, s, "report "+d.Name, []request{report(d.Name, "")}); err != nil {
				return err
			}
		}
		if d.WholeFirm {
			continue
		}
		var tries []request
		for i := 0; i < len(jobs); i += max(1, len(jobs)/20) {
			tries = append(tries, report(d.Name, jobs[i]))
		}
		if err := m.time(ctx, s, "of one job "+d.Name, tries); err != nil {
			return err
		}
	}
	return nil
}

// pages times what is not a report.
func (m *meter) pages(ctx context.Context, s *served, job string) error {
	m.say("pages")
	for name, q := range map[string]request{
		"board": page("/"), "rates page": {path: "/reports/rates", check: holds("</html>", "<td")},
		"backtest page": {path: "/reports/backtest", check: holds("</html>", "<td")}, "quote": quote(),
		"handover page": {path: "/jobs/" + job + "/handover", job: job, check: holds("</html>", "<td")},
		"handover PDF":  paper(job),
	} {
		if err := m.time(ctx, s, name, []request{q}); err != nil {
			return err
		}
	}
	return nil
}

// time notes medians of some rounds in milliseconds, of the first request that has
// anything to show: asked first after a record came in, and asked again without one, when
// the server may give what it kept. Where none has rows, it is named and not timed.
func (m *meter) time(ctx context.Context, s *served, name string, tries []request) error {
	for _, q := range tries {
		_, err := s.good(ctx, q)
		if errors.Is(err, errNoRows) {
			continue
		}
		if err != nil {
			return err
		}
		var first, again []float64
		start := time.Now()
		for round := range askRounds {
			if round >= leastRounds && time.Since(start) > enough {
				break
			}
			if err := m.book(ctx, s, cmp.Or(q.job, m.aside)); err != nil {
				return err
			}
			if err := s.ready(ctx); err != nil {
				return err
			}
			for _, took := range []*[]float64{&first, &again} {
				d, err := s.good(ctx, q)
				if err != nil {
					return err
				}
				*took = append(*took, d.Seconds()*1000)
			}
		}
		m.measures[name+" first ms"], m.measures[name+" again ms"] = median(first), median(again)
		return nil
	}
	m.empty = append(m.empty, name)
	return nil
}

// book records half an hour on a job.
func (m *meter) book(ctx context.Context, s *served, job string) error {
	m.booked++
	_, err := s.good(ctx, booking(job, m.booked))
	return err
}

// spread notes the median and the 99th percentile of n rounds in milliseconds.
func (m *meter) spread(ctx context.Context, s *served, name string, n int, next func(int) request) error {
	var took []float64
	for i := range n {
		d, err := s.good(ctx, next(i))
		if err != nil {
			return err
		}
		took = append(took, d.Seconds()*1000)
	}
	slices.Sort(took)
	m.measures[name+" p50 ms"] = median(took)
	m.measures[name+" p99 ms"] = took[(len(took)*99-1)/100]
	return nil
}

// median returns the middle value, of an even number the greater of the two.
func median(values []float64) float64 {
	sorted := slices.Sorted(slices.Values(values))
	return sorted[len(sorted)/2]
}
