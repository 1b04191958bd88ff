package main

import (
	"context"
	"time"
)

// settleMax is how long an orderly stop waits for the facts.
const settleMax = 5 * time.Second

// settle lets the projector take in what was recorded last, once nothing more comes: until
// then the log alone has it, and one that is damaged before the next start could not be
// made whole from the store.
func (a *app) settle() {
	if a.projector == nil || !a.roles.runs(roleProjector) {
		return
	}
	ctx, cancel := context.WithTimeout(context.Background(), settleMax)
	defer cancel()
	if err := a.projector.Settle(ctx); err != nil {
		a.logger.Warn("stopped before all facts were made; they are made at the next start", "reason", err)
	}
}
