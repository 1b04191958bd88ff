package main

import (
	"context"
	"crypto/tls"
	"encoding/json"
	"errors"
	"fmt"
	"net"
	"net/netip"
	"os"
	"strconv"
	"sync"
	"time"

	"github.com/google/uuid"

	"daysheet/events"
	"daysheet/services/httpd"
)

// ServeCmd serves the ledger.
type ServeCmd struct {
	NATSFlags
	StoreFlags
	PhotoFlags
	PhotoLimitFlags
	HTTPFlags
	ScheduleFlags
	Roles []string `name:"run" help:"Parts of the ledger to run in this process: intake, projector, reporting." default:"intake,projector,reporting" placeholder:"PART,..." env:"DAYSHEET_RUN"`
}

// HTTPFlags say where and how the pages and the API are served.
type HTTPFlags struct {
	Listen       string   `help:"Address to listen on." default:"127.0.0.1:8080" env:"DAYSHEET_LISTEN"`
	BaseURL      string   `name:"base-url" help:"Address under which people reach the server, where a proxy stands before it." placeholder:"URL" env:"DAYSHEET_BASE_URL"`
	TLSCert      string   `name:"tls-cert" help:"Certificate file (PEM). Phones work offline only over HTTPS." type:"existingfile" placeholder:"FILE" env:"DAYSHEET_TLS_CERT"`
	TLSKey       string   `name:"tls-key" help:"Key file (PEM)." type:"existingfile" placeholder:"FILE" env:"DAYSHEET_TLS_KEY"`
	BodyMaxKiB   int64    `name:"body-max-kib" help:"Largest request body in KiB." default:"1024" env:"DAYSHEET_BODY_MAX_KIB"`
	ReportFont   string   `help:"TrueType font for the PDFs of papers, in place of the built-in one with Latin, Greek and Cyrillic letters; Chinese, Japanese and Korean work with a font that has them, and writing from right to left or in clusters is printed with a warning." type:"existingfile" placeholder:"FILE" env:"DAYSHEET_REPORT_FONT"`
	TrustedProxy []string `help:"Address or network (10.0.0.0/8) of a proxy before the server. Its X-Forwarded-For then says from where somebody signs in. Can be given again." placeholder:"ADDRESS" env:"DAYSHEET_TRUSTED_PROXY"`
	RatePerSec   int      `name:"rate-per-second" help:"Requests a second that one token may make." default:"500" env:"DAYSHEET_RATE_PER_SECOND"`
}

// Help says what happens at the first start.
func (c *ServeCmd) Help() string {
	return `At the first start it prints a link that sets up the firm and signs you in. The link works once.
Stop it with Ctrl-C or SIGTERM: what was acknowledged is on disk.

With --nats and --clickhouse the parts can run in processes of their own, on one machine or several: intake takes
events and sets up the firm, projector makes the facts, reporting serves reports, jobs and pages. Quoting both
reads and records, so it is served where intake and reporting run together. All of them read one file of tokens, and
those of intake and reporting one folder of photos, --photos.`
}

// Run serves until ctx ends.
func (c *ServeCmd) Run(ctx context.Context, g *Globals) (err error) {
	r, err := rolesOf(c.Roles)
	if err == nil {
		err = r.check(c.NATSFlags, c.StoreFlags)
	}
	if err != nil {
		return err
	}
	s := &schedule{ScheduleFlags: c.ScheduleFlags, g: g, nats: c.NATSFlags, photos: c.PhotoFlags, logger: g.logger()}
	if err := s.check(); err != nil {
		return err
	}
	web, err := c.httpd()
	if err != nil {
		return err
	}
	a, err := openApp(ctx, g, appConfig{
		nats: c.NATSFlags, store: c.StoreFlags, photos: c.PhotoFlags, photoLimits: c.limits(),
		httpd: web, roles: r, font: c.ReportFont,
	})
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, a.Close()) }()
	ctx, stop := context.WithCancel(ctx)
	var background sync.WaitGroup
	background.Go(func() { s.run(ctx) })
	defer background.Wait()
	defer stop()
	return c.serve(ctx, a, func(base string) {
		if link := a.server.SetupLink(base); link != "" {
			fmt.Printf("Set up your firm at this link. It works once:\n  %s\n", link)
		} else {
			fmt.Printf("Serving at %s\n", base)
		}
	})
}

// httpd turns the flags into the engine's configuration.
func (f *HTTPFlags) httpd() (httpd.Config, error) {
	rate := max(f.RatePerSec, 1)
	cfg := httpd.Config{
		BodyMax: f.BodyMaxKiB << 10, BaseURL: f.BaseURL,
		RateEvery: time.Second / time.Duration(rate), RateBurst: 2 * rate,
	}
	for _, text := range f.TrustedProxy {
		network, err := netip.ParsePrefix(text)
		if address, alone := netip.ParseAddr(text); alone == nil && address.Zone() == "" {
			network, err = netip.PrefixFrom(address, address.BitLen()), nil
		}
		if err != nil {
			return cfg, events.Refuse("trusted-proxy", text, "an address such as 10.0.0.5, or a network such as 10.0.0.0/8")
		}
		cfg.Proxies = append(cfg.Proxies, network)
	}
	return cfg, nil
}

// serve listens, calls ready with the address to visit, and serves until ctx ends.
func (f *HTTPFlags) serve(ctx context.Context, a *app, ready func(base string)) error {
	listener, err := net.Listen("tcp", f.Listen)
	if err != nil {
		return fmt.Errorf("listen on %s: %w", f.Listen, err)
	}
	visit := visitable(listener.Addr())
	base := "http://" + visit
	if f.TLSCert != "" || f.TLSKey != "" {
		pair, err := tls.LoadX509KeyPair(f.TLSCert, f.TLSKey)
		if err != nil {
			return errors.Join(fmt.Errorf("read tls-cert and tls-key: %w", err), listener.Close())
		}
		listener = tls.NewListener(listener, &tls.Config{Certificates: []tls.Certificate{pair}, MinVersion: tls.VersionTLS12})
		base = "https://" + visit
	}
	if f.BaseURL != "" {
		base = f.BaseURL
	}
	ready(base)
	err = a.server.Serve(ctx, listener)
	a.settle()
	return err
}

// visitable returns an address to visit: a listener on every address of the
// machine is reached under its own name.
func visitable(a net.Addr) string {
	tcp, ok := a.(*net.TCPAddr)
	if !ok || !tcp.IP.IsUnspecified() {
		return a.String()
	}
	return net.JoinHostPort("localhost", strconv.Itoa(tcp.Port))
}

// settingsEvent makes the event that records a firm's settings.
func settingsEvent(settings events.Settings, now time.Time) (events.Event, error) {
	id, err := uuid.NewV7()
	if err != nil {
		return events.Event{}, fmt.Errorf("make an id: %w", err)
	}
	data, err := json.Marshal(settings)
	if err != nil {
		return events.Event{}, fmt.Errorf("write settings: %w", err)
	}
	e := events.Event{
		ID: id.String(), Source: "/set-up", Type: events.FirmSettingsChanged, Subject: events.FirmJob,
		Time: now.Format(time.RFC3339), Data: data,
	}
	return e, e.Validate()
}

// warn prints a line for the person who started the program.
func warn(format string, args ...any) { fmt.Fprintf(os.Stderr, format+"\n", args...) }
