package reporting

import (
	"bytes"
	"context"
	"embed"
	"fmt"
	"html/template"
	"net/http"
	"net/url"
	"strings"

	"github.com/gin-gonic/gin"

	"daysheet/services/httpd"
)

//go:embed templates
var templateFiles embed.FS

// The pages, by the file that holds their body.
const (
	boardPage    = "board.html"
	jobPage      = "job.html"
	reportPage   = "report.html"
	explainPage  = "explain.html"
	quotePage    = "quote.html"
	reportsPage  = "reports.html"
	helpPage     = "help.html"
	licencesPage = "licences.html"
	errorPage    = "error.html"
)

// parsePages puts each body into the layout once.
func parsePages() (map[string]*template.Template, error) {
	shared, err := template.ParseFS(templateFiles, "templates/layout.html", "templates/parts.html")
	if err != nil {
		return nil, fmt.Errorf("read layout of pages: %w", err)
	}
	pages := map[string]*template.Template{}
	for _, name := range []string{boardPage, jobPage, reportPage, explainPage, quotePage, reportsPage, helpPage,
		licencesPage, errorPage} {
		t, err := shared.Clone()
		if err == nil {
			t, err = t.ParseFS(templateFiles, "templates/"+name)
		}
		if err != nil {
			return nil, fmt.Errorf("read page %s: %w", name, err)
		}
		pages[name] = t
	}
	return pages, nil
}

// link is a text that leads somewhere; nowhere, if Address is empty.
type link struct {
	Text    string
	Address string
	Here    bool
}

// fact is a term with its value.
type fact struct{ Text, Value string }

// choice is an entry of a list to choose from.
type choice struct {
	Key, Name string
	Chosen    bool
}

// page is what the layout shows around a body.
type page struct {
	Title  string
	Crumbs []link
	Watch  string // address of the stream of changes; empty where the page shows nothing that changes
	Job    string // the one job the page is about; empty for all
	AsOf   uint64
	Charts bool
	Body   any

	name string // of the file
	// Filled in by render.
	Nav    []link
	Firm   string
	Here   string
	Phones string // address of the page that pairs phones; empty where this program serves none
	assets *assets
}

// phonesAt is where the office pairs phones, if this process serves it.
const phonesAt = "/crew/pair"

// Asset returns the address of a file of the pages.
func (p page) Asset(name string) string { return p.assets.address(name) }

// visit is a request for a page by someone who may read.
type visit struct {
	context.Context
	firm   string
	values url.Values
	param  func(string) string // of the path
}

// page returns the handler of a page.
func (s *site) page(build func(visit) (page, error)) gin.HandlerFunc {
	return func(c *gin.Context) {
		caller, _ := httpd.CallerFrom(c.Request.Context())
		p, err := build(visit{c.Request.Context(), caller.Firm, c.Request.URL.Query(), c.Param})
		var body []byte
		if err == nil {
			body, err = s.render(p, caller.Firm, c.Request.URL)
		}
		if err != nil {
			httpd.Abort(c, err)
			return
		}
		c.Data(http.StatusOK, inHTML.contentType(), body)
	}
}

// render makes the page whole before anything is sent.
func (s *site) render(p page, firm string, here *url.URL) ([]byte, error) {
	p.Firm, p.Here, p.assets = firm, here.RequestURI(), s.assets
	if s.pairsPhones() {
		p.Phones = phonesAt
	}
	p.Nav = append(p.Nav, link{"Jobs", "/", here.Path == "/" || strings.HasPrefix(here.Path, "/jobs/")})
	p.Nav = append(p.Nav, link{"Reports", "/reports", strings.HasPrefix(here.Path, "/reports")},
		link{"Quote", "/quotes", here.Path == "/quotes"})
	p.Nav = append(p.Nav, link{"Help", "/help", here.Path == "/help"})
	var b bytes.Buffer
	if err := s.pages[p.name].ExecuteTemplate(&b, "layout", p); err != nil {
		return nil, fmt.Errorf("render page %s: %w", p.name, err)
	}
	return b.Bytes(), nil
}

// problemPage shows a problem within the site.
func (s *site) problemPage(r *http.Request, p *httpd.ProblemDetails) ([]byte, error) {
	caller, _ := httpd.CallerFrom(r.Context())
	content := struct{ Detail, Instance string }{httpd.Sentence(p.Error()), httpd.RequestIDFrom(r.Context())}
	return s.render(page{name: errorPage, Title: p.Heading(), Body: content}, caller.Firm, r.URL)
}
