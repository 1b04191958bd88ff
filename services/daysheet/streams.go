package main

import (
	"context"
	"fmt"

	"daysheet/events"
	"daysheet/services/eventlog"
)

// PrepareCmd makes the streams of an external log.
type PrepareCmd struct {
	NATSFlags
}

// Help says whose it is.
func (c *PrepareCmd) Help() string {
	return `A log in the data folder needs none of this. On an external NATS server or cluster the operator makes the
sixteen streams once, with a key that no serving process has: those have no right to make or change streams.
Run it again with more replicas or megabytes to raise them; nothing is ever lowered. It takes the same
--nats flags as serve.`
}

// Run makes or raises the streams and says what it did.
func (c *PrepareCmd) Run(ctx context.Context, g *Globals) error {
	if c.NATS == "" {
		return events.Refuse("nats", "", "name the server or cluster whose streams are to be made")
	}
	done, err := eventlog.Prepare(ctx, logConfig(g, c.NATSFlags, g.logger()))
	if err != nil {
		return err
	}
	fmt.Printf("%d streams: %d made, %d raised, %d as they were\n", eventlog.Partitions, done.Made, done.Raised, done.Kept)
	return nil
}
