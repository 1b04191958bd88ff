package handover

import (
	"context"
	"errors"
	"fmt"
	"strconv"

	"daysheet/events"
	papers "daysheet/reports/handover"
)

// wanted names one paper.
type wanted struct {
	firm, job string
	kind      papers.Kind
	of        string // the variation's event or the day
	asOf      uint64 // position in the log; 0 is now
}

// position reads ?as_of=.
func position(text string) (uint64, error) {
	if text == "" {
		return 0, nil
	}
	n, err := strconv.ParseUint(text, 10, 63)
	if err != nil {
		return 0, events.Refuse("as_of", text, "a position in the log as a whole number, 0 for now")
	}
	return n, nil
}

// paper makes the paper that is wanted.
func (d *desk) paper(ctx context.Context, w wanted) (papers.Paper, error) {
	dossier, err := d.dossier(ctx, w)
	if err != nil {
		return papers.Paper{}, err
	}
	p, err := choose(dossier, w)
	if err != nil {
		return papers.Paper{}, err
	}
	reasons, err := d.lacking(ctx, p)
	if err != nil {
		return papers.Paper{}, err
	}
	return p.Lacking(reasons), nil
}

// choose makes one of the papers of a dossier.
func choose(dossier *papers.Dossier, w wanted) (papers.Paper, error) {
	switch w.kind {
	case papers.KindHandover:
		return dossier.Handover(), nil
	case papers.KindQuote:
		return dossier.Quote()
	case papers.KindSnags:
		return dossier.Snags(), nil
	case papers.KindCondition:
		return dossier.Condition(), nil
	case papers.KindVariation:
		return dossier.Variation(w.of)
	case papers.KindDaySheet:
		on := events.Day(w.of)
		if !on.Valid() {
			return papers.Paper{}, events.Refuse("day", w.of, "a day as YYYY-MM-DD from 1970 to 2148")
		}
		return dossier.DaySheet(on)
	}
	return papers.Paper{}, &events.Error{Code: events.NotFound, Field: "paper", Value: string(w.kind), Rule: "no such " +
		"paper"}
}

// dossier reads the records of the job.
func (d *desk) dossier(ctx context.Context, w wanted) (*papers.Dossier, error) {
	if w.job == events.FirmJob {
		return nil, &events.Error{Code: events.NotFound, Field: "job", Value: w.job, Rule: "no such job"}
	}
	commits, err := d.Commits(ctx, w.firm, w.job, w.asOf)
	if err != nil {
		return nil, fmt.Errorf("read job %s: %w", w.job, err)
	}
	in := papers.Input{Firm: w.firm, Job: w.job, Commits: commits}
	if in.Own, err = d.Commits(ctx, w.firm, events.FirmJob, w.asOf); err != nil {
		return nil, fmt.Errorf("read firm %s: %w", w.firm, err)
	}
	dossier, err := papers.Read(in)
	if err != nil || d.Parties == nil {
		return dossier, err
	}
	customer, ok := dossier.Customer()
	if !ok {
		return dossier, nil
	}
	parties, err := d.Parties(ctx, w.firm, customer)
	if err != nil {
		return nil, fmt.Errorf("read customer of job %s: %w", w.job, err)
	}
	return dossier.With(parties), nil
}

// lacking says why photos of a paper cannot be shown, by digest.
func (d *desk) lacking(ctx context.Context, p papers.Paper) (map[string]string, error) {
	reasons := map[string]string{}
	for _, digest := range p.Photos() {
		photo, err := d.Photos.Open(ctx, p.Stamp.Firm, digest)
		switch events.CodeOf(err) {
		case events.NotFound:
			reasons[digest] = "it was not sent yet, or it is lost"
			continue
		case events.Unavailable:
			reasons[digest] = "this server keeps no photos"
			continue
		}
		if err != nil {
			if ctx.Err() != nil {
				return nil, fmt.Errorf("open photo %s: %w", digest, errors.Join(err, ctx.Err()))
			}
			reasons[digest] = "it cannot be read"
			continue
		}
		if err := photo.Close(); err != nil {
			return nil, fmt.Errorf("close photo %s: %w", digest, err)
		}
	}
	return reasons, nil
}
