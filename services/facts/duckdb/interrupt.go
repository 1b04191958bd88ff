package duckdb

import (
	"context"
	"time"

	"github.com/duckdb/duckdb-go/v2/mapping"
)

// interruptEvery is how often DuckDB is told to give up until it does: it forgets
// an interruption that comes before a statement is under way.
const interruptEvery = 20 * time.Millisecond

// interruptibly calls work, which uses the connection, and interrupts it when ctx
// ends. No interruption comes after it has returned, where it would meet the next
// statement.
func (c *connection) interruptibly(ctx context.Context, work func() error) error {
	if ctx.Err() != nil {
		return context.Cause(ctx)
	}
	worked, over := make(chan struct{}), make(chan struct{})
	stop := context.AfterFunc(ctx, func() {
		defer close(over)
		for again := time.NewTicker(interruptEvery); ; {
			mapping.Interrupt(c.handle)
			select {
			case <-worked:
				again.Stop()
				return
			case <-again.C:
			}
		}
	})
	defer func() {
		close(worked)
		if !stop() {
			<-over
		}
	}()
	return work()
}
