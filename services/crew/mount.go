package crew

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"net/http"
	"time"

	"github.com/gin-gonic/gin"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/services/httpd"
	"daysheet/services/pages"
)

// Deps is what the routes need. Every member is required.
type Deps struct {
	// Frame shows the office's page of phones.
	Frame *pages.Frame

	// Jobs returns jobs as the store holds them.
	Jobs func(ctx context.Context, q reports.JobQuery) ([]reports.JobRow, error)

	// Names returns how a firm calls its things, as of now.
	Names func(ctx context.Context, firm string) (reports.Names, error)

	// Commits returns a job's commits up to a sequence, oldest first.
	Commits func(ctx context.Context, firm, job string, upTo uint64) ([]events.Stored, error)

	// Position returns the position of the firm's partition of the log up to which
	// the store holds everything.
	Position func(firm string) uint64

	// Tokens is where the tokens of phones are listed and revoked.
	Tokens *httpd.Tokens

	// Clock returns the present.
	Clock func() time.Time
}

// crew is the pages and the API with what they stand on.
type crew struct {
	deps    Deps
	files   map[string]*files // by language
	pairing *httpd.Pairing
}

// Mount adds the routes to the server: the pages of the phone with their service
// worker, the list that they show, and the office's page of phones. It fails where
// something is missing from deps or from the program.
func Mount(server *httpd.Server, deps Deps) error { return mount(server, deps, embedded) }

// mount is [Mount] with the files of the pages.
func mount(server *httpd.Server, deps Deps, from fs.FS) error {
	if deps.Frame == nil || deps.Jobs == nil || deps.Names == nil || deps.Commits == nil || deps.Position == nil ||
		deps.Tokens == nil || deps.Clock == nil {
		return errors.New("mount crew: every member of Deps must be set")
	}
	read := map[string]*files{}
	for _, language := range deps.Frame.Languages() {
		of, err := readFiles(from, deps.Frame.Texts(language))
		if err != nil {
			return fmt.Errorf("mount crew: %w", err)
		}
		read[language] = of
	}
	if err := deps.Frame.AddBodies(from, "templates/phones.html"); err != nil {
		return fmt.Errorf("mount crew: %w", err)
	}
	c := &crew{deps: deps, files: read, pairing: server.NewPairing(shellAt)}
	c.mountDay(server.API)
	engine := server.Engine
	engine.GET(filesAt+":hash/:name", c.file)
	phone := engine.Group("", httpd.Require(httpd.ScopeRecord))
	for _, at := range []string{shellAt, shellAt + "/jobs/:job", shellAt + "/outbox", shellAt + "/help"} {
		phone.GET(at, c.shell)
	}
	phone.GET(workerAt, c.worker)
	office := engine.Group("", httpd.Require(httpd.ScopeAdmin))
	office.GET(phonesAt, c.phonesPage)
	office.POST(phonesAt, c.addPhone)
	office.POST(phonesAt+"/revoke", c.revokePhone)
	return nil
}

// file serves a file of the pages. It holds nothing of a firm, and its address
// changes with its content, so browsers may keep it for ever.
func (c *crew) file(g *gin.Context) {
	for _, files := range c.files {
		if f, ok := files.byName[g.Param("name")]; ok && g.Param("hash") == files.hash {
			g.Header("Cache-Control", "public, max-age=31536000, immutable")
			g.Data(http.StatusOK, f.contentType, f.content)
			return
		}
	}
	httpd.Abort(g, &events.Error{Code: events.NotFound, Field: "name", Value: g.Param("name"), Rule: "no such file"})
}

// filesOf returns the files in the language of a firm.
func (c *crew) filesOf(names reports.Names) *files {
	return c.files[c.deps.Frame.Texts(names.Locale).Language()]
}

// ours returns the files in the language of the caller's firm. Where there are none it
// answers with the problem, and returns nil.
func (c *crew) ours(g *gin.Context) *files {
	caller, _ := httpd.CallerFrom(g.Request.Context())
	names, err := c.deps.Names(g.Request.Context(), caller.Firm)
	if err != nil {
		httpd.Abort(g, fmt.Errorf("read names: %w", err))
		return nil
	}
	return c.filesOf(names)
}

// shell serves the page of all addresses of the phone; what it shows is decided there.
func (c *crew) shell(g *gin.Context) {
	if files := c.ours(g); files != nil {
		g.Data(http.StatusOK, pageType, files.shell)
	}
}

// worker serves the service worker. The browser asks for it anew at each visit: that
// is how a phone learns of a new version, and of another language of the firm.
func (c *crew) worker(g *gin.Context) {
	if files := c.ours(g); files != nil {
		g.Header("Cache-Control", "no-cache")
		g.Header("Service-Worker-Allowed", shellAt)
		g.Data(http.StatusOK, scriptType, files.worker)
	}
}
