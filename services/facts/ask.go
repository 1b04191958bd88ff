package facts

import (
	"context"
	"fmt"
	"sync"

	"daysheet/reports"
)

// Reader is the part of a [Store] that answers the questions of reports.
type Reader interface {
	Sum(ctx context.Context, q reports.Query) ([]reports.Total, error)
	Jobs(ctx context.Context, q reports.JobQuery) ([]reports.JobRow, error)
}

// sideBySide is how many queries of one question are asked at once: while the rows
// of one are read by one processor, another can search. More are no faster, since
// one uses all processors, and each holds its rows in memory.
const sideBySide = 2

// Ask puts a report's question to a store, some queries side by side. The first query
// that fails ends the rest. Names are no facts, and are left empty.
func Ask(ctx context.Context, store Reader, q reports.Question) (reports.Answer, error) {
	ctx, fail := context.WithCancelCause(ctx)
	defer fail(nil)
	answer := reports.Answer{Sums: make([][]reports.Total, len(q.Sums))}
	var queries sync.WaitGroup
	room := make(chan struct{}, sideBySide)
	for i, query := range q.Sums {
		queries.Go(func() {
			room <- struct{}{}
			defer func() { <-room }()
			var err error
			if answer.Sums[i], err = store.Sum(ctx, query); err != nil {
				fail(fmt.Errorf("sum facts: %w", err))
			}
		})
	}
	if q.Jobs != nil {
		queries.Go(func() {
			room <- struct{}{}
			defer func() { <-room }()
			var err error
			if answer.Jobs, err = store.Jobs(ctx, *q.Jobs); err != nil {
				fail(fmt.Errorf("list jobs: %w", err))
			}
		})
	}
	queries.Wait()
	if err := context.Cause(ctx); err != nil {
		return reports.Answer{}, err
	}
	return answer, nil
}
