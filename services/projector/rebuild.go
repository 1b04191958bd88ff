package projector

import (
	"context"
	"errors"

	"daysheet/services/facts"
)

// Rebuild replays the log into an empty store, up to where the log ends when it
// starts. progress is called after each write with commits done and in all; it
// may be nil. After an error the store is incomplete and of no use.
func Rebuild(ctx context.Context, log Log, store facts.Store, progress func(done, total uint64)) error {
	r := newReplay(log, store, defaultLimits)
	r.once = true
	if err := r.locate(ctx); err != nil {
		return err
	}
	var done, total uint64
	for _, l := range r.lanes {
		if l.position != 0 {
			return errors.New("rebuild store: it is not empty")
		}
		total += l.target
	}
	if progress != nil {
		r.written = func(w *work) {
			done += uint64(len(w.batch.Commits))
			progress(done, total)
		}
	}
	return r.run(ctx)
}
