package httpd

import (
	"bytes"
	_ "embed"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"time"

	"github.com/gin-gonic/gin"

	"daysheet/services/texts"
)

const (
	signInPath  = "/sign-in"
	signOutPath = "/sign-out"
	setupPath   = "/setup"
	assetsPath  = "/assets/"
	iconPath    = "/favicon.ico"
	cookieName  = "daysheet"

	stayedSignedIn = 180 * 24 * time.Hour
)

// addPages adds the pages that lead in.
func (s *Server) addPages() {
	s.Engine.GET(signInPath, s.signInPage)
	s.Engine.POST(signInPath, s.signIn)
	s.Engine.POST(signOutPath, s.signOut)
	if s.onSetup != nil {
		s.Engine.GET(setupPath, s.setupPage)
		s.Engine.POST(setupPath, s.setUp)
	}
	s.Engine.GET(assetsPath+"httpd.css", func(c *gin.Context) {
		c.Header("Cache-Control", "public, max-age=300")
		c.Data(http.StatusOK, "text/css; charset=utf-8", []byte(colours+styles))
	})
	// Browsers ask for it by themselves. Pages that have an icon name its address.
	s.Engine.GET(iconPath, func(c *gin.Context) {
		c.Header("Cache-Control", "public, max-age=86400")
		c.Status(http.StatusNoContent)
	})
}

//go:embed assets/httpd.css
var styles string

//go:embed assets/colours.css
var colours string

// Colours returns the style sheet that names the colours of every page, light and
// dark. Other style sheets are served behind it.
func Colours() []byte { return []byte(colours) }

// signInForm is what the sign-in page shows.
type signInForm struct {
	Next    string // where to go on to
	Problem string // why the last try failed; empty at first
	Wrong   bool   // the last try was a token that is not good
	Empty   bool   // nobody has access yet

	Named     bool   // people sign in by name and password
	Name      string // as it was typed in the last try
	WrongName bool   // the last try was a name and a password that do not fit
}

func (s *Server) signInPage(c *gin.Context) {
	code, next := c.Query("code"), localAddress(c.Query("next"))
	if secret := s.signInByCode(code); secret != "" {
		if err := s.recordSignIn(c.Request.Context(), secret); err != nil {
			Abort(c, err)
			return
		}
		s.setCookie(c, secret, 0)
		c.Redirect(http.StatusSeeOther, next)
		return
	}
	form, status := signInForm{Next: next, Empty: s.nobody(), Named: s.hasPeople()}, http.StatusOK
	if code != "" {
		if _, signedIn := CallerFrom(c.Request.Context()); signedIn {
			c.Redirect(http.StatusSeeOther, next)
			return
		}
		status = http.StatusForbidden
		form.Problem = "signin.dead-link"
	}
	s.signInAgain(c, status, form)
}

// signInAgain shows the sign-in page with a problem, which is a key of package texts with
// its values, in pairs of name and value.
func (s *Server) signInAgain(c *gin.Context, status int, form signInForm, values ...string) {
	say := s.speaker(c.Request)
	if form.Problem != "" {
		form.Problem = say.Say(form.Problem, values...)
	}
	if say.Err != nil {
		Abort(c, say.Err)
		return
	}
	s.page(c, status, "sign-in.html", form)
}

// signIn takes a name with its password, or a token and puts it into the cookie.
func (s *Server) signIn(c *gin.Context) {
	if !s.readForm(c) {
		return
	}
	next := localAddress(c.PostForm("next"))
	if s.people != nil && c.PostForm("name") != "" {
		s.signInByName(c, next)
		return
	}
	secret := strings.TrimSpace(c.PostForm("token"))
	_, err := s.tokens.Authenticate(secret)
	if isAccessError(err) {
		why, _ := s.speaker(c.Request).Rule(err.Error())
		s.signInAgain(c, http.StatusUnauthorized, signInForm{Next: next, Problem: "signin.again", Wrong: true,
			Named: s.hasPeople()}, "why", Sentence(why))
		return
	}
	if err != nil {
		Abort(c, err)
		return
	}
	var lasts time.Duration
	if c.PostForm("stay") != "" {
		lasts = stayedSignedIn
	}
	s.setCookie(c, secret, lasts)
	c.Redirect(http.StatusSeeOther, next)
}

func (s *Server) signOut(c *gin.Context) {
	if cookie, err := c.Request.Cookie(cookieName); err == nil && s.people != nil &&
		strings.HasPrefix(cookie.Value, sessionPrefix) {
		if err := s.people.SignOut(cookie.Value); err != nil {
			Abort(c, err)
			return
		}
	}
	s.setCookie(c, "", -time.Second)
	c.Redirect(http.StatusSeeOther, signInPath)
}

// setCookie puts a secret into the browser: until it is closed where lasts is 0,
// not at all where it is negative.
func (s *Server) setCookie(c *gin.Context, secret string, lasts time.Duration) {
	http.SetCookie(c.Writer, &http.Cookie{
		Name: cookieName, Value: secret, Path: "/", MaxAge: int(lasts.Seconds()),
		HttpOnly: true, SameSite: http.SameSiteStrictMode, Secure: s.secure || c.Request.TLS != nil,
	})
}

// readForm reads a form of ours, or answers with what is wrong with it.
func (s *Server) readForm(c *gin.Context) bool {
	if c.ContentType() != "application/x-www-form-urlencoded" {
		Abort(c, NewProblem(http.StatusUnsupportedMediaType, "send the form as application/x-www-form-urlencoded"))
		return false
	}
	if err := ReadForm(c.Request); err != nil {
		Abort(c, err)
		return false
	}
	return true
}

// ReadForm reads the form of a request into its PostForm. One that cannot be read is a
// problem of who sent it.
func ReadForm(r *http.Request) error { return FormError(r.ParseForm()) }

// FormError returns what reading a form failed with as the problem that it is; nil for nil.
func FormError(err error) error {
	if tooLarge := (*http.MaxBytesError)(nil); err == nil || errors.As(err, &tooLarge) {
		return err
	}
	return NewProblem(http.StatusBadRequest, "the form cannot be read")
}

// speaker returns who says what a page says to the sender of a request: in the language
// of the firm of who is signed in, else in the one that the browser prefers.
func (s *Server) speaker(r *http.Request) *texts.Speaker {
	if caller, _ := CallerFrom(r.Context()); s.Speaks != nil && caller.Firm != "" {
		return &texts.Speaker{Texts: s.Speaks(r.Context(), caller.Firm)}
	}
	return &texts.Speaker{Texts: s.catalogue.Accepted(r.Header.Get("Accept-Language"))}
}

// page renders whole before it answers, so that a fault never leaves half a page.
func (s *Server) page(c *gin.Context, status int, name string, content any) {
	var b bytes.Buffer
	language := s.speaker(c.Request).Language()
	if err := s.pages[language].ExecuteTemplate(&b, name, content); err != nil {
		Abort(c, fmt.Errorf("render %s: %w", name, err))
		return
	}
	c.Data(status, "text/html; charset=utf-8", b.Bytes())
}

// localAddress returns address if it leads into this server, and the start page
// otherwise: the sign-in page must not forward to another site.
func localAddress(address string) string {
	u, err := url.Parse(address)
	if err != nil || u.Scheme != "" || u.Host != "" || strings.ContainsAny(address, "\\\r\n\t") {
		return "/"
	}
	if !strings.HasPrefix(u.Path, "/") || strings.HasPrefix(u.Path, "//") || strings.HasPrefix(u.Path, signInPath) {
		return "/"
	}
	return u.RequestURI()
}
