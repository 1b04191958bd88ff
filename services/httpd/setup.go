package httpd

import (
	"errors"
	"net/http"
	"net/url"
	"strings"

	"github.com/gin-gonic/gin"

	"daysheet/events"
	"daysheet/services/texts"
)

// firstToken is the name of the token that set-up makes.
const firstToken = "first admin"

// SetupLink returns the address that sets up the first firm, for the program to
// print where only the owner sees it. It holds a one-time code that lives in
// memory alone and is dead once the firm is set up; asking again makes a new
// code. It is empty where a token exists already, or where there is no OnSetup.
func (s *Server) SetupLink(base string) string {
	s.setupLock.Lock()
	defer s.setupLock.Unlock()
	s.setupCode = ""
	if s.onSetup == nil || !s.nobody() {
		return ""
	}
	s.setupCode = randomText(secretBytes)
	return strings.TrimRight(base, "/") + setupPath + "?" + url.Values{"code": {s.setupCode}}.Encode()
}

// setupOpen reports whether the code is that of the open link. The lock is held.
// A token that was made in the meantime closes the link too.
func (s *Server) setupOpen(code string) bool {
	return s.setupCode != "" && equalSecrets(code, s.setupCode) && s.nobody()
}

func deadLink() *ProblemDetails {
	p := NewProblem(http.StatusForbidden, "this set-up link is not valid, or was used before; "+
		"the server prints a new one when it starts and nobody has access yet")
	p.heading = "setup.dead-link"
	return p
}

func (s *Server) setupPage(c *gin.Context) {
	s.setupLock.Lock()
	valid := s.setupOpen(c.Query("code"))
	s.setupLock.Unlock()
	if !valid {
		Abort(c, deadLink())
		return
	}
	say := s.speaker(c.Request)
	form := newSetupForm(say, func(field string) string { return setupDefault(say, field) })
	form.Code = c.Query("code")
	s.page(c, http.StatusOK, "setup.html", form)
}

// setupDone is what is shown once, at the end.
type setupDone struct {
	Firm, Name, Token string
}

// setUp creates the firm and its first token. The lock is held throughout, so
// that two who press the button at once do not make two firms.
func (s *Server) setUp(c *gin.Context) {
	if !s.readForm(c) {
		return
	}
	s.setupLock.Lock()
	defer s.setupLock.Unlock()
	if !s.setupOpen(c.PostForm("code")) {
		Abort(c, deadLink())
		return
	}
	say := s.speaker(c.Request)
	form := newSetupForm(say, func(field string) string { return strings.TrimSpace(c.PostForm(field)) })
	form.Code = s.setupCode
	firm, settings, refused := form.read()
	if say.Language() != texts.English {
		settings.Locale = say.Language() // the pages go on in the language in which the firm was set up
	}
	var err error
	if len(refused) == 0 {
		err = s.onSetup(c.Request.Context(), firm, settings)
	}
	var refusal *events.Error
	if errors.As(err, &refusal) && refusal.Code == events.Invalid {
		refused = append(refused, refusal)
	}
	if len(refused) > 0 {
		form.show(say, refused)
		s.page(c, http.StatusUnprocessableEntity, "setup.html", form)
		return
	}
	if err != nil {
		Abort(c, err)
		return
	}
	secret, err := s.tokens.Add(c.Request.Context(), "set-up", Token{Firm: firm, Name: firstToken,
		Scopes: []Scope{ScopeAdmin}})
	if err != nil {
		Abort(c, err)
		return
	}
	s.setupCode = ""
	s.setCookie(c, secret, 0)
	s.page(c, http.StatusOK, "setup-done.html", setupDone{Firm: firm, Name: settings.Name, Token: secret})
}
