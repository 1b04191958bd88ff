// Package projector is the loop log → facts → store. It follows every
// partition of the log, turns commits into facts and jobs, and writes them to
// the store together with their position.
//
// Facts are a pure function of the log up to their commit, so it does not
// matter how commits are batched, how often they are delivered, or where a run
// was stopped: the store ends up the same. Live running, [Rebuild] and [Verify]
// share one loop (replay.go).
//
// # From a message to a row
//
// Each partition has a lane of two goroutines: one follows the log and decodes,
// the other projects. One goroutine writes for all lanes. While the store is
// behind, a lane gathers a large batch; once it has caught up, it hands over
// what it has as soon as the writer is free.
package projector
