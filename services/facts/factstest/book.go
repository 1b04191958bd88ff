package factstest

import (
	"fmt"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/services/facts"
)

// book is the invented history of one partition, commit by commit.
type book struct {
	partition uint8
	commits   []events.Stored
	facts     []reports.Fact
	jobs      []reports.JobRow
}

// commit adds a commit. The facts and the job say only what they are about: the
// commit's place in the log is filled in. A nil job is a commit of the firm's own
// events.
func (b *book) commit(job *reports.JobRow, added ...reports.Fact) uint64 {
	sequence := uint64(len(b.commits) + 1)
	b.commits = append(b.commits, events.Stored{
		Partition: b.partition, Sequence: sequence,
		Raw: fmt.Appendf(nil, `{"partition":%d,"sequence":%d,"invented":"raw \u0000 %c"}`,
			b.partition, sequence, rune(sequence)),
	})
	for i, f := range added {
		f.Partition, f.Sequence, f.Line = b.partition, sequence, uint32(i)
		b.facts = append(b.facts, f)
	}
	if job != nil {
		row := *job
		row.Partition, row.Sequence = b.partition, sequence
		b.jobs = append(b.jobs, row)
	}
	return sequence
}

// batch returns the commits after one sequence up to another.
func (b *book) batch(after, upTo uint64) facts.Batch {
	out := facts.Batch{Partition: b.partition, Position: upTo, Commits: b.commits[after:upTo]}
	for _, f := range b.facts {
		if f.Sequence > after && f.Sequence <= upTo {
			out.Facts = append(out.Facts, f)
		}
	}
	for _, j := range b.jobs {
		if j.Sequence > after && j.Sequence <= upTo {
			out.Jobs = append(out.Jobs, j)
		}
	}
	return out
}

func (b *book) all() facts.Batch { return b.batch(0, uint64(len(b.commits))) }

const (
	firmA = "invented-ash"
	firmB = "invented-birch"
)

// hours returns a fact about labour that counts.
func hours(firm, job string, minutes int64) reports.Fact {
	return reports.Fact{
		Firm: firm, Job: job, JobType: "occupied", EventID: "invented-event", OccurredAt: 1_700_000_000, Day: "2024-03-05",
		Side: reports.SideActual, Kind: reports.KindLabour, Family: "coating", Task: "coat",
		Surface: "wall", Method: "roller", Location: "Hall", Grade: "journeyman", Person: "ann", Unit: events.Hour,
		Minutes: minutes, CostE4: minutes * 7, Sign: 1,
	}
}

// cancelled returns the row that takes a fact back.
func cancelled(f reports.Fact) reports.Fact {
	f.Sign = -f.Sign
	return f
}

func runningJob(firm, job string) *reports.JobRow {
	return &reports.JobRow{Firm: firm, Job: job, JobType: "occupied", Title: "Invented job " + job,
		State: events.Running, Opened: "2024-01-02"}
}

func finishedJob(firm, job string, on events.Day) *reports.JobRow {
	row := runningJob(firm, job)
	row.State, row.Finished = events.SignedOff, on
	return row
}

// plain returns f without its place in the log, as it was handed to commit.
func plain(f reports.Fact) reports.Fact {
	f.Partition, f.Sequence, f.Line = 0, 0, 0
	return f
}
