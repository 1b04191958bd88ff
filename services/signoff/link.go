package signoff

import (
	"bytes"
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"html/template"
	"io"
	"net/http"
	"net/url"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"daysheet/events"
	"daysheet/services/httpd"
	"daysheet/services/sealing"
	"daysheet/services/texts"
	"daysheet/services/wording"
)

// The addresses of what a link opens. Whoever holds one gets in.
const (
	linkAt = "/h/:secret"
	signAt = "/h/:secret/sign-off"
	pdfAt  = "/h/:secret/report.pdf"
	// photoAt is a photo of the report.
	photoAt = "/h/:secret/photos/:digest"
	// crewAt is the same form on a paired phone of the crew.
	crewAt = "/crew/jobs/:job/sign-off"
)

func pathOf(secret string) string { return "/h/" + secret }

// bodyMost holds the largest signing, also as a form.
const bodyMost = 96 << 10

func (d *desk) mountLink(server *httpd.Server) {
	for _, route := range []string{linkAt, signAt, pdfAt, photoAt} {
		server.Hold(route)
		server.LimitBody(route, bodyMost)
	}
	server.LimitBody("/v1/jobs/:job/sign-off", bodyMost)
	server.Engine.GET(linkAt, d.open)
	server.Engine.POST(signAt, d.signByLink)
	server.Engine.GET(pdfAt, d.pdf)
	server.Engine.GET(photoAt, d.photo)
	phone := server.Engine.Group("", httpd.Require(httpd.ScopeRecord))
	phone.GET(crewAt, d.crewPage)
	phone.POST(crewAt, d.signByCrew)
}

// linkPage is the page of a job for who holds a link, or signs on the crew's phone.
type linkPage struct {
	Language string
	Title    string
	Firm     string
	Ends     string // day on which the link ends; empty on the crew's phone
	Dead     string // why there is nothing to see; empty where there is
	Copy     bool   // the page is the customer's copy
	Job      jobView
	Report   template.HTML // the handover report; empty on the crew's phone, which must not show what jobs cost
	PDF      string
	Signed   *signedView
	Form     *formView
	Request  string
}

// jobView is what is told of a job: what was agreed, and how it stands.
type jobView struct {
	Key, Title, Type string
	Work, Changes    []string
	Good, Down       []string // snags cleared and damage made good; protection still down
	Damage           []string // still open
	Snags            []snagView
}

type snagView struct {
	ID, Text string
	Ticked   bool
}

// signedView is a sign-off as it is shown.
type signedView struct {
	Day, Role, Remarks, Name, Drawn string
	Erased                          string // day on which who signed was erased; empty where nobody was
	Typed, Lost                     bool   // Lost: who signed cannot be read
}

// formView is the form with what was sent and refused.
type formView struct {
	Action, API, Next, Link string
	Problem                 string
	Foreign                 bool // the problem is said in English on a page that is not
	Sent                    Signing
}

// show renders whole before it answers.
func (d *desk) show(c *gin.Context, status int, p linkPage) {
	var b bytes.Buffer
	if err := d.pages[p.Language].ExecuteTemplate(&b, "link.html", p); err != nil {
		httpd.Abort(c, fmt.Errorf("render page of a link: %w", err))
		return
	}
	c.Data(status, "text/html; charset=utf-8", b.Bytes())
}

func (d *desk) open(c *gin.Context) {
	l, secret, ok := d.held(c)
	if !ok {
		return
	}
	p, err := d.linkPage(c, l, secret)
	if err != nil {
		httpd.Abort(c, err)
		return
	}
	d.show(c, http.StatusOK, p)
}

// linkPage makes the page of a link that holds.
func (d *desk) linkPage(c *gin.Context, l Link, secret string) (linkPage, error) {
	p, j, err := d.jobPage(c, l.Firm, l.Job)
	if err != nil {
		return p, err
	}
	names, err := d.deps.Names(c.Request.Context(), l.Firm)
	if err != nil {
		return p, err
	}
	p.Ends = wording.NewFormat(names).Day(events.DayOf(names.Local(l.Expires)))
	p.Copy = l.Purpose == ToRead
	p.PDF = pathOf(secret) + "/report.pdf"
	p.Report, err = d.deps.Report.Report(c.Request.Context(), l.Firm, l.Job, func(digest string) string {
		return pathOf(secret) + "/photos/" + digest
	})
	if err != nil {
		return p, err
	}
	if l.Purpose == ToSign && !j.finished {
		p.Form = &formView{Action: pathOf(secret) + "/sign-off", API: pathOf(secret) + "/sign-off", Link: l.ID}
		p.Form.Sent.ID, err = newID()
	}
	return p, err
}

// pdf answers with the report as a PDF.
func (d *desk) pdf(c *gin.Context) {
	l, _, ok := d.held(c)
	if !ok {
		return
	}
	raw, name, err := d.deps.Report.PDF(c.Request.Context(), l.Firm, l.Job)
	if err != nil {
		httpd.Abort(c, err)
		return
	}
	c.Header("Content-Disposition", `inline; filename="`+name+`"`)
	c.Data(http.StatusOK, "application/pdf", raw)
}

// photo answers with a photo of the report.
func (d *desk) photo(c *gin.Context) {
	l, _, ok := d.held(c)
	if !ok {
		return
	}
	raw, err := d.deps.Report.Photo(c.Request.Context(), l.Firm, l.Job, c.Param("digest"))
	if err != nil {
		httpd.Abort(c, err)
		return
	}
	c.Data(http.StatusOK, "image/jpeg", raw)
}

func newID() (string, error) {
	id, err := uuid.NewV7()
	if err != nil {
		return "", fmt.Errorf("make an id: %w", err)
	}
	return id.String(), nil
}

// jobPage makes what every page of a job has.
func (d *desk) jobPage(c *gin.Context, firm, key string) (linkPage, job, error) {
	ctx := c.Request.Context()
	j, err := d.read(ctx, firm, key)
	if err != nil {
		return linkPage{}, j, err
	}
	names, err := d.deps.Names(ctx, firm)
	if err != nil {
		return linkPage{}, j, fmt.Errorf("read names: %w", err)
	}
	said := &texts.Speaker{Texts: d.deps.Frame.Texts(names.Locale)}
	if names, err = wording.InLanguage(names, said.Texts); err != nil {
		return linkPage{}, j, fmt.Errorf("name tasks: %w", err)
	}
	p := linkPage{Language: said.Language(), Title: j.opening.Title, Firm: firm, Job: newJobView(j,
		wording.NewWords(names, said))}
	if names.Settings != nil {
		p.Firm = names.Settings.Name
	}
	if j.signed != nil {
		if p.Signed, err = d.signedView(j, wording.NewFormat(names)); err != nil {
			return linkPage{}, j, err
		}
	}
	return p, j, said.Err
}

func (d *desk) signedView(j job, f wording.Format) (*signedView, error) {
	p, ok := j.signed.Payload.(*events.SignOff)
	if !ok {
		return nil, errors.New("show sign-off: the record is none")
	}
	s, unreadable, err := d.signedBy(j, j.signed)
	v := &signedView{Day: f.Day(j.signed.Day()), Role: p.Role, Remarks: p.Remarks, Name: s.Name, Typed: s.Typed,
		Lost: unreadable != nil}
	if erased := (*sealing.ErasedError)(nil); errors.As(unreadable, &erased) {
		v.Erased, v.Lost = f.Day(erased.Day), false
	}
	if strokes.MatchString(s.Drawn) {
		v.Drawn = s.Drawn
	}
	return v, err
}

// signByLink takes a sign-off through a link: JSON from the page's script, or its form.
func (d *desk) signByLink(c *gin.Context) {
	l, secret, ok := d.held(c)
	if !ok {
		return
	}
	s, script, err := readSigning(c)
	if err == nil && l.Purpose != ToSign {
		err = httpd.NewProblem(http.StatusForbidden, "this link is to read by, not to sign")
	}
	if err == nil {
		_, err = d.sign(c.Request.Context(), l.Firm, l.Job, "link "+l.ID, "/links/"+l.ID, s)
	}
	if !script && refused(err) {
		p, failed := d.linkPage(c, l, secret)
		d.refuse(c, p, s, err, failed)
		return
	}
	var copied string
	if err == nil {
		copied, err = d.deps.Links.Copy(c.Request.Context(), l, secret, s.ID)
	}
	if err != nil {
		httpd.Abort(c, err)
		return
	}
	if script {
		c.JSON(http.StatusOK, gin.H{"event": s.ID, "next": pathOf(copied)})
		return
	}
	c.Redirect(http.StatusSeeOther, pathOf(copied))
}

// readSigning reads what was sent; script is true for JSON.
func readSigning(c *gin.Context) (s Signing, script bool, err error) {
	switch c.ContentType() {
	case "application/json":
		d := json.NewDecoder(c.Request.Body)
		d.DisallowUnknownFields()
		if err := d.Decode(&s); err != nil {
			return s, true, malformed(err, "the sign-off cannot be read as JSON")
		}
		if _, err := d.Token(); !errors.Is(err, io.EOF) {
			return s, true, malformed(err, "something follows the sign-off")
		}
		return s, true, nil
	case "application/x-www-form-urlencoded":
		err := httpd.ReadForm(c.Request)
		return signingFrom(c.Request.PostForm), false, err
	}
	return s, false, httpd.NewProblem(http.StatusUnsupportedMediaType, "send the sign-off as a form or as "+
		"application/json")
}

// malformed says what is wrong with a body, unless it is too large.
func malformed(err error, detail string) error {
	if p := httpd.Problem(cmp.Or(err, errors.New(detail))); p.Status == http.StatusRequestEntityTooLarge {
		return p
	}
	return httpd.NewProblem(http.StatusBadRequest, detail)
}

func signingFrom(v url.Values) Signing {
	return Signing{ID: v.Get("id"), Name: v.Get("name"), Role: v.Get("role"), Remarks: v.Get("remarks"), Snags: v["snags"],
		Drawn: v.Get("drawn"), Typed: v.Get("typed") != ""}
}

// crewPage is the form on a phone of the crew, which the customer is handed.
func (d *desk) crewPage(c *gin.Context) {
	caller, err := httpd.RequireCaller(c.Request.Context())
	if err != nil {
		httpd.Abort(c, err)
		return
	}
	p, err := d.crewForm(c, caller)
	if err != nil {
		httpd.Abort(c, err)
		return
	}
	d.show(c, http.StatusOK, p)
}

func (d *desk) crewForm(c *gin.Context, caller httpd.Caller) (linkPage, error) {
	key := c.Param("job")
	p, j, err := d.jobPage(c, caller.Firm, key)
	if err == nil && !j.finished {
		p.Form = &formView{Action: c.Request.URL.Path, API: "/v1/jobs/" + url.PathEscape(key) + "/sign-off",
			Next: c.Request.URL.Path, Link: "crew-" + key}
		p.Form.Sent.ID, err = newID()
	}
	return p, err
}

// signByCrew takes the form of a phone without scripts.
func (d *desk) signByCrew(c *gin.Context) {
	caller, err := httpd.RequireCaller(c.Request.Context())
	var s Signing
	if err == nil {
		s, _, err = readSigning(c)
	}
	if err == nil {
		_, err = d.sign(c.Request.Context(), caller.Firm, c.Param("job"), caller.Name, "/sign-off", s)
	}
	if refused(err) {
		p, failed := d.crewForm(c, caller)
		d.refuse(c, p, s, err, failed)
		return
	}
	if err != nil {
		httpd.Abort(c, err)
		return
	}
	c.Redirect(http.StatusSeeOther, c.Request.URL.Path)
}

// refused reports whether what was sent can be put right in the form.
func refused(err error) bool {
	var refusal *events.Error
	return errors.As(err, &refusal) && refusal.Code == events.Invalid
}

// refuse shows the form again with what was sent, and why it was not taken. failed is
// why the form cannot be shown; nil where it can.
func (d *desk) refuse(c *gin.Context, p linkPage, s Signing, why, failed error) {
	if failed != nil {
		httpd.Abort(c, failed)
		return
	}
	if p.Form != nil {
		say := &texts.Speaker{Texts: d.deps.Frame.Texts(p.Language)}
		p.Form.Problem, p.Form.Foreign = httpd.Problem(why).Explain(say)
		p.Form.Sent = s
		p.Job.tick(s.Snags)
	}
	d.show(c, http.StatusUnprocessableEntity, p)
}
