package facts

import (
	"fmt"
	"sort"
)

// Validate checks that a batch keeps the contract of [Batch]. A store refuses
// anything else: it holds the second copy of the log, and a batch that was put
// together wrongly would put a hole into it. ClickHouse would also take two rows
// with the same sequence and line for one.
func (b Batch) Validate() error {
	if len(b.Commits) == 0 {
		return fmt.Errorf("batch of partition %d: it has no commits", b.Partition)
	}
	for i, c := range b.Commits {
		if c.Partition != b.Partition {
			return fmt.Errorf("batch of partition %d: commit %d is of partition %d",
				b.Partition, c.Sequence, c.Partition)
		}
		if c.Sequence == 0 || (i > 0 && c.Sequence != b.Commits[i-1].Sequence+1) {
			return fmt.Errorf("batch of partition %d: commit %d does not follow the one before it",
				b.Partition, c.Sequence)
		}
	}
	if last := b.Commits[len(b.Commits)-1].Sequence; last != b.Position {
		return fmt.Errorf("batch of partition %d: position is %d, but the last commit is %d",
			b.Partition, b.Position, last)
	}
	if err := b.validateFacts(); err != nil {
		return err
	}
	return b.validateJobs()
}

func (b Batch) validateFacts() error {
	for i := range b.Facts {
		f := &b.Facts[i]
		switch {
		case f.Partition != b.Partition || f.Sequence < b.Commits[0].Sequence || f.Sequence > b.Position:
			return fmt.Errorf("batch of partition %d: fact %d/%d of partition %d belongs to none of its commits",
				b.Partition, f.Sequence, f.Line, f.Partition)
		case f.Sign != 1 && f.Sign != -1:
			return fmt.Errorf("batch of partition %d: fact %d/%d has sign %d", b.Partition, f.Sequence, f.Line, f.Sign)
		}
		if i == 0 {
			continue
		}
		if p := &b.Facts[i-1]; f.Sequence < p.Sequence || (f.Sequence == p.Sequence && f.Line <= p.Line) {
			return fmt.Errorf("batch of partition %d: fact %d/%d comes after %d/%d",
				b.Partition, f.Sequence, f.Line, p.Sequence, p.Line)
		}
	}
	return nil
}

func (b Batch) validateJobs() error {
	for i := range b.Jobs {
		j := &b.Jobs[i]
		if j.Partition != b.Partition || j.Sequence < b.Commits[0].Sequence || j.Sequence > b.Position {
			return fmt.Errorf("batch of partition %d: job %s/%s at %d of partition %d belongs to none of its commits",
				b.Partition, j.Firm, j.Job, j.Sequence, j.Partition)
		}
		if i > 0 && j.Sequence <= b.Jobs[i-1].Sequence {
			return fmt.Errorf("batch of partition %d: job %s/%s at %d is not the only one of its commit, or out of order",
				b.Partition, j.Firm, j.Job, j.Sequence)
		}
	}
	return nil
}

// After returns what of a valid batch is not in a store whose position is the
// one given. The result has no commits where the store has all of it, and it
// shares the batch's memory. A batch that would leave out commits between the
// position and its first one is an error.
func (b Batch) After(position uint64) (Batch, error) {
	if first := b.Commits[0].Sequence; first > position+1 {
		return Batch{}, fmt.Errorf("batch of partition %d starts at commit %d, but the store has only those up to %d",
			b.Partition, first, position)
	}
	commits := sort.Search(len(b.Commits), func(i int) bool { return b.Commits[i].Sequence > position })
	rows := sort.Search(len(b.Facts), func(i int) bool { return b.Facts[i].Sequence > position })
	jobs := sort.Search(len(b.Jobs), func(i int) bool { return b.Jobs[i].Sequence > position })
	b.Commits, b.Facts, b.Jobs = b.Commits[commits:], b.Facts[rows:], b.Jobs[jobs:]
	return b, nil
}
