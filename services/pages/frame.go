package pages

import (
	"bytes"
	"cmp"
	"context"
	"embed"
	"fmt"
	"html/template"
	"io/fs"
	"net/http"
	"net/url"
	"path"
	"strings"
	"sync"

	"github.com/gin-gonic/gin"

	"daysheet/services/httpd"
	"daysheet/services/texts"
)

//go:embed templates
var templates embed.FS

//go:embed assets
var assets embed.FS

// styles is the style sheet of the pages, which takes its colours from those of all.
const styles = "style.css"

// Frame puts bodies into the layout and serves the files that pages refer to. It is
// safe for concurrent use once the server serves.
type Frame struct {
	texts  *texts.Catalogue
	shared map[string]*template.Template            // by language: the layout and the parts that bodies may use
	bodies map[string]map[string]*template.Template // by language and name
	locale localeOf                                 // nil: English is spoken
	warns  func() string                            // nil: there is never anything to warn of
	files  map[string]file
	served func() map[string]bool // asked once requests come in: what else is served is known by then
}

// localeOf finds the locale of a firm (BCP 47).
type localeOf func(ctx context.Context, firm string) (string, error)

// New returns the frame of a server and lets it show problems as pages.
func New(server *httpd.Server) (*Frame, error) {
	f := &Frame{
		shared: map[string]*template.Template{}, bodies: map[string]map[string]*template.Template{}, files: map[string]file{},
	}
	var err error
	if f.texts, err = texts.Load(); err != nil {
		return nil, err
	}
	for _, language := range f.texts.Languages() {
		say := template.FuncMap{"t": f.texts.For(language).Say}
		t, err := template.New(language).Funcs(say).ParseFS(templates, "templates/layout.html", "templates/parts.html")
		if err != nil {
			return nil, fmt.Errorf("read layout of pages: %w", err)
		}
		f.shared[language], f.bodies[language] = t, map[string]*template.Template{}
	}
	if err := f.AddBodies(templates, "templates/error.html"); err != nil {
		return nil, err
	}
	if err := f.AddFiles(assets, "assets/*"); err != nil {
		return nil, err
	}
	f.served = sync.OnceValue(func() map[string]bool {
		served := map[string]bool{}
		for _, r := range server.Engine.Routes() {
			served[r.Path] = true
		}
		return served
	})
	server.Engine.GET(FilesAt+":hash/:name", f.serveFile)
	server.Engine.HEAD(FilesAt+":hash/:name", f.serveFile)
	server.ProblemPage = f.problem
	server.Speaks = f.Spoken
	return f, nil
}

// Texts returns what pages say in the language of a locale.
func (f *Frame) Texts(locale string) *texts.Texts { return f.texts.For(locale) }

// Accepted returns what pages say in the language that a browser asks for by its header
// Accept-Language: for who is not signed in.
func (f *Frame) Accepted(header string) *texts.Texts { return f.texts.Accepted(header) }

// Languages returns the languages that pages can be in, sorted.
func (f *Frame) Languages() []string { return f.texts.Languages() }

// AddParts adds templates that the bodies added after it may use.
func (f *Frame) AddParts(from fs.FS, pattern string) error {
	for language, shared := range f.shared {
		t, err := shared.ParseFS(from, pattern)
		if err != nil {
			return fmt.Errorf("read parts of pages %s: %w", pattern, err)
		}
		f.shared[language] = t
	}
	return nil
}

// AddBodies adds the templates that the pattern matches. Each defines "body", and is
// known by the name of its file. The function t says a text of package texts.
func (f *Frame) AddBodies(from fs.FS, pattern string) error {
	names, err := fs.Glob(from, pattern)
	if err != nil {
		return fmt.Errorf("list pages %s: %w", pattern, err)
	}
	for _, name := range names {
		if f.bodies[texts.English][path.Base(name)] != nil {
			return fmt.Errorf("add page %s: there is one of this name", name)
		}
		for language, shared := range f.shared {
			t, err := shared.Clone()
			if err == nil {
				t, err = t.ParseFS(from, name)
			}
			if err != nil {
				return fmt.Errorf("read page %s: %w", name, err)
			}
			f.bodies[language][path.Base(name)] = t
		}
	}
	return nil
}

// Serves reports whether this process answers at a route, as it was registered.
func (f *Frame) Serves(route string) bool { return f.served()[route] }

// Handler returns the handler of a page, or of a form that leads to one.
func (f *Frame) Handler(build func(Visit) (Page, error)) gin.HandlerFunc {
	return func(c *gin.Context) {
		v, err := visitOf(c)
		var p Page
		if err == nil {
			p, err = build(v)
		}
		if err != nil {
			httpd.Abort(c, err)
			return
		}
		f.Show(c, v, p)
	}
}

// Show answers with a page, or leads to another.
func (f *Frame) Show(c *gin.Context, v Visit, p Page) {
	if p.Leads != "" {
		c.Redirect(http.StatusSeeOther, p.Leads)
		return
	}
	body, err := f.Render(v, p, c.Request.URL)
	if err != nil {
		httpd.Abort(c, err)
		return
	}
	c.Data(cmp.Or(p.Status, http.StatusOK), "text/html; charset=utf-8", body)
}

// Render makes the page whole before anything is sent, for the caller of ctx.
func (f *Frame) Render(ctx context.Context, p Page, here *url.URL) ([]byte, error) {
	caller, _ := httpd.CallerFrom(ctx)
	if p.Texts == nil {
		p.Texts = f.texts.For(texts.English)
	}
	around := f.Spoken(ctx, caller.Firm)
	if caller.Firm == "" { // nobody is signed in: all of it is in the language of the page
		around = p.Texts
	}
	if p.Language = around.Language(); p.Texts.Language() != p.Language {
		p.Other = p.Texts.Language()
	}
	body := f.bodies[p.Texts.Language()][p.Name]
	if body == nil {
		return nil, fmt.Errorf("render page %s: there is none of this name", p.Name)
	}
	p.Firm, p.Here, p.files = caller.Firm, here.RequestURI(), f.files
	p.Person = caller.Person && f.Serves(passwordAt)
	p.Reads = caller.May(httpd.ScopeRead)
	if f.Serves(phonesAt) && caller.May(httpd.ScopeAdmin) {
		p.Phones = phonesAt
	}
	for _, place := range places() {
		if f.Serves(place.Address) && caller.May(place.scope) && (place.Address != crewAt || f.onSite(caller)) {
			text, err := around.Say(place.Text)
			if err != nil {
				return nil, err
			}
			place.Text, place.Here = text, place.holds(here.Path)
			p.Nav = append(p.Nav, place.Link)
		}
	}
	var err error
	if p.Warning, err = f.warning(caller, around); err != nil {
		return nil, err
	}
	var main, whole bytes.Buffer
	if err := body.ExecuteTemplate(&main, "main", p); err != nil {
		return nil, fmt.Errorf("render page %s: %w", p.Name, err)
	}
	p.Main = template.HTML(main.String()) // a template made it, and has escaped what needs it
	if err := f.shared[p.Language].ExecuteTemplate(&whole, "layout", p); err != nil {
		return nil, fmt.Errorf("render page %s: %w", p.Name, err)
	}
	return whole.Bytes(), nil
}

// Speak tells the frame how to find the locale of a firm. Without it English is spoken.
// It is called before the server serves.
func (f *Frame) Speak(locale func(ctx context.Context, firm string) (string, error)) {
	f.locale = locale
}

// Warn tells the frame how to find the key of the text that stands on top of every page for
// who is signed in while something is wrong with the whole ledger; an empty one is shown
// nowhere. It is called before the server serves.
func (f *Frame) Warn(trouble func() string) { f.warns = trouble }

// warning returns that text.
func (f *Frame) warning(caller httpd.Caller, around *texts.Texts) (string, error) {
	if f.warns == nil || caller.Firm == "" {
		return "", nil
	}
	key := f.warns()
	if key == "" {
		return "", nil
	}
	return around.Say(key)
}

// Spoken returns what pages say in the language of a firm: that of what stands around its
// pages. Where it cannot be found, as on the page of a problem, that is English: a page is
// better than none.
func (f *Frame) Spoken(ctx context.Context, firm string) *texts.Texts {
	if f.locale == nil || firm == "" {
		return f.texts.For(texts.English)
	}
	locale, err := f.locale(ctx, firm)
	if err != nil {
		return f.texts.For(texts.English)
	}
	return f.texts.For(locale)
}

// Part renders a body without the layout, for a page that stands in another one.
func (f *Frame) Part(said *texts.Texts, name string, body any) (template.HTML, error) {
	t := f.bodies[said.Language()][name]
	if t == nil {
		return "", fmt.Errorf("render part %s: there is none of this name", name)
	}
	var b bytes.Buffer
	if err := t.ExecuteTemplate(&b, "body", body); err != nil {
		return "", fmt.Errorf("render part %s: %w", name, err)
	}
	return template.HTML(b.String()), nil // made by html/template
}

// place is an entry of the way around, its text a key of package texts, and what is found there.
type place struct {
	Link
	scope httpd.Scope
	also  string // beginning of further addresses that belong to it
}

func (p place) holds(path string) bool {
	return path == p.Address || p.Address != "/" && strings.HasPrefix(path, p.Address+"/") ||
		p.also != "" && strings.HasPrefix(path, p.also)
}

func places() []place {
	return []place{
		{Link{Text: "nav.jobs", Address: "/"}, httpd.ScopeRead, "/jobs/"},
		{Link{Text: "nav.reports", Address: "/reports"}, httpd.ScopeRead, ""},
		{Link{Text: "nav.quote", Address: "/quotes"}, httpd.ScopeRead, ""},
		{Link{Text: "nav.office", Address: "/office"}, httpd.Office, ""},
		{Link{Text: "nav.customers", Address: "/customers"}, httpd.ScopeRead, ""},
		{Link{Text: "nav.help", Address: "/help"}, httpd.ScopeRead, ""},
		{Link{Text: "nav.crew", Address: crewAt}, httpd.ScopeRecord, ""},
	}
}

// passwordAt is where people change their own password, if anybody signs in by name.
const passwordAt = "/password"

// phonesAt is where the office pairs phones, if this process serves it.
const phonesAt = "/crew/pair"

// crewAt is where the crew records, if this process serves it.
const crewAt = "/crew"

// onSite reports whether the crew's page is where the caller begins: who records and may
// not read has no other.
func (f *Frame) onSite(caller httpd.Caller) bool {
	return caller.May(httpd.ScopeRecord) && !caller.May(httpd.ScopeRead) && f.Serves(crewAt)
}

// Begin leads whoever has a page of their own from the start of the site to it.
func (f *Frame) Begin(c *gin.Context) {
	if caller, _ := httpd.CallerFrom(c.Request.Context()); f.onSite(caller) {
		c.Redirect(http.StatusSeeOther, crewAt)
		c.Abort()
	}
}

// problem shows a problem within the site.
func (f *Frame) problem(r *http.Request, p *httpd.ProblemDetails) ([]byte, error) {
	caller, _ := httpd.CallerFrom(r.Context())
	say := &texts.Speaker{Texts: f.Spoken(r.Context(), caller.Firm)}
	content := struct {
		Detail, Instance string
		Foreign, OnSite  bool
	}{Instance: httpd.RequestIDFrom(r.Context()), OnSite: f.onSite(caller)}
	content.Detail, content.Foreign = p.Explain(say)
	page := Page{Name: "error.html", Title: p.Heading(say), Body: content, Texts: say.Texts}
	if say.Err != nil {
		return nil, say.Err
	}
	return f.Render(r.Context(), page, r.URL)
}
