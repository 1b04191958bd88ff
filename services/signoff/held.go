package signoff

import (
	"net/http"

	"github.com/gin-gonic/gin"

	"daysheet/services/httpd"
	"daysheet/services/texts"
)

// held returns the link that a request came by. Where there is none that can be used it
// answers, and ok is false.
func (d *desk) held(c *gin.Context) (l Link, secret string, ok bool) {
	secret = c.Param("secret")
	l, standing, err := d.deps.Links.Find(secret)
	if err != nil {
		httpd.Abort(c, err)
		return l, "", false
	}
	if standing == Holds {
		return l, secret, true
	}
	status, why := http.StatusGone, "link.revoked"
	switch standing {
	case Ended:
		why = "link.ended"
	case Unknown:
		status, why = http.StatusNotFound, "link.unknown"
		if delay := d.guesses.Wait(c.ClientIP()); delay > 0 {
			httpd.Abort(c, httpd.TooMany(delay, "too many links that do not exist were tried from here; wait a little"))
			return l, "", false
		}
	}
	d.dead(c, status, why)
	return l, "", false
}

// dead says why a link opens nothing: a program in English, a reader in the language that
// the browser asks for.
func (d *desk) dead(c *gin.Context, status int, why string) {
	script := c.ContentType() == "application/json"
	s := texts.Speaker{Texts: d.deps.Frame.Accepted(c.GetHeader("Accept-Language"))}
	if script {
		s.Texts = d.deps.Frame.Texts(texts.English)
	}
	p := linkPage{Language: s.Language(), Title: s.Say("link.dead"), Dead: s.Say(why),
		Request: httpd.RequestIDFrom(c.Request.Context())}
	switch {
	case s.Err != nil:
		httpd.Abort(c, s.Err)
	case script:
		httpd.Abort(c, httpd.NewProblem(status, p.Dead))
	default:
		d.show(c, status, p)
	}
}
