package httpd

import (
	"net/http"
	"net/url"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/gin-gonic/gin"

	"daysheet/events"
)

const (
	pairPath = "/pair"

	offerLasts = 15 * time.Minute     // a pairing link that nobody used
	offersMost = 256                  // links open at one time
	pairedFor  = 400 * 24 * time.Hour // as long as browsers keep a cookie at most
)

// Pairing hands tokens to devices by links that work once. What is open is kept in
// memory alone: after a restart the office makes a new link. All methods are safe
// for concurrent use.
type Pairing struct {
	server *Server
	next   string // where a paired device goes on to
	now    func() time.Time

	mu     sync.Mutex
	offers map[string]offer // by code
}

// offer is an open link.
type offer struct {
	token Token
	by    string // who made the link
	ends  time.Time
}

// NewPairing adds the page that pairing links open. A device that was paired goes
// on to the address next. It is called once, before the server serves.
func (s *Server) NewPairing(next string) *Pairing {
	p := &Pairing{server: s, next: next, now: time.Now, offers: map[string]offer{}}
	s.Engine.GET(pairPath, p.page)
	s.Engine.POST(pairPath, p.pair)
	return p
}

// Link returns an address that gives the token to the first device that confirms
// it, and when it ends unused. base is the address under which devices reach the
// server, by the name of who made the link. An open link for the same name stops working. A name that the firm has
// used is refused: it stands beside what was recorded.
func (p *Pairing) Link(base, by string, token Token) (link string, ends time.Time, err error) {
	now := p.now()
	if err := checkToken(token, now); err != nil {
		return "", time.Time{}, err
	}
	used := func(t Token) bool { return t.Firm == token.Firm && t.Name == token.Name }
	if slices.ContainsFunc(p.server.tokens.List(), used) {
		return "", time.Time{}, events.Refuse("name", token.Name, "the firm has had a token of this name; choose another")
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	for code, o := range p.offers {
		if !now.Before(o.ends) || used(o.token) {
			delete(p.offers, code)
		}
	}
	if len(p.offers) >= offersMost {
		return "", time.Time{}, &events.Error{Code: events.Unavailable, Field: "name", Value: token.Name,
			Rule: "too many pairing links are open; try again when some have ended"}
	}
	code := randomText(secretBytes)
	ends = now.Add(offerLasts)
	p.offers[code] = offer{token, by, ends}
	return strings.TrimRight(base, "/") + pairPath + "?" + url.Values{"code": {code}}.Encode(), ends, nil
}

// AddressOf returns the address under which the browser that sent a form reaches
// the server: its origin, which a proxy leaves as it is, else what the request says.
func (p *Pairing) AddressOf(r *http.Request) string {
	if origin := r.Header.Get("Origin"); origin != "" && origin != "null" {
		return origin
	}
	if p.server.secure || r.TLS != nil {
		return "https://" + r.Host
	}
	return "http://" + r.Host
}

// pairForm is what the page of a link shows. Name is empty where the link is dead.
type pairForm struct{ Code, Name string }

// page asks before it pairs: a program that looks at links must not use them up.
func (p *Pairing) page(c *gin.Context) {
	code := c.Query("code")
	p.mu.Lock()
	o, ok := p.open(code)
	p.mu.Unlock()
	if !ok {
		p.dead(c)
		return
	}
	p.server.page(c, http.StatusOK, "pair.html", pairForm{code, o.token.Name})
}

func (p *Pairing) dead(c *gin.Context) {
	p.server.page(c, http.StatusForbidden, "pair.html", pairForm{})
}

// open returns the offer of a code. The lock is held.
func (p *Pairing) open(code string) (found offer, ok bool) {
	for known, o := range p.offers {
		if equalSecrets(known, code) && p.now().Before(o.ends) {
			found, ok = o, true
		}
	}
	return found, ok
}

// pair makes the token and stores it in the device. The lock is held throughout, so
// that of two devices only one is paired.
func (p *Pairing) pair(c *gin.Context) {
	if !p.server.readForm(c) {
		return
	}
	code := c.PostForm("code")
	p.mu.Lock()
	defer p.mu.Unlock()
	o, ok := p.open(code)
	if !ok {
		p.dead(c)
		return
	}
	secret, err := p.server.tokens.Add(c.Request.Context(), o.by, o.token)
	if err != nil {
		Abort(c, err)
		return
	}
	delete(p.offers, code)
	p.server.setCookie(c, secret, pairedFor)
	c.Redirect(http.StatusSeeOther, p.next)
}
