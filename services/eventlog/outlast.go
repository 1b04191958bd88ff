package eventlog

import (
	"context"
	"errors"
	"fmt"
	"time"

	"daysheet/events"
)

const (
	// outageMost is how long [connection.outlast] waits for an outage to end: elections
	// of a cluster that is short of everything take their time, and somebody watches a bar.
	outageMost = 2 * time.Minute
	// deafAfter is how many attempts in a row may fail on one connection. It may be dead
	// without a sign, and where there is one server alone no lookout moves it.
	deafAfter = 3
)

// outlast tries until there is an outcome, as [patiently] does, for as long as an outage
// of an external log may last. further says that a failed attempt brought something.
func (c *connection) outlast(ctx context.Context, try func() (further bool, err error)) error {
	since := time.Now()
	for attempt := 1; ; attempt++ {
		further, err := try()
		if further {
			since, attempt = time.Now(), 1
		}
		var passing *unsettled
		if err == nil || !errors.As(err, &passing) {
			return err
		}
		if time.Since(since) > outageMost {
			// Not wrapped: this is an outcome, and no reason to try again around it.
			return fmt.Errorf("%w (%v)", &events.Error{Code: events.Unavailable,
				Rule: "the log's server does not answer; run it again, it goes on where it stopped"}, err)
		}
		if attempt%deafAfter == 0 {
			// An error says that the connection is closed or is reconnecting by itself.
			_ = c.ForceReconnect()
		}
		if !pause(ctx, attempt) {
			return orDenied(ctx, ctx.Err())
		}
	}
}
