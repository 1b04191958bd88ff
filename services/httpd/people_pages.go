package httpd

import (
	"errors"
	"net/http"
	"strings"
	"time"

	"github.com/gin-gonic/gin"

	"daysheet/events"
)

const passwordPath = "/password"

// Tries to sign in by name from one address, whatever the name: hashing takes time and
// memory.
const (
	signInEvery = 5 * time.Second
	signInBurst = 30
)

// addPeople adds the page on which people change their passwords.
func (s *Server) addPeople() {
	if s.people == nil {
		return
	}
	s.Engine.GET(passwordPath, s.onlyPeople, func(c *gin.Context) {
		s.page(c, http.StatusOK, "password.html",
			passwordForm{})
	})
	s.Engine.POST(passwordPath, s.onlyPeople, s.setPassword)
}

// onlyPeople stops programs: a token has no password.
func (s *Server) onlyPeople(c *gin.Context) {
	if caller, _ := CallerFrom(c.Request.Context()); !caller.Person {
		Abort(c, NewProblem(http.StatusForbidden, "only who signed in by name has a password to change"))
	}
}

// hasPeople reports whether anybody signs in by name. What is wrong with the file is said
// to those who try.
func (s *Server) hasPeople() bool {
	if s.people == nil {
		return false
	}
	list, _ := s.people.List()
	return len(list) > 0
}

// nobody reports whether nobody has access yet.
func (s *Server) nobody() bool { return len(s.tokens.List()) == 0 && !s.hasPeople() }

// signInByName takes name and password and begins a session.
func (s *Server) signInByName(c *gin.Context, next string) {
	name := strings.TrimSpace(c.PostForm("name"))
	form := signInForm{Next: next, Named: true, Name: name, WrongName: true}
	if delay := s.signIns.Wait(c.ClientIP()); delay > 0 {
		form.Problem = "signin.too-many"
		c.Header("Retry-After", seconds(delay))
		s.signInAgain(c, http.StatusTooManyRequests, form)
		return
	}
	secret, lasts, wait, err := s.people.SignIn(c.Request.Context(), name, c.PostForm("password"), c.ClientIP(),
		c.PostForm("stay") != "")
	switch {
	case wait > 0:
		form.Problem = "signin.held-up"
		c.Header("Retry-After", seconds(wait))
		s.signInAgain(c, http.StatusTooManyRequests, form, "seconds", seconds(wait))
	case errors.Is(err, errWrongPassword):
		form.Problem = "signin.wrong"
		s.signInAgain(c, http.StatusUnauthorized, form)
	case err != nil:
		Abort(c, err)
	default:
		if c.PostForm("stay") == "" {
			lasts = 0 // the browser forgets it when it is closed; the server in its own time
		}
		s.setCookie(c, secret, lasts)
		c.Redirect(http.StatusSeeOther, next)
	}
}

// passwordForm is what the page of the password shows.
type passwordForm struct{ Problem string }

// setPassword changes the password of who is signed in. Every session ends with it, this
// one too.
func (s *Server) setPassword(c *gin.Context) {
	if !s.readForm(c) {
		return
	}
	caller, _ := CallerFrom(c.Request.Context())
	// The right to sit at a browser that is signed in is not the right to the password.
	secret, _, wait, err := s.people.SignIn(c.Request.Context(), caller.Name, c.PostForm("current"), c.ClientIP(), false)
	if wait > 0 || errors.Is(err, errWrongPassword) {
		say := s.speaker(c.Request)
		s.page(c, http.StatusUnprocessableEntity, "password.html", passwordForm{say.Say("password.current-wrong")})
		return
	}
	if err == nil {
		err = s.people.SignOut(secret)
	}
	if err == nil {
		err = s.people.SetPassword(c.Request.Context(), caller.Name, caller.Firm, caller.Name, c.PostForm("new"))
	}
	var refusal *events.Error
	if errors.As(err, &refusal) && refusal.Code == events.Invalid {
		rule, _ := s.speaker(c.Request).Rule(refusal.Rule)
		s.page(c, http.StatusUnprocessableEntity, "password.html", passwordForm{Sentence(rule)})
		return
	}
	if err != nil {
		Abort(c, err)
		return
	}
	s.setCookie(c, "", -time.Second)
	c.Redirect(http.StatusSeeOther, signInPath)
}
