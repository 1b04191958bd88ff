package crew

import (
	"errors"
	"fmt"
	"html/template"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"github.com/gin-gonic/gin"

	"daysheet/events"
	"daysheet/services/httpd"
	"daysheet/services/pages"
	"daysheet/services/texts"
	"daysheet/services/wording"
)

// phonesBody is the office's page of phones.
type phonesBody struct {
	Name    string // as it was typed
	Problem string // why no code could be made; empty where there is none
	Foreign bool   // and is said in English on a page that is not
	Offer   *offerBody
	Phones  []phoneBody
	Gone    []phoneBody // access was taken away
}

// offerBody is a code to be scanned once.
type offerBody struct {
	Name, Link, Ends string
	Code             template.HTML // drawing of the code
	Warning          string        // why a phone may not reach the address
}

type phoneBody struct{ Name, Paired, Used, Revoked string }

func (c *crew) phonesPage(g *gin.Context) { c.showPhones(g, http.StatusOK, phonesBody{}) }

// showPhones adds the list of phones and renders the page whole.
func (c *crew) showPhones(g *gin.Context, status int, body phonesBody) {
	caller, _ := httpd.CallerFrom(g.Request.Context())
	names, err := c.deps.Names(g.Request.Context(), caller.Firm)
	if err != nil {
		httpd.Abort(g, fmt.Errorf("read names: %w", err))
		return
	}
	format := wording.NewFormat(names)
	if body.Problem != "" {
		said, ok := c.deps.Frame.Texts(names.Locale).Rule(body.Problem)
		body.Problem, body.Foreign = said, !ok
	}
	moment := func(t time.Time) string {
		if t.IsZero() {
			return ""
		}
		at := names.Local(t)
		return format.Day(events.DayOf(at)) + " " + at.Format("15:04")
	}
	for _, t := range c.deps.Tokens.List() {
		if t.Firm != caller.Firm || !t.Phone() {
			continue
		}
		p := phoneBody{t.Name, moment(t.Created), moment(t.LastUsed), moment(t.Revoked)}
		if t.Revoked.IsZero() {
			body.Phones = append(body.Phones, p)
		} else {
			body.Gone = append(body.Gone, p)
		}
	}
	visit := pages.Visit{Context: g.Request.Context(), Caller: caller, Firm: caller.Firm}
	said := c.deps.Frame.Texts(names.Locale)
	title, err := said.Say("phones.title")
	if err != nil {
		httpd.Abort(g, err)
		return
	}
	c.deps.Frame.Show(g, visit, pages.Page{Name: "phones.html", Title: title, Status: status, Body: body, Texts: said})
}

// addPhone shows a code that pairs one phone.
func (c *crew) addPhone(g *gin.Context) {
	caller, _ := httpd.CallerFrom(g.Request.Context())
	name := strings.TrimSpace(g.PostForm("name"))
	base := c.pairing.AddressOf(g.Request)
	link, ends, err := c.pairing.Link(base, caller.Name,
		httpd.Token{Firm: caller.Firm, Name: name, Scopes: []httpd.Scope{httpd.ScopeRecord}})
	var refusal *events.Error
	if errors.As(err, &refusal) && refusal.Code == events.Invalid {
		c.showPhones(g, http.StatusUnprocessableEntity, phonesBody{Name: name, Problem: refusal.Rule})
		return
	}
	if err != nil {
		httpd.Abort(g, err)
		return
	}
	names, err := c.deps.Names(g.Request.Context(), caller.Firm)
	if err != nil {
		httpd.Abort(g, fmt.Errorf("read names: %w", err))
		return
	}
	say := &texts.Speaker{Texts: c.deps.Frame.Texts(names.Locale)}
	offer := &offerBody{Name: name, Link: link, Ends: names.Local(ends).Format("15:04"), Warning: unreachable(base, say)}
	offer.Code, err = drawCode(link, say.Say("phones.code"))
	if err = errors.Join(err, say.Err); err != nil {
		httpd.Abort(g, err)
		return
	}
	c.showPhones(g, http.StatusOK, phonesBody{Offer: offer})
}

// unreachable says why phones may not be able to use an address; empty where they
// can. Browsers keep pages for use without a connection only over TLS, or on the
// machine itself.
func unreachable(base string, say *texts.Speaker) string {
	u, err := url.Parse(base)
	switch {
	case err != nil:
		return say.Say("phones.address.unreadable", "address", base)
	case slices.Contains([]string{"localhost", "127.0.0.1", "::1"}, u.Hostname()):
		return say.Say("phones.address.own")
	case u.Scheme != "https":
		return say.Say("phones.address.plain")
	}
	return ""
}

// revokePhone takes a phone's access away.
func (c *crew) revokePhone(g *gin.Context) {
	caller, _ := httpd.CallerFrom(g.Request.Context())
	name := g.PostForm("name")
	held := func(t httpd.Token) bool { return t.Firm == caller.Firm && t.Name == name && t.Phone() }
	if !slices.ContainsFunc(c.deps.Tokens.List(), held) {
		httpd.Abort(g, &events.Error{Code: events.NotFound, Field: "name", Value: name, Rule: "the firm has no such phone"})
		return
	}
	if err := c.deps.Tokens.Revoke(g.Request.Context(), caller.Name, caller.Firm, name); err != nil {
		httpd.Abort(g, err)
		return
	}
	g.Redirect(http.StatusSeeOther, phonesAt)
}
