package httpd

import (
	"bytes"
	"fmt"
	"net/http"
	"strings"

	"github.com/gin-gonic/gin"
)

// problemPage is what a person is shown of a problem.
type problemPage struct {
	Heading, Detail, Request string
	Foreign                  bool // the detail is said in English
}

// pageKey is where a request carries what shows its problems as pages.
const pageKey = "daysheet/problem page"

type showProblem func(*http.Request, *ProblemDetails) ([]byte, error)

// showProblems lets [Abort] answer a browser with a page.
func (s *Server) showProblems(c *gin.Context) { c.Set(pageKey, showProblem(s.showProblem)) }

// showProblem renders a problem. Who is signed in gets the page of the site, who
// is not gets one that leads nowhere but in.
func (s *Server) showProblem(r *http.Request, p *ProblemDetails) ([]byte, error) {
	if _, signedIn := CallerFrom(r.Context()); signedIn && s.ProblemPage != nil {
		return s.ProblemPage(r, p)
	}
	var b bytes.Buffer
	say := s.speaker(r)
	content := problemPage{Heading: p.Heading(say), Request: RequestIDFrom(r.Context())}
	content.Detail, content.Foreign = p.Explain(say)
	if err := s.pages[say.Language()].ExecuteTemplate(&b, "problem.html", content); err != nil {
		return nil, fmt.Errorf("render problem: %w", err)
	}
	return b.Bytes(), nil
}

// answerWithPage shows the problem to who reads pages. ok is false where the
// request is a program's, or the page cannot be made: the problem goes out as JSON
// then.
func answerWithPage(c *gin.Context, p *ProblemDetails) (ok bool) {
	show, ok := c.Value(pageKey).(showProblem)
	if !ok || !readsPages(c.Request) {
		return false
	}
	body, err := show(c.Request, p)
	if err != nil {
		_ = c.Error(err) // hands it to the access log and returns it again
		return false
	}
	c.Data(p.Status, "text/html; charset=utf-8", body)
	return true
}

// readsPages reports whether the sender reads pages: browsers say so, programs do
// not.
func readsPages(r *http.Request) bool { return strings.Contains(r.Header.Get("Accept"), "text/html") }

// Sentence makes the text of a refusal read as a sentence.
func Sentence(text string) string {
	if text == "" {
		return ""
	}
	return strings.ToUpper(text[:1]) + strings.TrimSuffix(text[1:], ".") + "."
}
