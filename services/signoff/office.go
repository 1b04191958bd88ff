package signoff

import (
	"errors"
	"net/http"
	"slices"
	"strconv"
	"time"

	"github.com/gin-gonic/gin"

	"daysheet/events"
	"daysheet/services/httpd"
	"daysheet/services/pages"
	"daysheet/services/texts"
	"daysheet/services/wording"
)

// linksAt is where the office makes and takes back the links of a job.
const linksAt = "/jobs/:job/links"

// linksPage is the page of a job's links.
type linksPage struct {
	Job, Title string
	Links      []linkRow
	Made       string // address of the link that was just made
	Problem    error  // why what was sent was refused; nil where it was not
	Refused    string
	Foreign    bool // it is said in English on a page that is not
	Days       string
	Purposes   []pages.Choice
}

type linkRow struct {
	ID, Purpose, By, Day, State string
	Holds                       bool
}

func (d *desk) mountOffice(engine *gin.Engine) {
	office := engine.Group("", httpd.Require(httpd.Office))
	office.GET(linksAt, d.deps.Frame.Handler(func(v pages.Visit) (pages.Page, error) {
		return d.links(v, linksPage{Days: "14"}, ToSign)
	}))
	office.POST(linksAt, d.makeByForm)
	office.POST(linksAt+"/:link/revoke", d.revokeByForm)
}

func (d *desk) visit(c *gin.Context) (pages.Visit, error) {
	caller, err := httpd.RequireCaller(c.Request.Context())
	if err == nil {
		err = httpd.ReadForm(c.Request)
	}
	return pages.Visit{Context: c.Request.Context(), Caller: caller, Firm: caller.Firm, Param: c.Param}, err
}

func (d *desk) makeByForm(c *gin.Context) {
	v, err := d.visit(c)
	if err != nil {
		httpd.Abort(c, err)
		return
	}
	shown := linksPage{Days: c.PostForm("days")}
	purpose := Purpose(c.PostForm("purpose"))
	days, err := strconv.Atoi(shown.Days)
	if err != nil {
		err = events.Refuse("days", shown.Days, "a whole number from 1 to 400")
	}
	var secret string
	if err == nil {
		_, secret, err = d.newLink(v, v.Caller, c.Param("job"), purpose, days)
	}
	status := http.StatusOK
	var refused *events.Error
	switch {
	case err == nil:
		shown.Made = d.addressOf(c.Request) + pathOf(secret)
	case errors.As(err, &refused) && refused.Code == events.Invalid:
		shown.Problem, status = err, http.StatusUnprocessableEntity
	default:
		httpd.Abort(c, err)
		return
	}
	page, err := d.links(v, shown, purpose)
	if err != nil {
		httpd.Abort(c, err)
		return
	}
	page.Status = status
	d.deps.Frame.Show(c, v, page)
}

// addressOf returns the address under which people reach the server: the one that was
// given, else the one that the browser of the office used.
func (d *desk) addressOf(r *http.Request) string {
	if d.base != "" {
		return d.base
	}
	if origin := r.Header.Get("Origin"); origin != "" && origin != "null" {
		return origin
	}
	if r.TLS != nil {
		return "https://" + r.Host
	}
	return "http://" + r.Host
}

func (d *desk) revokeByForm(c *gin.Context) {
	v, err := d.visit(c)
	if err == nil {
		_, err = d.deps.Links.Revoke(v, v.Caller.Name, v.Firm, c.Param("job"), c.Param("link"))
	}
	if err != nil {
		httpd.Abort(c, err)
		return
	}
	c.Redirect(http.StatusSeeOther, "/jobs/"+c.Param("job")+"/links")
}

// links makes the page.
func (d *desk) links(v pages.Visit, shown linksPage, chosen Purpose) (pages.Page, error) {
	j, err := d.read(v, v.Firm, v.Param("job"))
	if err != nil {
		return pages.Page{}, err
	}
	all, err := d.deps.Links.OfJob(v.Firm, j.key)
	if err != nil {
		return pages.Page{}, err
	}
	names, err := d.deps.Names(v, v.Firm)
	if err != nil {
		return pages.Page{}, err
	}
	f, said := wording.NewFormat(names), &texts.Speaker{Texts: d.deps.Frame.Texts(names.Locale)}
	if shown.Problem != nil {
		shown.Refused, shown.Foreign = httpd.Problem(shown.Problem).Explain(said)
	}
	on := func(t time.Time) string { return f.Day(events.DayOf(names.Local(t))) }
	shown.Job, shown.Title = j.key, j.opening.Title
	shown.Purposes = []pages.Choice{{Key: string(ToSign), Name: said.Say("links.to-sign"), Chosen: chosen != ToRead},
		{Key: string(ToRead), Name: said.Say("links.to-read"), Chosen: chosen == ToRead}}
	for _, l := range slices.Backward(all) {
		row := linkRow{ID: l.ID, Purpose: shown.Purposes[0].Name, By: l.CreatedBy, Day: on(l.Created)}
		if l.Purpose == ToRead {
			row.Purpose = shown.Purposes[1].Name
		}
		switch d.body(l).Standing {
		case string(Holds):
			row.State, row.Holds = said.Say("links.until", "day", on(l.Expires)), true
		case string(Ended):
			row.State = said.Say("links.ended", "day", on(l.Expires))
		default:
			row.State = said.Say("links.revoked", "day", on(l.Revoked))
		}
		shown.Links = append(shown.Links, row)
	}
	return pages.Page{Name: "links.html", Title: said.Say("links.title"), Body: shown, Texts: said.Texts,
		Crumbs: []pages.Link{
			{Text: said.Say("nav.jobs"), Address: "/"}, {Text: shown.Title, Address: "/jobs/" + j.key},
			{Text: said.Say("links.crumb")}}}, said.Err
}
