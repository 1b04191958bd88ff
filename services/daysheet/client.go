package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"strconv"
	"strings"
	"time"

	"daysheet/events"
	"daysheet/services/eventlog"
	"daysheet/services/httpd"
)

// Remote says which server a command talks to. Without a server the command
// opens the data folder itself, through the same API in process.
type Remote struct {
	Server string `help:"Address of a running server, for example http://127.0.0.1:8080. Without it the data folder is opened directly, and no server may be using it." env:"DAYSHEET_SERVER"`
	Token  string `help:"Token for the server." env:"DAYSHEET_TOKEN"`
	Firm   string `help:"Firm, where the data folder is opened directly and holds more than one." env:"DAYSHEET_FIRM"`
}

// client speaks the API of a ledger, over the network or in process.
type client struct {
	http  *http.Client
	base  string
	token string
	close func() error
}

// connect returns a client for the server that is named, else for the data folder.
func (r *Remote) connect(ctx context.Context, g *Globals) (*client, error) {
	if r.Server != "" {
		return &client{
			http: &http.Client{Timeout: 5 * time.Minute}, base: strings.TrimSuffix(r.Server, "/"), token: r.Token,
			close: func() error { return nil },
		}, nil
	}
	g.quiet = true
	a, err := openApp(ctx, g, appConfig{})
	if errors.Is(err, eventlog.ErrInUse) {
		return nil, fmt.Errorf("%w, or name the running server with --server and --token", err)
	}
	if err != nil {
		return nil, err
	}
	firm, err := onlyFirm(a.tokens, r.Firm)
	if err != nil {
		return nil, errors.Join(err, a.Close())
	}
	caller := httpd.Caller{Firm: firm, Name: byCommand, Scopes: httpd.Scopes()}
	return a.inProcess(caller), nil
}

// inProcess carries requests straight to a handler, as a caller that needs no
// token: whoever can open the data folder is its owner.
type inProcess struct {
	handler http.Handler
	caller  httpd.Caller
}

// RoundTrip runs the handler beside the reader of its answer, so that long
// answers stream.
func (t inProcess) RoundTrip(r *http.Request) (*http.Response, error) {
	r = r.Clone(httpd.WithCaller(r.Context(), t.caller))
	if r.Body == nil {
		r.Body = http.NoBody
	}
	r.RequestURI = r.URL.RequestURI()
	r.RemoteAddr = "127.0.0.1:0"
	body, writer := io.Pipe()
	answer := &streamedAnswer{header: http.Header{}, body: writer, started: make(chan struct{})}
	go answer.run(t.handler, r)
	<-answer.started
	return &http.Response{
		StatusCode: answer.status, Status: http.StatusText(answer.status), Proto: "HTTP/1.1", ProtoMajor: 1, ProtoMinor: 1,
		Header: answer.sent, Body: body, ContentLength: -1, Request: r,
	}, nil
}

// streamedAnswer is a response writer whose header becomes readable as soon as
// the handler has decided on it.
type streamedAnswer struct {
	header, sent http.Header
	status       int
	body         *io.PipeWriter
	started      chan struct{}
}

// run serves the request. As on a network, a handler that breaks off ends the
// answer, and not the program.
func (a *streamedAnswer) run(handler http.Handler, r *http.Request) {
	defer func() {
		a.WriteHeader(http.StatusInternalServerError) // counts only where nothing was decided
		if broken := recover(); broken != nil {
			a.body.CloseWithError(fmt.Errorf("the answer broke off: %v", broken))
			return
		}
		a.body.Close()
	}()
	handler.ServeHTTP(a, r)
	a.WriteHeader(http.StatusOK)
}

func (a *streamedAnswer) Header() http.Header { return a.header }

func (a *streamedAnswer) WriteHeader(status int) {
	if a.status == 0 {
		a.status, a.sent = status, a.header.Clone()
		close(a.started)
	}
}

func (a *streamedAnswer) Write(p []byte) (int, error) {
	a.WriteHeader(http.StatusOK)
	return a.body.Write(p)
}

// Flush is part of http.Flusher: every write is passed on at once already.
func (a *streamedAnswer) Flush() {}

// request sends one request and returns its answer if the status is 2xx;
// otherwise an error made from the problem that the server reported.
func (c *client) request(
	ctx context.Context, method, path, contentType string, body io.Reader,
) (*http.Response, error) {
	r, err := http.NewRequestWithContext(ctx, method, c.base+path, body)
	if err != nil {
		return nil, fmt.Errorf("ask the server: %w", err)
	}
	if contentType != "" {
		r.Header.Set("Content-Type", contentType)
	}
	if c.token != "" {
		r.Header.Set("Authorization", "Bearer "+c.token)
	}
	answer, err := c.http.Do(r)
	if err != nil {
		return nil, fmt.Errorf("ask the server: %w", err)
	}
	if answer.StatusCode/100 == 2 {
		return answer, nil
	}
	defer answer.Body.Close()
	err = problemOf(answer)
	seconds, unset := strconv.Atoi(answer.Header.Get("Retry-After"))
	if answer.StatusCode == http.StatusServiceUnavailable && unset == nil {
		err = &laterError{err, time.Duration(seconds) * time.Second}
	}
	return nil, err
}

// laterError says that the server cannot answer now, and when to ask again.
type laterError struct {
	error
	after time.Duration
}

// recordTries is how often events are sent to a server that cannot answer now. At
// five seconds between, as it says, that outlasts the choice of a new leader after
// a node of the log is lost.
const recordTries = 6

// send sends events until the server takes or refuses them. To send them again is
// safe.
func (c *client) send(ctx context.Context, body []byte) (*http.Response, error) {
	for try := 1; ; try++ {
		answer, err := c.request(ctx, http.MethodPost, "/v1/events", "application/cloudevents-batch+json",
			bytes.NewReader(body))
		var later *laterError
		if !errors.As(err, &later) || try == recordTries {
			return answer, err
		}
		timer := time.NewTimer(later.after)
		select {
		case <-timer.C:
		case <-ctx.Done():
			timer.Stop()
			return nil, err
		}
	}
}

// problem is the part of RFC 9457 that a person needs.
type problem struct {
	Title  string `json:"title"`
	Detail string `json:"detail"`
	Errors []struct {
		Message  string `json:"message"`
		Location string `json:"location"`
	} `json:"errors"`
}

func problemOf(answer *http.Response) error {
	raw, err := io.ReadAll(io.LimitReader(answer.Body, 1<<20))
	if err != nil {
		return fmt.Errorf("the server answered %d and broke off: %w", answer.StatusCode, err)
	}
	var p problem
	if json.Unmarshal(raw, &p) != nil || p.Title == "" {
		return fmt.Errorf("the server answered %d", answer.StatusCode)
	}
	text := p.Title
	if p.Detail != "" {
		text += ": " + p.Detail
	}
	for _, e := range p.Errors {
		text += "\n  " + strings.TrimSpace(e.Location+" "+e.Message)
	}
	return errors.New(text)
}

// record sends events in batches and returns the receipts in their order.
func (c *client) record(ctx context.Context, batch []events.Event) ([]events.Receipt, error) {
	body, err := json.Marshal(batch)
	if err != nil {
		return nil, fmt.Errorf("write events: %w", err)
	}
	answer, err := c.send(ctx, body)
	if err != nil {
		return nil, err
	}
	defer answer.Body.Close()
	var got struct {
		Receipts []events.Receipt `json:"receipts"`
	}
	if err := json.NewDecoder(answer.Body).Decode(&got); err != nil {
		return nil, fmt.Errorf("read receipts: %w", err)
	}
	if _, err := io.Copy(io.Discard, answer.Body); err != nil {
		return nil, fmt.Errorf("read receipts: %w", err)
	}
	return got.Receipts, nil
}
