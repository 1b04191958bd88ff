// Package demo makes up a painting-and-decorating firm with its past jobs, so
// that every report has something to show. Nothing in it is real, and the firm
// and its products say so in their names.
//
// The firm's actual hours follow a known law (see truth.go) around its rate
// book, so that what the reports find can be compared with what was put in: the
// book is somewhat optimistic, protection takes far longer where people live
// than the firm plans, and stairwells lose money.
//
// Everything is a function of the [Options]: the same options give the same
// bytes.
package demo

import (
	"fmt"
	"iter"
	"slices"
	"time"
	_ "time/tzdata" // the firm's zone must be known wherever the demo runs

	"daysheet/events"
)

// Options say which firm is made up.
type Options struct {
	// Seed chooses one of many firms of the same kind.
	Seed uint64
	// Today is the moment up to which things have happened; required.
	Today time.Time
	// Jobs is the number of finished jobs, 1 to [JobsMax]; 0 is jobsDefault.
	// They fill three years for each jobsDefault jobs. Two more are running.
	Jobs int
	// Photos asks for drawn photos of a few jobs, see [Firm.Photos].
	Photos bool
}

// Bounds on the number of finished jobs.
const (
	jobsDefault = 72
	JobsMax     = 500
)

// batchMax is how many events a submission has at most.
const batchMax = 200

// Firm is an invented firm with all that happened in it. It is made by
// [Generate] and does not change.
type Firm struct {
	Key  string // a key that the firm can be recorded under
	Name string

	submissions []Submission
	photos      []Photo
}

// Submission is what was sent at once: events of one job, or of the firm.
type Submission struct {
	Job    string    // a job, or [events.FirmJob]
	By     string    // who sent it
	At     time.Time // when it was sent, in the firm's zone; no event in it is later
	Events []events.Event
}

// Submissions yields everything in the order in which it was sent. The firm's
// settings, products and rate book come first.
func (f *Firm) Submissions() iter.Seq[Submission] { return slices.Values(f.submissions) }

// Events returns the number of events in all submissions.
func (f *Firm) Events() (n int) {
	for _, s := range f.submissions {
		n += len(s.Events)
	}
	return n
}

// Generate makes up one firm.
func Generate(opts Options) (*Firm, error) {
	return generate(opts, "demo", firmName)
}

// Firms makes up n firms, one after the other: the same law with other draws.
// Benchmarks use it, because one firm's calendar holds [JobsMax] jobs only.
func Firms(opts Options, n int) iter.Seq2[*Firm, error] {
	return func(yield func(*Firm, error) bool) {
		for i := range n {
			o := opts
			o.Seed += uint64(i)
			f, err := generate(o, fmt.Sprintf("demo-%d", i+1), fmt.Sprintf("%s No. %d", firmName, i+1))
			if !yield(f, err) || err != nil {
				return
			}
		}
	}
}

func generate(opts Options, key, name string) (*Firm, error) {
	if opts.Jobs == 0 {
		opts.Jobs = jobsDefault
	}
	switch {
	case opts.Jobs < 1 || opts.Jobs > JobsMax:
		return nil, events.Refuse("jobs", opts.Jobs, "a whole number from 1 to %d", JobsMax)
	case opts.Today.Year() < 2000 || opts.Today.Year() > 2100:
		return nil, events.Refuse("today", opts.Today, "a time from 2000 to 2100")
	}
	zone, err := time.LoadLocation(timeZone)
	if err != nil {
		return nil, fmt.Errorf("find time zone %s: %w", timeZone, err)
	}
	g := newGenerator(opts, zone, name)
	g.jobs()
	g.firm()
	slices.SortStableFunc(g.out, func(a, b Submission) int { return a.At.Compare(b.At) })
	var photos []Photo
	if opts.Photos {
		photos = g.photograph()
	}
	if g.err != nil {
		return nil, g.err
	}
	return &Firm{Key: key, Name: name, submissions: g.out, photos: photos}, nil
}
