package httpd

import (
	"context"
	"errors"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"github.com/gin-gonic/gin"

	"daysheet/events"
)

// Scope is what a token lets its holder do.
type Scope string

// The scopes. Reading and recording are apart: a phone that records what is done on site
// need not read what jobs cost, and a spreadsheet that reads cannot record. The admin
// scope includes both.
const (
	ScopeRead   Scope = "read"   // reports, jobs, charts, metrics
	ScopeRecord Scope = "record" // record what the crew records
	ScopeAdmin  Scope = "admin"  // everything
)

// Office stands for reading and recording together. It is no scope that is given to
// anybody: who has both does the work of the office, that is settings, rates, quotes,
// customers and what is agreed with them. A phone that was lost does none of it.
const Office Scope = "read and record"

// Scopes returns every scope that can be given.
func Scopes() []Scope { return []Scope{ScopeRead, ScopeRecord, ScopeAdmin} }

// Caller is who sent a request. The zero value may do nothing.
type Caller struct {
	Firm   string // the firm the credential speaks for
	Name   string // the name of the credential, kept with what it records
	Scopes []Scope
	Person bool // signed in by name and password; false for a token
}

// May reports whether the caller has one of the scopes, or the admin scope.
func (c Caller) May(anyOf ...Scope) bool {
	return slices.Contains(c.Scopes, ScopeAdmin) || slices.ContainsFunc(anyOf, c.has)
}

func (c Caller) has(s Scope) bool {
	if s == Office {
		return c.has(ScopeRead) && c.has(ScopeRecord)
	}
	return slices.Contains(c.Scopes, s)
}

type callerKey struct{}

// WithCaller returns a context for requests that the program sends to itself:
// they need no token. Nothing that comes in over the network can set it.
func WithCaller(ctx context.Context, c Caller) context.Context {
	return context.WithValue(ctx, callerKey{}, c)
}

// CallerFrom returns who sent the request; ok is false on an open route that was
// reached without a credential.
func CallerFrom(ctx context.Context) (c Caller, ok bool) {
	c, ok = ctx.Value(callerKey{}).(Caller)
	return c, ok
}

// RequireCaller is [CallerFrom] for handlers that act for somebody. It fails where the
// request has no caller, which is a fault of the program: their routes name a scope.
func RequireCaller(ctx context.Context) (Caller, error) {
	c, ok := CallerFrom(ctx)
	if !ok {
		return c, errors.New("the request has no caller")
	}
	return c, nil
}

// Require lets only callers with one of the scopes through to a route on the
// engine. Operations of the API name their scope in Metadata["scope"] instead.
func Require(anyOf ...Scope) gin.HandlerFunc {
	return func(c *gin.Context) {
		if caller, _ := CallerFrom(c.Request.Context()); !caller.May(anyOf...) {
			Abort(c, forbidden(caller, anyOf))
		}
	}
}

func forbidden(caller Caller, anyOf []Scope) *ProblemDetails {
	needed := joined(anyOf, " or ")
	detail := "the token has not the scope that this needs: " + needed
	if caller.Person { // who signed in by name has a role, and has never heard of scopes
		detail = "your role does not include this: an owner of the firm can change that"
	}
	return NewProblem(http.StatusForbidden, detail).
		About("scope", joined(caller.Scopes, ", "), "a token with the scope "+needed)
}

func joined(scopes []Scope, by string) string {
	names := make([]string, len(scopes))
	for i, s := range scopes {
		names[i] = string(s)
	}
	return strings.Join(names, by)
}

// openRoutes need no credential. The pages for set-up and pairing ask for one-time
// codes of their own.
var openRoutes = []string{"/livez", "/readyz", signInPath, signOutPath, setupPath, pairPath, iconPath}

func open(route string) bool {
	return slices.Contains(openRoutes, route) || strings.HasPrefix(route, assetsPath)
}

// Hold says that the address of a route is a credential of its own: whoever holds the
// link gets in, and nobody is signed in there. Such an address stands in no log, is told
// to no other site or page, and is not to be indexed. The route is written as it is
// registered on the engine. It is called before the server serves.
func (s *Server) Hold(route string) { s.held[route] = true }

// Open lets anybody reach a route, signed in or not. The route is written as it is
// registered on the engine. It is called before the server serves.
func (s *Server) Open(route string) { s.opened[route] = true }

// authenticate finds out who sent the request and stops those who may not go on.
func (s *Server) authenticate(c *gin.Context) {
	if _, ok := CallerFrom(c.Request.Context()); ok {
		return // the program itself, see WithCaller
	}
	if s.held[c.FullPath()] {
		s.allow(c, Caller{})
		return // another site cannot know the address, so that it cannot make a browser send it
	}
	caller, err := s.identify(c.Request)
	if err == nil {
		c.Request = c.Request.WithContext(WithCaller(c.Request.Context(), caller))
	}
	if !s.allow(c, caller) {
		return
	}
	switch {
	case err == nil, open(c.FullPath()), s.opened[c.FullPath()]:
	case errors.Is(err, errNoCredential) && wantsPage(c.Request):
		address := signInPath + "?" + url.Values{"next": {c.Request.URL.RequestURI()}}.Encode()
		c.Redirect(http.StatusSeeOther, address)
		c.Abort()
		return
	case isAccessError(err):
		c.Header("WWW-Authenticate", `Bearer realm="daysheet"`)
		Abort(c, NewProblem(http.StatusUnauthorized, err.Error()))
		return
	default:
		Abort(c, err)
		return
	}
	if c.GetHeader("Authorization") != "" {
		return
	}
	// A browser sends the cookie along with what another site makes it send.
	if err := s.crossOrigin.Check(c.Request); err != nil {
		Abort(c, NewProblem(http.StatusForbidden, "the request came from another site"))
	}
}

var errNoCredential = errors.New("a token is needed: send it as Authorization: Bearer, or sign in")

func isAccessError(err error) bool {
	return errors.Is(err, errNoCredential) || errors.Is(err, errTokenUnknown) || errors.Is(err, errTokenExpired) ||
		errors.Is(err, errTokenRevoked)
}

// identify reads the credential. A header goes before the cookie. A cookie that
// is not good any more counts as none, so that its owner can sign in again.
func (s *Server) identify(r *http.Request) (Caller, error) {
	if header := r.Header.Get("Authorization"); header != "" {
		scheme, secret, _ := strings.Cut(header, " ")
		if !strings.EqualFold(scheme, "Bearer") {
			return Caller{}, errTokenUnknown
		}
		return s.tokens.Authenticate(strings.TrimSpace(secret))
	}
	cookie, err := r.Cookie(cookieName)
	if err != nil {
		return Caller{}, errNoCredential
	}
	authenticate := s.tokens.Authenticate
	if s.people != nil && strings.HasPrefix(cookie.Value, sessionPrefix) {
		authenticate = s.people.Authenticate
	}
	caller, err := authenticate(cookie.Value)
	if isAccessError(err) {
		return Caller{}, errNoCredential
	}
	return caller, err
}

// wantsPage reports whether the request is a person's browser opening a page.
func wantsPage(r *http.Request) bool {
	return r.Method == http.MethodGet && readsPages(r)
}

// validFirm refuses a firm key that could not stand in an address or a subject.
func validFirm(firm string) error {
	if !events.ValidToken(firm) {
		return events.Refuse("firm", firm, events.TokenRule)
	}
	return nil
}
