package handover

import (
	"context"
	"crypto/ed25519"
	"net/http"
	"net/url"
	"strconv"
	"time"

	"github.com/gin-gonic/gin"

	papers "daysheet/reports/handover"
	"daysheet/services/httpd"
	"daysheet/services/pages"
)

// wantedBy reads what paper a request is for.
func wantedBy(c *gin.Context, kind papers.Kind, of string) (wanted, error) {
	caller, _ := httpd.CallerFrom(c.Request.Context())
	asOf, err := position(c.Query("as_of"))
	return wanted{firm: caller.Firm, job: c.Param("job"), kind: kind, of: of, asOf: asOf}, err
}

// address returns where the page of a paper is.
func (w wanted) address() string {
	at := "/jobs/" + url.PathEscape(w.job) + "/" + string(w.kind)
	if w.of != "" {
		at += "/" + url.PathEscape(w.of)
	}
	return at
}

// pdfAddress returns where the PDF of a paper is.
func (w wanted) pdfAddress() string {
	if w.of != "" {
		return w.address() + "/pdf"
	}
	return w.address() + pdfEnding
}

// page returns the handler of the page of a paper. of is the parameter of the path
// that says which of several; empty where there is one.
func (d *desk) page(kind papers.Kind, of string) gin.HandlerFunc {
	return d.Frame.Handler(func(v pages.Visit) (pages.Page, error) { return d.show(v, kind, v.Param(of)) })
}

// pdf returns the handler of the PDF of a paper. Where it cannot be made, the answer
// says so, and that the page has the same to print.
func (d *desk) pdf(kind papers.Kind, of string) gin.HandlerFunc {
	return func(c *gin.Context) {
		w, err := wantedBy(c, kind, c.Param(of))
		if err != nil {
			httpd.Abort(c, err)
			return
		}
		unhurry(c)
		p, err := d.paper(c.Request.Context(), w)
		if err != nil {
			httpd.Abort(c, err)
			return
		}
		raw, err := d.sealedPDF(c.Request.Context(), p)
		if err != nil {
			httpd.Abort(c, failed(w, err))
			return
		}
		answerPDF(c, p.Paper, raw)
	}
}

// unhurry gives an answer the time that many photos take the first time they are made
// small.
func unhurry(c *gin.Context) {
	// A writer without a deadline of its own has none to move.
	_ = http.NewResponseController(c.Writer).SetWriteDeadline(time.Now().Add(downloadTakes))
}

// failed says where the same can be had when a PDF could not be made.
func failed(w wanted, err error) error {
	return httpd.NewProblem(http.StatusInternalServerError,
		"the PDF could not be made; the page "+w.address()+" shows the same and can be printed").Because(err)
}

func answerPDF(c *gin.Context, p papers.Paper, raw []byte) {
	c.Header("Content-Disposition", `inline; filename="`+fileName(p)+`"`)
	c.Header("Content-Length", strconv.Itoa(len(raw)))
	c.Data(http.StatusOK, "application/pdf", raw)
}

// fileName names the file of a paper. Keys hold nothing that a header cannot.
func fileName(p papers.Paper) string {
	name := p.Stamp.Job + "-" + string(p.Kind)
	if p.Of != "" {
		name += "-" + p.Of
	}
	return name + "-" + strconv.FormatUint(p.Stamp.Position, 10) + pdfEnding
}

// sealedPDF makes the PDF of a paper and seals it.
func (d *desk) sealedPDF(ctx context.Context, p sheet) ([]byte, error) {
	key, err := d.Keys.Private(p.Stamp.Firm)
	if err != nil {
		return nil, err
	}
	raw, err := d.letter.write(ctx, p, func(v *proofView) error { return d.prove(v, p.Paper) },
		func(digest string) ([]byte, error) { return d.Photos.Thumbnail(ctx, p.Stamp.Firm, digest) })
	if err != nil {
		return nil, err
	}
	return raw, seal(raw, key)
}

// prove adds to a paper by what it can be checked.
func (d *desk) prove(v *proofView, p papers.Paper) error {
	key, err := d.Keys.Private(p.Stamp.Firm)
	if err != nil {
		return err
	}
	if v.Key, err = fingerprintOf(key.Public().(ed25519.PublicKey)); err != nil {
		return err
	}
	v.Code = codeOf(p).text(key)
	if d.base == "" {
		return nil
	}
	v.Address = d.base + checkAt + "/" + v.Code
	v.Lines = cut(v.Address)
	v.QR, err = qrCode(v.Address)
	return err
}

// show makes the page of a paper.
func (d *desk) show(v pages.Visit, kind papers.Kind, of string) (pages.Page, error) {
	asOf, err := position(v.Values.Get("as_of"))
	if err != nil {
		return pages.Page{}, err
	}
	w := wanted{firm: v.Firm, job: v.Param("job"), kind: kind, of: of, asOf: asOf}
	dossier, err := d.dossier(v, w)
	if err != nil {
		return pages.Page{}, err
	}
	chosen, err := choose(dossier.Dossier, w)
	if err != nil {
		return pages.Page{}, err
	}
	p, err := d.sheetOf(v, chosen, dossier.words)
	if err != nil {
		return pages.Page{}, err
	}
	shown := newView(p, func(digest string) (string, bool) {
		return "/v1/photos/" + digest + "?width=640", p.lacking[digest] == ""
	})
	if err := d.prove(&shown.Proof, p.Paper); err != nil {
		return pages.Page{}, err
	}
	shown.Sheet = d.Frame.Address("paper.css")
	shown.Files, shown.Others = filesBeside(w, p), othersBeside(w, dossier)
	return pages.Page{
		Name: "paper.html", Title: p.Title, AsOf: p.Stamp.Position, Body: shown, Texts: p.words.Texts,
		Crumbs: []pages.Link{{Text: p.words.Say("nav.jobs"), Address: "/"},
			{Text: p.words.Say("sheet.job", "job", w.job), Address: "/jobs/" + w.job}, {Text: p.Title}},
	}, p.words.Err
}

// filesBeside links to the paper's files and to the other papers of the job.
func filesBeside(w wanted, p sheet) []pages.Link {
	at := "?as_of=" + strconv.FormatUint(p.Stamp.Position, 10)
	links := []pages.Link{{Text: p.words.Say("sheet.pdf"), Address: w.pdfAddress() + at}}
	for _, other := range []struct {
		kind papers.Kind
		text string
	}{
		{papers.KindHandover, "paper.kind.handover"}, {papers.KindCondition, "paper.kind.condition"},
		{papers.KindQuote, "paper.kind.quote"}, {papers.KindSnags, "paper.kind.snags"},
	} {
		if other.kind != w.kind {
			links = append(links, pages.Link{Text: p.words.Say(other.text), Address: wanted{job: w.job,
				kind: other.kind}.address()})
		}
	}
	return links
}

// othersBeside links to the papers of single variations and days.
func othersBeside(w wanted, dossier file) (links []pages.Link) {
	for i, id := range dossier.Variations() {
		links = append(links, pages.Link{Text: dossier.words.Say("paper.kind.variation", "n",
			dossier.words.Count(int64(i+1))),
			Address: wanted{job: w.job, kind: papers.KindVariation, of: id}.address()})
	}
	for _, on := range dossier.Days() {
		links = append(links, pages.Link{Text: dossier.words.Day(on),
			Address: wanted{job: w.job, kind: papers.KindDaySheet, of: string(on)}.address()})
	}
	return links
}
