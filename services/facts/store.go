// Package facts says what is asked of a store of facts. The store is
// disposable: everything in it is a pure function of the log and can be made
// again. Two implementations exist, duckdb and clickhouse; the conformance suite
// in factstest is the proof that they are equal.
package facts

import (
	"context"
	"io"

	"daysheet/events"
	"daysheet/reports"
)

// Batch is what the projector makes of a run of commits of one partition.
type Batch struct {
	Partition uint8
	Position  uint64           // sequence of the last commit in the run
	Commits   []events.Stored  // every commit of the run, in order
	Facts     []reports.Fact   // in order of sequence and line
	Jobs      []reports.JobRow // at most one per commit
}

// Store keeps facts, jobs and raw commits. All methods are safe for concurrent
// use, except that one partition has one writer.
type Store interface {
	// Position returns the sequence of the last commit of the partition that is
	// in the store; 0 if there is none.
	Position(ctx context.Context, partition uint8) (uint64, error)

	// Write adds a batch. After it returned nil, the batch and its position are
	// both there; after an error or a crash, both or neither as far as any
	// reader can tell. Commits at or below the position are left out, so
	// that a batch that comes twice, or overlaps, changes nothing. A batch that
	// is not valid, or would leave a gap after the position, is refused whole.
	Write(ctx context.Context, b Batch) error

	// Sum adds facts up. Rows come in ascending order of the query's By.
	Sum(ctx context.Context, q reports.Query) ([]reports.Total, error)

	// Lines returns facts in ascending order of sequence and line. By is not used.
	Lines(ctx context.Context, q reports.Query) ([]reports.Fact, error)

	// Jobs returns jobs as they stood, in ascending order of their key.
	Jobs(ctx context.Context, q reports.JobQuery) ([]reports.JobRow, error)

	io.Closer
}

// Archive is the second copy of the log that a store keeps, from which a
// damaged log can be repaired.
type Archive interface {
	// Commits returns up to limit commits of the partition after the sequence,
	// in order.
	Commits(ctx context.Context, partition uint8, after uint64, limit int) ([]events.Stored, error)
}
