package handover

import (
	"context"
	"embed"
	"errors"
	"fmt"
	"io"
	"strings"

	"daysheet/events"
	papers "daysheet/reports/handover"
	"daysheet/services/httpd"
	"daysheet/services/pages"
)

//go:embed templates
var templates embed.FS

//go:embed assets
var assets embed.FS

// Photos is what is asked of where photos are kept. A photo that is not there is an
// [events.Error] with the code NotFound.
type Photos interface {
	// Open returns a photo as it was sent, and how many bytes it has. The caller closes it.
	Open(ctx context.Context, firm, digest string) (io.ReadCloser, int64, error)
	// Thumbnail returns the photo as a JPEG of at most 640 pixels across. It decodes
	// one photo at a time, so that memory is bounded.
	Thumbnail(ctx context.Context, firm, digest string) ([]byte, error)
}

// Deps is what the routes need. Every member but those that say so is required.
type Deps struct {
	Frame *pages.Frame

	// Commits returns a job's commits up to a sequence, oldest first; 0 is all. The
	// reserved job "firm" holds the firm's own.
	Commits func(ctx context.Context, firm, job string, upTo uint64) ([]events.Stored, error)

	Photos Photos

	// Parties opens a customer as the firm's events had it. It is nil in a process
	// that has no keys of customers: papers then say that the name is missing.
	Parties func(ctx context.Context, firm string, c events.Customer) (*papers.Parties, error)

	// Signer opens who signed a job off, from the event of the sign-off. It is nil where
	// Parties is.
	Signer func(ctx context.Context, firm, job, event string, p *events.SignOff) (papers.Signer, error)

	// Keys are the keys that firms sign with.
	Keys *Keys

	// BaseURL is where people reach this server from outside; empty where that is
	// not known, and papers then have no QR code.
	BaseURL string

	// Font is a TrueType font for PDFs instead of the Go fonts, which have Latin, Greek
	// and Cyrillic letters; nil for those.
	Font []byte
}

// desk makes papers.
type desk struct {
	Deps
	base   string // of public addresses, without a slash at the end; empty where not known
	letter *letterer

	checking chan struct{} // holds one: files that strangers send are checked one after the other
}

// The addresses of the papers of a job. The second ending is that of the PDF.
const (
	jobAt     = "/jobs/:job/"
	pdfEnding = ".pdf"
)

// Mount adds the pages, the PDFs and the JSON of papers to the server.
func Mount(server *httpd.Server, deps Deps) error {
	if deps.Frame == nil || deps.Commits == nil || deps.Photos == nil || deps.Keys == nil {
		return errors.New("mount handover: Frame, Commits, Photos and Keys must be set")
	}
	d := &desk{Deps: deps, base: strings.TrimRight(deps.BaseURL, "/"), checking: make(chan struct{}, 1)}
	var err error
	if d.letter, err = newLetterer(deps.Frame, deps.Font); err != nil {
		return fmt.Errorf("mount handover: %w", err)
	}
	if err := deps.Frame.AddBodies(templates, "templates/paper.html"); err != nil {
		return fmt.Errorf("mount handover: %w", err)
	}
	if err := deps.Frame.AddFiles(assets, "assets/paper.css"); err != nil {
		return fmt.Errorf("mount handover: %w", err)
	}
	read := server.Engine.Group("", httpd.Require(httpd.ScopeRead))
	for _, kind := range []papers.Kind{papers.KindHandover, papers.KindQuote, papers.KindSnags, papers.KindCondition} {
		read.GET(jobAt+string(kind), d.page(kind, ""))
		read.GET(jobAt+string(kind)+pdfEnding, d.pdf(kind, ""))
	}
	for kind, of := range map[papers.Kind]string{papers.KindVariation: "event", papers.KindDaySheet: "day"} {
		read.GET(jobAt+string(kind)+"/:"+of, d.page(kind, of))
		read.GET(jobAt+string(kind)+"/:"+of+"/pdf", d.pdf(kind, of))
	}
	d.mountAPI(server)
	d.mountEvidence(server)
	return d.mountCheck(server)
}
