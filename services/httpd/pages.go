package httpd

import (
	"bytes"
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"time"

	"github.com/gin-gonic/gin"
)

const (
	signInPath  = "/sign-in"
	signOutPath = "/sign-out"
	setupPath   = "/setup"
	assetsPath  = "/assets/"
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
		c.FileFromFS("assets/httpd.css", http.FS(files))
	})
}

// signInForm is what the sign-in page shows.
type signInForm struct {
	Next    string // where to go on to
	Problem string // why the last try failed; empty at first
	Empty   bool   // nobody has access yet
}

func (s *Server) signInPage(c *gin.Context) {
	if secret := s.signInByCode(c.Query("code")); secret != "" {
		s.setCookie(c, secret, 0)
		c.Redirect(http.StatusSeeOther, localAddress(c.Query("next")))
		return
	}
	s.page(c, http.StatusOK, "sign-in.html", signInForm{
		Next: localAddress(c.Query("next")), Empty: len(s.tokens.List()) == 0,
	})
}

// signIn takes a token and puts it into the cookie.
func (s *Server) signIn(c *gin.Context) {
	if !s.readForm(c) {
		return
	}
	next := localAddress(c.PostForm("next"))
	secret := strings.TrimSpace(c.PostForm("token"))
	_, err := s.tokens.Authenticate(secret)
	if isAccessError(err) {
		problem := strings.ToUpper(err.Error()[:1]) + err.Error()[1:] + "."
		s.page(c, http.StatusUnauthorized, "sign-in.html", signInForm{Next: next, Problem: problem})
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
	if err := c.Request.ParseForm(); err != nil {
		p := Problem(err)
		if p.Status != http.StatusRequestEntityTooLarge {
			p = NewProblem(http.StatusBadRequest, "the form cannot be read")
		}
		Abort(c, p)
		return false
	}
	return true
}

// page renders whole before it answers, so that a fault never leaves half a page.
func (s *Server) page(c *gin.Context, status int, name string, content any) {
	var b bytes.Buffer
	if err := s.pages.ExecuteTemplate(&b, name, content); err != nil {
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
