package handover

import (
	"context"
	"fmt"
	"html/template"
	"slices"
	"strings"

	"daysheet/events"
	papers "daysheet/reports/handover"
)

// Guest shows the handover report of one job outside of the frame of the office: to
// whoever holds a link to it. It is made by [NewGuest]; all methods are safe for
// concurrent use.
type Guest struct {
	desk     *desk
	printing chan struct{} // holds one: a PDF takes memory, and anybody with a link can ask for it
}

// NewGuest returns a guest's view of the papers that [Mount] serves. It is called after
// Mount and with the same deps.
func NewGuest(deps Deps) (*Guest, error) {
	letter, err := newLetterer(deps.Frame, deps.Font)
	if err != nil {
		return nil, fmt.Errorf("open papers to guests: %w", err)
	}
	d := &desk{Deps: deps, base: strings.TrimRight(deps.BaseURL, "/"), letter: letter}
	return &Guest{d, make(chan struct{}, 1)}, nil
}

func report(firm, job string) wanted { return wanted{firm: firm, job: job, kind: papers.KindHandover} }

// Report returns the report as a part of a page. address returns where the page has a
// photo.
func (g *Guest) Report(
	ctx context.Context, firm, job string, address func(digest string) string,
) (template.HTML, error) {
	dossier, err := g.desk.dossier(ctx, report(firm, job))
	if err != nil {
		return "", err
	}
	p, err := g.desk.sheetOf(ctx, dossier.Handover(), dossier.words)
	if err != nil {
		return "", err
	}
	shown := newView(p, func(digest string) (string, bool) { return address(digest), p.lacking[digest] == "" })
	if err := g.desk.prove(&shown.Proof, p.Paper); err != nil {
		return "", err
	}
	shown.Sheet = g.desk.Frame.Address("paper.css")
	return g.desk.Frame.Part(p.words.Texts, "paper.html", shown)
}

// PDF returns the report as a sealed PDF, and the name of its file. One is made at a
// time.
func (g *Guest) PDF(ctx context.Context, firm, job string) (raw []byte, name string, err error) {
	select {
	case g.printing <- struct{}{}:
		defer func() { <-g.printing }()
	case <-ctx.Done():
		return nil, "", fmt.Errorf("wait for the printer: %w", ctx.Err())
	}
	p, err := g.desk.paper(ctx, report(firm, job))
	if err != nil {
		return nil, "", err
	}
	raw, err = g.desk.sealedPDF(ctx, p)
	return raw, fileName(p.Paper), err
}

// Photo returns a photo of the report as a JPEG of at most 640 pixels across. A photo
// that the report does not show is an [events.Error] with the code NotFound.
func (g *Guest) Photo(ctx context.Context, firm, job, digest string) ([]byte, error) {
	p, err := g.desk.paper(ctx, report(firm, job))
	if err != nil {
		return nil, err
	}
	if !slices.Contains(p.Photos(), digest) || p.lacking[digest] != "" {
		return nil, &events.Error{Code: events.NotFound, Field: "photo", Value: digest, Rule: "the report has no such photo"}
	}
	return g.desk.Photos.Thumbnail(ctx, firm, digest)
}
