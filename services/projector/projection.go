package projector

import (
	"context"
	"errors"
	"fmt"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/services/recent"
)

// projection turns commits into facts. It keeps the firms and jobs used last
// and loads others from the log. Partitions share it; what it keeps of a firm
// or job is touched by the lane of that firm's partition alone.
type projection struct {
	log   Log
	firms *recent.Values[string, *events.Firm]
	jobs  *recent.Values[jobKey, knownJob] // weighed by their facts
	// heaviest is what a job weighs at most, so that some are kept however many facts they have:
	// one that falls out between two of its commits is made anew of all of them each time.
	heaviest int
}

// factsOfNone is what a projection weighs by itself, in facts.
const factsOfNone = 10

type jobKey struct{ firm, job string }

// knownJob is a job with the firm's history that it reads. When the history was
// dropped and loaded again, the job is loaded again too: the old history is no
// longer kept up.
type knownJob struct {
	firm *events.Firm
	job  *reports.JobProjection
}

func newProjection(log Log, l limits) *projection {
	return &projection{
		log:   log,
		firms: recent.New[string, *events.Firm](l.firms),
		jobs:  recent.New[jobKey, knownJob](l.held), heaviest: l.held / l.jobs,
	}
}

// apply projects the next commit of a partition.
//
// A commit of the firm's own is first folded into the firm's history and then
// projected. Facts ask the history by sequence, and what became known at a
// sequence counts at that sequence. A history that was loaded later, up to any
// later sequence, holds this commit already; folding first lets the live run see
// exactly what a restart or a rebuild sees.
func (p *projection) apply(ctx context.Context, s events.Stored, c *events.Commit) (reports.Projected, error) {
	firm, err := p.firm(ctx, s, c)
	if err != nil {
		return reports.Projected{}, err
	}
	if c.Job == events.FirmJob {
		if err := firm.Apply(c, s.Sequence); err != nil {
			return reports.Projected{}, &DamageError{s.Partition, s.Sequence, err}
		}
	}
	job, err := p.job(ctx, s, c, firm)
	if err != nil {
		return reports.Projected{}, err
	}
	made, err := job.Apply(s, c)
	if err != nil {
		return reports.Projected{}, &DamageError{s.Partition, s.Sequence, err}
	}
	p.jobs.PutHeavy(jobKey{c.Firm, c.Job}, knownJob{firm, job}, min(job.Held()+factsOfNone, p.heaviest))
	return made, nil
}

// firm returns the firm's history before the commit s.
func (p *projection) firm(ctx context.Context, s events.Stored, c *events.Commit) (*events.Firm, error) {
	if firm, ok := p.firms.Get(c.Firm); ok {
		return firm, nil
	}
	firm := &events.Firm{}
	if c.Job != events.FirmJob || c.Version > 1 {
		err := p.before(ctx, s, c.Firm, events.FirmJob, func(earlier events.Stored, c *events.Commit) error {
			return firm.Apply(c, earlier.Sequence)
		})
		if err != nil {
			return nil, err
		}
	}
	p.firms.Put(c.Firm, firm)
	return firm, nil
}

// job returns the job before the commit s. For a first commit there is nothing
// to load. That a job has two first commits is found where it is known here,
// and by [Verify], which knows every job.
func (p *projection) job(
	ctx context.Context, s events.Stored, c *events.Commit, firm *events.Firm,
) (*reports.JobProjection, error) {
	key := jobKey{c.Firm, c.Job}
	if known, ok := p.jobs.Get(key); ok && known.firm == firm {
		return known.job, nil
	}
	job := reports.NewJobProjection(firm, c.Firm, c.Job, s.Partition)
	if c.Version > 1 {
		err := p.before(ctx, s, c.Firm, c.Job, func(earlier events.Stored, c *events.Commit) error {
			_, err := job.Apply(earlier, c) // its facts are in the store already
			return err
		})
		if err != nil {
			return nil, err
		}
	}
	return job, nil
}

// before calls fold with each commit of the job that stands before s. It asks
// for those up to s itself: where s is the job's own, the log can walk back from
// there, and a bound of 0, which is "all", cannot come about.
func (p *projection) before(
	ctx context.Context, s events.Stored, firm, job string, fold func(events.Stored, *events.Commit) error,
) error {
	earlier, err := p.log.Commits(ctx, firm, job, s.Sequence)
	if err != nil {
		return damaged(ctx, s.Partition, s.Sequence, fmt.Errorf("sequence %d: %w", s.Sequence, err))
	}
	for _, e := range earlier {
		if e.Sequence >= s.Sequence {
			break
		}
		c, err := decode(e)
		if err != nil {
			return err
		}
		if err := fold(e, c); err != nil {
			return &DamageError{s.Partition, e.Sequence, err}
		}
	}
	return nil
}

// damaged tells what the log says is damage from what it could not do now.
func damaged(ctx context.Context, partition uint8, sequence uint64, err error) error {
	var known *DamageError
	if err == nil || errors.As(err, &known) || events.CodeOf(err) != events.Internal || ctx.Err() != nil {
		return err
	}
	return &DamageError{partition, sequence, err}
}

// decode reads a stored commit.
func decode(s events.Stored) (*events.Commit, error) {
	c, err := events.DecodeCommit(s.Raw)
	if err != nil {
		return nil, &DamageError{s.Partition, s.Sequence, fmt.Errorf("sequence %d: %w", s.Sequence, err)}
	}
	return c, nil
}
