package handover

import (
	"bytes"
	"context"
	"crypto/sha256"
	"fmt"
	"html/template"
	"io/fs"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"github.com/carlos7ags/folio/document"
	"github.com/carlos7ags/folio/font"
	"github.com/carlos7ags/folio/html"
	"github.com/carlos7ags/folio/layout"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/gomono"
	"golang.org/x/image/font/gofont/goregular"

	papers "daysheet/reports/handover"
	"daysheet/services/pages"
)

// Sizes of a page in points: A4 (ISO 216).
const (
	pageWidth, pageHeight = 595.28, 841.89
	marginSide, marginTop = 45.0, 42.0
	marginBottom          = 36.0
	footerSize            = 7.0
	footerSpace           = 12.0 // between the text and the footer
)

// Bounds of what one PDF may hold, against paper without end.
const (
	elementsMost = 400_000
	depthMost    = 64
)

// letterer turns papers into PDF.
type letterer struct {
	pages map[string]*template.Template // by language
	style template.CSS
	fonts map[string][]byte // by the name in the style sheet
	face  font.Face         // of the footer
	turn  chan struct{}     // one PDF at a time: one with many photos takes its memory
}

// newLetterer reads the fonts. own replaces the Go fonts, if it is not nil.
func newLetterer(frame *pages.Frame, own []byte) (*letterer, error) {
	l := &letterer{turn: make(chan struct{}, 1), pages: map[string]*template.Template{}, fonts: map[string][]byte{
		"fonts/regular.ttf": goregular.TTF, "fonts/bold.ttf": gobold.TTF, "fonts/mono.ttf": gomono.TTF,
	}}
	if own != nil {
		l.fonts["fonts/regular.ttf"], l.fonts["fonts/bold.ttf"] = own, own
	}
	var err error
	if l.face, err = font.ParseFont(l.fonts["fonts/regular.ttf"]); err != nil {
		return nil, fmt.Errorf("read font of papers: %w", err)
	}
	style, err := fs.ReadFile(assets, "assets/pdf.css")
	if err != nil {
		return nil, fmt.Errorf("read style of papers: %w", err)
	}
	l.style = template.CSS(style)
	for _, language := range frame.Languages() {
		say := template.FuncMap{"whole": whole, "lines": lines, "t": frame.Texts(language).Say}
		page, err := template.New("").Funcs(say).ParseFS(templates, "templates/paper.html", "templates/pdf.html")
		if err != nil {
			return nil, fmt.Errorf("read template of papers: %w", err)
		}
		l.pages[language] = page
	}
	return l, nil
}

// write makes the PDF of a paper. photo returns the small picture of a digest; it is
// asked once for each that can be shown.
func (l *letterer) write(ctx context.Context, p sheet, proof func(*proofView) error,
	photo func(digest string) ([]byte, error)) ([]byte, error) {
	select {
	case l.turn <- struct{}{}:
		defer func() { <-l.turn }()
	case <-ctx.Done():
		return nil, fmt.Errorf("wait for the PDF before: %w", ctx.Err())
	}
	files := shelf{}
	for name, content := range l.fonts {
		files[name] = content
	}
	for _, digest := range p.Photos() {
		if p.lacking[digest] != "" {
			continue // the paper says so
		}
		small, err := photo(digest)
		if err != nil {
			return nil, fmt.Errorf("read photo %s: %w", digest, err)
		}
		files[photoFile(digest)] = small
	}
	v := newView(p, func(digest string) (string, bool) {
		_, ok := files[photoFile(digest)]
		return photoFile(digest), ok
	})
	if err := proof(&v.Proof); err != nil {
		return nil, err
	}
	page, err := l.html(p.Paper, v)
	if err != nil {
		return nil, err
	}
	if v.Signs, v.Scripts = l.lacks(page), unsure(page); v.Signs+v.Scripts != "" {
		if page, err = l.html(p.Paper, v); err != nil {
			return nil, err
		}
	}
	var drawings []string
	for _, section := range v.Sections {
		for _, strip := range section.Strips {
			drawings = append(drawings, strip.Said)
		}
	}
	return l.print(ctx, p, page, drawings, files)
}

// whole reports whether a text is not to be cut at the end of a line: it holds a space
// that says so. The printer knows no such spaces.
func whole(text string) bool { return strings.Contains(text, "\u00a0") }

// html lays a paper out as a page to print.
func (l *letterer) html(p papers.Paper, v view) (string, error) {
	var page strings.Builder
	err := l.pages[v.Language].ExecuteTemplate(&page, "document", struct {
		Title string
		Style template.CSS
		View  view
	}{p.Title, l.style, v})
	if err != nil {
		return "", fmt.Errorf("lay out the paper: %w", err)
	}
	return page.String(), nil
}

// lacks lists the signs of a page that the font has not, by their numbers in Unicode:
// they would be left out without a word.
func (l *letterer) lacks(page string) string {
	var signs []string
	for _, r := range page {
		// What has no shape of its own needs none.
		if r < utf8.RuneSelf || l.face.GlyphIndex(r) != 0 || unicode.In(r, unicode.Z, unicode.Cf, unicode.Mn) {
			continue
		}
		if sign := fmt.Sprintf("U+%04X", r); !slices.Contains(signs, sign) {
			signs = append(signs, sign)
		}
	}
	const most = 20
	if len(signs) > most {
		return fmt.Sprintf("%s and %d more", strings.Join(signs[:most], ", "), len(signs)-most)
	}
	return strings.Join(signs, ", ")
}

func photoFile(digest string) string { return "photos/" + digest + ".jpg" }

// print prints a page of HTML; drawings are the texts of what is drawn on it. Everything in
// the file follows from its arguments.
func (l *letterer) print(
	ctx context.Context, p sheet, page string, drawings []string, files fs.FS,
) ([]byte, error) {
	doc := document.NewDocument(document.PageSize{Width: pageWidth, Height: pageHeight})
	doc.Info = document.Info{
		Title: p.Title, Author: p.Firm, Subject: p.words.Say("sheet.job", "job", p.Stamp.Job), Keywords: keywords(p.Paper),
		Creator: "daysheet", Producer: "daysheet", Language: p.words.Language(),
		CreationDate: p.Stamp.RecordedAt.UTC().Truncate(time.Second), ModDate: p.Stamp.RecordedAt.UTC().Truncate(time.Second),
	}
	doc.SetMargins(layout.Margins{Top: marginTop, Right: marginSide, Bottom: marginBottom, Left: marginSide})
	doc.SetTagged(true)
	doc.SetPdfA(document.PdfAConfig{Level: document.PdfA2A})
	doc.SetAutoBookmarks(true)
	id := sha256.Sum256([]byte(keywords(p.Paper)))
	doc.SetFileID(id[:16])
	footer := font.NewEmbeddedFont(l.face)
	doc.SetFooterElement(func(c document.PageContext) layout.Element {
		text := p.words.Say("sheet.footer", "firm", p.Firm, "job", p.Stamp.Job, "head", p.Stamp.Head[:12],
			"position", strconv.FormatUint(p.Stamp.Position, 10), "page", p.words.Count(int64(c.PageIndex+1)),
			"pages", p.words.Count(int64(c.TotalPages)))
		return layout.NewParagraphEmbedded(text, footer, footerSize).SetSpaceBefore(footerSpace)
	})
	laid, err := html.ConvertFullWithContext(ctx, page, &html.Options{
		BaseFS: files, StrictAssets: true, MaxElements: elementsMost, MaxDepth: depthMost,
		PageWidth: pageWidth - 2*marginSide, PageHeight: pageHeight,
	})
	if err != nil {
		return nil, fmt.Errorf("print the paper: %w", err)
	}
	if rest := tellDrawings(laid.Elements, drawings); len(rest) > 0 {
		return nil, fmt.Errorf("print the paper: %d drawings were not found", len(rest))
	}
	for i, e := range laid.Elements {
		if box, ok := e.(*layout.Div); ok && isHeading(box) {
			laid.Elements[i] = heading{box}
		}
	}
	if err := doc.AddConvertResult(laid); err != nil {
		return nil, fmt.Errorf("print the paper: %w", err)
	}
	var out bytes.Buffer
	if _, err := doc.WriteToWithContext(ctx, &out, document.WriteOptions{Deterministic: true}); err != nil {
		return nil, fmt.Errorf("write the PDF: %w", err)
	}
	if p.words.Err != nil {
		return nil, p.words.Err
	}
	return out.Bytes(), nil
}

// heading is a heading that does not stand alone at the foot of a page: it goes to
// the next one where there is no room for the first rows of what it is about.
type heading struct{ layout.Element }

// roomBelow is what a heading asks for, itself included, in points.
const roomBelow = 110

// isHeading reports whether the box is that of a heading alone.
func isHeading(box *layout.Div) bool {
	inner := box.Children()
	if len(inner) != 1 {
		return false
	}
	_, ok := inner[0].(*layout.Heading)
	return ok
}

// PlanLayout places the heading, or nothing where there is no room.
func (h heading) PlanLayout(area layout.LayoutArea) layout.LayoutPlan {
	if !area.AtFragmentTop && area.Height < roomBelow {
		return layout.LayoutPlan{Status: layout.LayoutNothing}
	}
	return h.Element.PlanLayout(area)
}
