package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"

	"daysheet/events"
	papers "daysheet/reports/handover"
	"daysheet/services/customers"
	"daysheet/services/handover"
	"daysheet/services/pages"
	"daysheet/services/photos"
	"daysheet/services/sealing"
	"daysheet/services/signoff"
)

// mountPapers puts the papers of jobs on the engine. desk is nil in a process that
// has no keys of customers.
func (a *app) mountPapers(g *Globals, cfg appConfig, frame *pages.Frame, desk *customers.Desk) error {
	deps := handover.Deps{
		Frame: frame, Commits: a.log.Commits, Photos: pictures{a.photos, a.thumbnails},
		BaseURL: cfg.httpd.BaseURL,
		Keys:    handover.NewKeys(filepath.Join(g.Data, signingFolder)),
	}
	if desk != nil {
		deps.Parties = func(_ context.Context, firm string, c events.Customer) (*papers.Parties, error) {
			return partiesOf(desk, firm, c)
		}
		deps.Signer = a.signerOf
	}
	if cfg.font != "" {
		var err error
		if deps.Font, err = os.ReadFile(cfg.font); err != nil {
			return fmt.Errorf("read font of papers: %w", err)
		}
	}
	if err := handover.Mount(a.server, deps); err != nil || desk == nil {
		return err
	}
	guest, err := handover.NewGuest(deps)
	if err != nil {
		return err
	}
	return a.mountSignOff(g, cfg, frame, guest)
}

// mountSignOff puts the routes of links and of signing on the engine.
func (a *app) mountSignOff(g *Globals, cfg appConfig, frame *pages.Frame, report signoff.Report) error {
	links, err := signoff.OpenLinks(filepath.Join(filepath.Dir(g.tokensPath()), linksFile), time.Now)
	if err != nil {
		return err
	}
	links.Audit(a.auditor)
	return signoff.Mount(a.server, signoff.Deps{
		Frame: frame, Links: links, Keys: a.keys, Commits: a.log.Commits, Names: a.projector.Names, Record: a.log.Record,
		Report: report, Clock: time.Now, BaseURL: cfg.httpd.BaseURL,
	})
}

// partiesOf opens a customer for a paper.
func partiesOf(desk *customers.Desk, firm string, c events.Customer) (*papers.Parties, error) {
	opened, err := desk.Open(firm, c)
	if err != nil {
		return nil, err
	}
	p := &papers.Parties{
		Name: opened.Name, Address: strings.ReplaceAll(opened.Address, "\n", ", "),
		Contact: strings.Join(opened.Contacts, ", "), Erased: opened.Erased,
	}
	p.Lost = p.Erased == "" && opened.Says != ""
	return p, nil
}

// signerOf opens who signed a job off.
func (a *app) signerOf(_ context.Context, firm, job, event string, p *events.SignOff) (papers.Signer, error) {
	var signature signoff.Signature
	err := a.keys.Open(sealing.Place{Firm: firm, Customer: p.Customer, Job: job, Event: event,
		Part: sealing.PartSignature}, *p.Sealed, &signature)
	if erased := (*sealing.ErasedError)(nil); errors.As(err, &erased) {
		return papers.Signer{Erased: erased.Day}, nil
	}
	if _, ok := sealing.Unreadable(err); ok {
		return papers.Signer{Lost: true}, nil
	}
	return papers.Signer{Name: signature.Name, Strokes: signature.Drawn}, err
}

// pictures is the photos of papers: those of the ledger.
type pictures struct {
	photos.Store
	thumbnails *photos.Thumbnails
}

// Open returns a photo as it was sent, and its size.
func (p pictures) Open(ctx context.Context, firm, digest string) (io.ReadCloser, int64, error) {
	file, info, err := p.Store.Open(ctx, firm, digest)
	return file, info.Bytes, err
}

// Thumbnail returns a photo as a JPEG that fills a third of a sheet sharply.
func (p pictures) Thumbnail(ctx context.Context, firm, digest string) ([]byte, error) {
	const width = 640
	return p.thumbnails.Make(ctx, firm, digest, width)
}
