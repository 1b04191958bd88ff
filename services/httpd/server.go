package httpd

import (
	"context"
	"crypto/subtle"
	"embed"
	"fmt"
	"html/template"
	"log/slog"
	"net/http"
	"net/netip"
	"strings"
	"sync"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/gin-gonic/gin"
	"github.com/prometheus/client_golang/prometheus"

	"daysheet/events"
	"daysheet/services/texts"
)

// Config is what the server needs to know. Only Tokens is required.
type Config struct {
	Tokens  *Tokens
	People  *People      // Who signs in by name and password; nil where nobody does.
	Logger  *slog.Logger // Defaults to slog.Default().
	Version string       // Of the program, for the description of the API.

	// BaseURL is the address under which browsers reach the server, where a
	// proxy stands before it: https://ledger.example. It decides that cookies
	// need TLS and which origin forms may come from. Defaults to what the
	// request says.
	BaseURL string

	// OnSetup creates a firm with its first settings. Without it there is no
	// set-up page.
	OnSetup func(ctx context.Context, firm string, settings events.Settings) error

	// Ready is asked by /readyz, each check by its name.
	Ready map[string]func(context.Context) error

	// Notes are shown by /readyz and change nothing of its answer. They are read
	// without a credential: see [NotReady.Reason].
	Notes map[string]func() string

	BodyMax int64 // Bytes of a request's body. Defaults to 1 MiB.
	// Proxies are the networks of proxies whose X-Forwarded-For says where a request came
	// from. Defaults to none: the address is then that of whoever connects.
	Proxies []netip.Prefix

	RateEvery time.Duration // Each sender gains one request in this time. Defaults to 10 ms.
	RateBurst int           // Requests a sender may save up. Defaults to 500.

	ReadTimeout  time.Duration // To read a request. Defaults to one minute.
	WriteTimeout time.Duration // To answer it; event streams are exempt. Defaults to one minute.
	StopTimeout  time.Duration // For requests under way when the server stops. Defaults to 10 seconds.
}

// Server is the engine with everything that every request meets on it. Routes
// are added before [Server.Serve].
type Server struct {
	Engine   *gin.Engine
	API      huma.API
	Registry *prometheus.Registry // what /metrics shows

	// ProblemPage renders a problem for somebody who is signed in and reads pages. It
	// is set before Serve; nil shows a plain page.
	ProblemPage func(r *http.Request, p *ProblemDetails) ([]byte, error)

	// Speaks returns what pages say in the language of the firm of who is signed in. It
	// is set before Serve; nil leaves the language to the browser.
	Speaks func(ctx context.Context, firm string) *texts.Texts

	tokens       *Tokens
	people       *People // nil where nobody signs in by name
	signIns      *Limits // by address
	logger       *slog.Logger
	secure       bool
	onSetup      func(ctx context.Context, firm string, settings events.Settings) error
	ready        map[string]func(context.Context) error
	notes        map[string]func() string
	usualBodyMax int64
	bodyMax      map[string]int64         // by route
	answerTakes  map[string]time.Duration // by route
	held         map[string]bool          // routes whose address is the credential
	opened       map[string]bool          // routes that need no credential
	limiters     *Limits
	crossOrigin  *http.CrossOriginProtection
	durations    *prometheus.HistogramVec
	catalogue    *texts.Catalogue
	pages        map[string]*template.Template // by language
	compressors  sync.Pool

	readTimeout, writeTimeout, stopTimeout time.Duration

	setupLock sync.Mutex
	setupCode string // empty: there is no open set-up link

	signInCode, signInSecret string // of the sign-in link; empty: there is none

	stopping context.Context // ends when the server stops taking requests
	stop     context.CancelFunc
}

//go:embed pages/*.html
var files embed.FS

// readPages reads the pages that lead in, in each language.
func (s *Server) readPages() {
	var err error
	if s.catalogue, err = texts.Load(); err != nil {
		panic(err) // they are part of the program, as the pages are
	}
	for _, language := range s.catalogue.Languages() {
		t := s.catalogue.For(language)
		say := template.FuncMap{"t": t.Say, "language": t.Language}
		s.pages[language] = template.Must(template.New(language).Funcs(say).ParseFS(files, "pages/*.html"))
	}
}

var quietGin = sync.OnceFunc(func() { gin.SetMode(gin.ReleaseMode) })

// New returns a server with health, metrics, sign-in and set-up on it.
func New(cfg Config) *Server {
	quietGin()
	s := &Server{
		Engine: gin.New(), Registry: prometheus.NewRegistry(),
		tokens: cfg.Tokens, people: cfg.People, signIns: NewLimits(signInEvery, signInBurst),
		logger: cfg.Logger, onSetup: cfg.OnSetup, ready: cfg.Ready, notes: cfg.Notes,
		secure:       strings.HasPrefix(cfg.BaseURL, "https://"),
		usualBodyMax: defaultTo(cfg.BodyMax, 1<<20), bodyMax: map[string]int64{}, answerTakes: map[string]time.Duration{},
		held:         map[string]bool{},
		opened:       map[string]bool{},
		limiters:     NewLimits(defaultTo(cfg.RateEvery, 10*time.Millisecond), defaultTo(cfg.RateBurst, 500)),
		crossOrigin:  http.NewCrossOriginProtection(),
		readTimeout:  defaultTo(cfg.ReadTimeout, time.Minute),
		writeTimeout: defaultTo(cfg.WriteTimeout, time.Minute),
		stopTimeout:  defaultTo(cfg.StopTimeout, 10*time.Second),
		pages:        map[string]*template.Template{},
	}
	s.readPages()
	s.stopping, s.stop = context.WithCancel(context.Background())
	if s.logger == nil {
		s.logger = slog.Default()
	}
	if cfg.BaseURL != "" {
		if err := s.crossOrigin.AddTrustedOrigin(strings.TrimRight(cfg.BaseURL, "/")); err != nil {
			s.logger.Warn("base URL is no origin: forms are taken from the address of the request alone", "error", err)
		}
	}
	s.Engine.HandleMethodNotAllowed = true
	s.Engine.RedirectTrailingSlash = false // it answers before any check of ours
	s.trust(cfg.Proxies)
	s.Engine.Use(requestID, s.observe, s.showProblems, recovered, s.securityHeaders, s.answer, s.limitBody, s.authenticate)
	s.Engine.NoRoute(func(c *gin.Context) {
		Abort(c, NewProblem(http.StatusNotFound, "there is nothing at this address"))
	})
	s.Engine.NoMethod(func(c *gin.Context) {
		detail := fmt.Sprintf("the address takes %s", c.Writer.Header().Get("Allow"))
		Abort(c, NewProblem(http.StatusMethodNotAllowed, detail))
	})
	s.addMetrics()
	s.newAPI(cfg.Version)
	s.addHealth()
	s.addPages()
	s.addPeople()
	return s
}

// trust says whose word about where a request came from is taken.
func (s *Server) trust(proxies []netip.Prefix) {
	networks := make([]string, len(proxies))
	for i, p := range proxies {
		networks[i] = p.Masked().String()
	}
	s.Engine.RemoteIPHeaders = []string{"X-Forwarded-For"} // others come through proxies as clients made them up
	if err := s.Engine.SetTrustedProxies(networks); err != nil {
		panic(err) // they were written from what is valid
	}
}

func defaultTo[T comparable](value, usual T) T {
	var zero T
	if value == zero {
		return usual
	}
	return value
}

// equalSecrets compares without telling by its time how far two secrets agree.
func equalSecrets(a, b string) bool { return subtle.ConstantTimeCompare([]byte(a), []byte(b)) == 1 }
