package handover

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"strconv"

	"daysheet/events"
	papers "daysheet/reports/handover"
	"daysheet/services/texts"
	"daysheet/services/wording"
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

// sheet is a paper with its words, and why photos of it cannot be shown, by digest.
type sheet struct {
	papers.Paper
	words   words
	lacking map[string]string
}

// file is what papers of one job are made of, and their words.
type file struct {
	*papers.Dossier
	words words
}

// paper makes the paper that is wanted.
func (d *desk) paper(ctx context.Context, w wanted) (sheet, error) {
	of, err := d.dossier(ctx, w)
	if err != nil {
		return sheet{}, err
	}
	p, err := choose(of.Dossier, w)
	if err != nil {
		return sheet{}, err
	}
	return d.sheetOf(ctx, p, of.words)
}

// sheetOf looks at the photos of a paper. Those that cannot be shown are listed as
// missing.
func (d *desk) sheetOf(ctx context.Context, p papers.Paper, say words) (sheet, error) {
	lacking := map[string]string{}
	for _, digest := range p.Photos() {
		why, err := d.flaw(ctx, p.Stamp.Firm, digest)
		if err != nil {
			return sheet{}, err
		}
		if why != "" {
			lacking[digest] = say.Say(why)
		}
	}
	return sheet{p.Lacking(say, lacking), say, lacking}, say.Err
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
func (d *desk) dossier(ctx context.Context, w wanted) (file, error) {
	if w.job == events.FirmJob {
		return file{}, &events.Error{Code: events.NotFound, Field: "job", Value: w.job, Rule: "no such job"}
	}
	commits, err := d.Commits(ctx, w.firm, w.job, w.asOf)
	if err != nil {
		return file{}, fmt.Errorf("read job %s: %w", w.job, err)
	}
	in := papers.Input{Firm: w.firm, Job: w.job, Commits: commits}
	if in.Own, err = d.Commits(ctx, w.firm, events.FirmJob, w.asOf); err != nil {
		return file{}, fmt.Errorf("read firm %s: %w", w.firm, err)
	}
	dossier, err := papers.Read(in)
	if err == nil && d.Parties != nil && d.Signer != nil {
		dossier, err = d.open(ctx, w, dossier)
	}
	if err != nil {
		return file{}, err
	}
	return d.speaking(dossier)
}

// speaking lets papers speak the language that the firm's settings of then named.
func (d *desk) speaking(dossier *papers.Dossier) (file, error) {
	said := d.Frame.Texts(dossier.Names().Locale)
	names, err := wording.InLanguage(dossier.Names(), said)
	if err != nil {
		return file{}, fmt.Errorf("name tasks: %w", err)
	}
	speaker := &texts.Speaker{Texts: said}
	w := words{speaker, wording.NewFormat(names).In(speaker)}
	return file{dossier.Speaking(w, names), w}, nil
}

// open adds to a dossier what is sealed in it.
func (d *desk) open(ctx context.Context, w wanted, dossier *papers.Dossier) (*papers.Dossier, error) {
	signers := map[string]papers.Signer{}
	for id, p := range dossier.SignOffs() {
		if p.Sealed == nil {
			continue
		}
		signer, err := d.Signer(ctx, w.firm, w.job, id, p)
		if err != nil {
			return nil, fmt.Errorf("read who signed job %s: %w", w.job, err)
		}
		signers[id] = signer
	}
	dossier = dossier.Signed(signers)
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

// flaw returns the key of why a photo cannot be shown; nothing where it is there and its bytes are
// those that were named. What was altered on the disk must prove nothing.
func (d *desk) flaw(ctx context.Context, firm, digest string) (why string, err error) {
	photo, _, err := d.Photos.Open(ctx, firm, digest)
	switch {
	case err != nil && ctx.Err() != nil:
		return "", fmt.Errorf("open photo %s: %w", digest, errors.Join(err, ctx.Err()))
	case err != nil && events.CodeOf(err) == events.NotFound:
		return "photo.unsent", nil
	case err != nil && events.CodeOf(err) == events.Unavailable:
		return "photo.unkept", nil
	case err != nil:
		return "photo.unreadable", nil
	}
	sum := sha256.New()
	_, err = io.Copy(sum, photo)
	if err = errors.Join(err, photo.Close()); err != nil {
		return "photo.unreadable", nil
	}
	if hex.EncodeToString(sum.Sum(nil)) != digest {
		return "photo.damaged", nil
	}
	return "", nil
}
