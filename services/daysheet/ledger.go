package main

import (
	"context"
	"errors"
	"fmt"

	"daysheet/events"
	"daysheet/services/eventlog"
	"daysheet/services/reporting"
)

// ledger answers the routes about the whole of a firm.
func (a *app) ledger() reporting.Ledger {
	return reporting.Ledger{
		Firm: func(ctx context.Context, firm string) (*events.Settings, []events.Product, error) {
			profile, err := a.projector.Firm(ctx, firm)
			return profile.Settings, profile.Products, err
		},
		Each: a.each,
	}
}

// errEnd ends a walk over the log where it was meant to end.
var errEnd = errors.New("end of the walk")

// each visits every commit of a firm after the sequence, up to the last there is now.
func (a *app) each(ctx context.Context, firm string, after uint64, visit func(*events.Commit) error) error {
	return eachOf(ctx, a.log, eventlog.Partition(firm), after, func(c *events.Commit) error {
		if c.Firm != firm {
			return nil
		}
		return visit(c)
	})
}

// eachCommit visits every commit of the log, up to the last there is now.
func eachCommit(ctx context.Context, log *eventlog.Log, visit func(*events.Commit) error) error {
	for partition := range uint8(eventlog.Partitions) {
		if err := eachOf(ctx, log, partition, 0, visit); err != nil {
			return fmt.Errorf("partition %d: %w", partition, err)
		}
	}
	return nil
}

// eachOf visits the commits of a partition after the sequence, up to the last there is now.
func eachOf(
	ctx context.Context, log *eventlog.Log, partition uint8, after uint64, visit func(*events.Commit) error,
) error {
	return storedOf(ctx, log, partition, after, func(stored events.Stored) error {
		c, err := events.DecodeCommit(stored.Raw)
		if err != nil {
			return err
		}
		return visit(c)
	})
}

// storedOf visits them as they are stored.
func storedOf(
	ctx context.Context, log *eventlog.Log, partition uint8, after uint64, visit func(events.Stored) error,
) error {
	last, err := log.Last(ctx, partition)
	if err != nil || last <= after {
		return err
	}
	err = log.Follow(ctx, partition, after, func(batch []events.Stored) error {
		for _, stored := range batch {
			if stored.Sequence > last {
				return errEnd
			}
			if err := visit(stored); err != nil {
				return err
			}
			if stored.Sequence == last {
				return errEnd
			}
		}
		return nil
	})
	if errors.Is(err, errEnd) {
		return nil
	}
	return errors.Join(err, ctx.Err())
}
