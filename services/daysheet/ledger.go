package main

import (
	"context"
	"errors"

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
	partition := eventlog.Partition(firm)
	last, err := a.log.Last(ctx, partition)
	if err != nil || last <= after {
		return err
	}
	err = a.log.Follow(ctx, partition, after, func(batch []events.Stored) error {
		for _, stored := range batch {
			if stored.Sequence > last {
				return errEnd
			}
			c, err := events.DecodeCommit(stored.Raw)
			if err != nil {
				return err
			}
			if c.Firm == firm {
				if err := visit(c); err != nil {
					return err
				}
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
