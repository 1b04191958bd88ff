package projector

import (
	"context"
	"sort"
	"time"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/services/eventlog"
)

// Job is a job as its own commits tell it.
type Job struct {
	reports.JobFacts                 // its row is the zero row where nothing was recorded
	Commits          []events.Stored // that the facts were made of, oldest first
}

// moment is how long a reader of a job waits for its last commit.
const moment = time.Second

// Job reads a job from the log up to the sequence, or all of it where that is 0, and makes
// its facts just as they are made for the store. So it costs the same however much else
// is recorded, before or meanwhile. What the store does not hold yet is waited for, for a
// moment at most, and else left out: facts may rest on what the firm recorded before.
func (p *Projector) Job(ctx context.Context, firm, job string, upTo uint64) (Job, error) {
	commits, err := p.log.Commits(ctx, firm, job, upTo)
	if err != nil || len(commits) == 0 {
		return Job{}, err
	}
	partition := eventlog.Partition(firm)
	if last := commits[len(commits)-1].Sequence; last > p.board.position(partition) {
		waiting, cancel := context.WithTimeout(ctx, moment)
		// Not in time is no error: the answer says which position it is for.
		_ = p.board.wait(waiting, partition, last)
		cancel()
		at := p.board.position(partition)
		commits = commits[:sort.Search(len(commits), func(i int) bool { return commits[i].Sequence > at })]
	}
	read := Job{Commits: commits}
	var failed error
	err = p.directory.read(ctx, firm, func(f *events.Firm) {
		read.JobFacts, failed = projectJob(f, firm, job, commits)
	})
	if err == nil {
		err = failed
	}
	return read, err
}

// projectJob makes the facts of a job of its commits.
func projectJob(f *events.Firm, firm, job string, commits []events.Stored) (all reports.JobFacts, err error) {
	projection := reports.NewJobProjection(f, firm, job, eventlog.Partition(firm))
	decoded, n := make([]*events.Commit, len(commits)), 0
	for i, s := range commits {
		if decoded[i], err = decode(s); err != nil {
			return all, err
		}
		n += len(decoded[i].Events)
	}
	all.Facts = make([]reports.Fact, 0, n+n/2) // most events are one fact, some are a few
	for i, s := range commits {
		made, err := projection.Apply(s, decoded[i])
		if err != nil {
			return all, &DamageError{s.Partition, s.Sequence, err}
		}
		all.Facts = append(all.Facts, made.Facts...)
		if made.Job != nil {
			all.Row = *made.Job
		}
	}
	return all, nil
}
