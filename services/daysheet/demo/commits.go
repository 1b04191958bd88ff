package demo

import (
	"iter"
	"time"

	"daysheet/events"
)

// Commits yields the firm's submissions as the commits a log would hold: each
// job with its chain, in the partition's sequence from after+1 on. Each is
// recorded two minutes after its last event. Tests and benchmarks use it to
// have a log's content without a log.
func (f *Firm) Commits(partition uint8, after uint64) iter.Seq2[events.Stored, error] {
	type head struct {
		version uint64
		hash    string
	}
	return func(yield func(events.Stored, error) bool) {
		heads := map[string]head{}
		for s := range f.Submissions() {
			h := heads[s.Job]
			c := &events.Commit{Firm: f.Key, Job: s.Job, Version: h.version + 1, Previous: h.hash,
				RecordedAt: s.At.Add(2 * time.Minute), RecordedBy: s.By, Events: s.Events}
			raw, err := c.Encode()
			if err != nil {
				yield(events.Stored{}, err)
				return
			}
			after++
			heads[s.Job] = head{c.Version, events.Hash(raw)}
			if !yield(events.Stored{Partition: partition, Sequence: after, Raw: raw}, nil) {
				return
			}
		}
	}
}
