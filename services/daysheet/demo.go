package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"time"

	"daysheet/services/customers"
	"daysheet/services/daysheet/demo"
	"daysheet/services/eventlog"
	"daysheet/services/httpd"
)

// DemoCmd serves an invented firm.
type DemoCmd struct {
	HTTPFlags
	Seed uint64 `help:"Another seed invents another firm." default:"1"`
	Jobs int    `help:"Finished jobs, 1 to 500; 72 fill three years." default:"72"`
}

// Help says that it is kept apart.
func (c *DemoCmd) Help() string {
	return `The firm, its people, prices and jobs are invented. They are kept in a data folder of their own
(daysheet-demo, if --data is not given) and never meet a real ledger. Delete the folder to be rid of them.`
}

// demoFirm is the key that the invented firm is recorded under.
const demoFirm = "demo"

// demoFolder is used where no data folder is given.
const demoFolder = "daysheet-demo"

// Run invents the firm through the API where the folder is empty, and serves it.
func (c *DemoCmd) Run(ctx context.Context, g *Globals) (err error) {
	if g.Data == defaultData() {
		g.Data = inWorkingFolder(demoFolder)
	}
	g.quiet = true
	web, err := c.httpd()
	if err != nil {
		return err
	}
	a, err := openApp(ctx, g, appConfig{httpd: web, font: c.ReportFont})
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, a.Close()) }()
	if err := c.fill(ctx, a); err != nil {
		return err
	}
	secret, err := demoToken(ctx, a)
	if err != nil {
		return err
	}
	return c.serve(ctx, a, func(base string) {
		fmt.Printf("An invented firm is served at this link:\n  %s\n", a.server.SignInLink(base, secret))
	})
}

// fill records the invented firm by the same path that a phone takes.
func (c *DemoCmd) fill(ctx context.Context, a *app) error {
	last, err := a.log.Last(ctx, eventlog.Partition(demoFirm))
	if err != nil || last > 0 {
		return err
	}
	firm, err := demo.Generate(demo.Options{Seed: c.Seed, Today: time.Now(), Jobs: c.Jobs, Photos: true})
	if err != nil {
		return err
	}
	to := a.inProcess(httpd.Caller{Firm: demoFirm, Name: "demo", Scopes: httpd.Scopes()})
	bar := newProgress("inventing a firm")
	for p := range firm.Photos() {
		if err := to.sendPhoto(ctx, p); err != nil {
			return fmt.Errorf("invent the firm: %w", err)
		}
	}
	for p := range firm.Customers() {
		if err := to.sendCustomer(ctx, p); err != nil {
			return fmt.Errorf("invent the firm: %w", err)
		}
	}
	done, total := uint64(0), uint64(firm.Events())
	for s := range firm.Submissions() {
		if _, err := to.record(ctx, s.Events); err != nil {
			return fmt.Errorf("invent the firm: %w", err)
		}
		done += uint64(len(s.Events))
		bar.update(done, total)
	}
	bar.finish()
	return a.catchUp(ctx, demoFirm)
}

// sendPhoto sends a photo as a phone does.
func (c *client) sendPhoto(ctx context.Context, p demo.Photo) error {
	answer, err := c.request(ctx, http.MethodPut, "/v1/photos/"+p.Digest, "image/jpeg", bytes.NewReader(p.JPEG))
	if err != nil {
		return err
	}
	_, err = io.Copy(io.Discard, answer.Body)
	return errors.Join(err, answer.Body.Close())
}

// sendCustomer records a customer as the office does.
func (c *client) sendCustomer(ctx context.Context, p demo.Customer) error {
	raw, err := json.Marshal(customers.Details{Name: p.Name, Address: p.Address, Contacts: p.Contacts})
	if err != nil {
		return err
	}
	answer, err := c.request(ctx, http.MethodPut, "/v1/customers/"+p.Key, "application/json", bytes.NewReader(raw))
	if err != nil {
		return err
	}
	_, err = io.Copy(io.Discard, answer.Body)
	return errors.Join(err, answer.Body.Close())
}

// demoToken makes a token for this run; those of earlier runs are revoked.
func demoToken(ctx context.Context, a *app) (string, error) {
	for _, t := range a.tokens.List() {
		if t.Firm == demoFirm && t.Revoked.IsZero() {
			if err := a.tokens.Revoke(ctx, "demo", t.Firm, t.Name); err != nil {
				return "", err
			}
		}
	}
	name := "visitor " + time.Now().UTC().Format("2006-01-02 15:04:05.000")
	return a.tokens.Add(ctx, "demo", httpd.Token{Firm: demoFirm, Name: name, Scopes: httpd.Scopes()})
}

// inProcess returns a client that speaks to the app without a network.
func (a *app) inProcess(caller httpd.Caller) *client {
	transport := inProcess{a.server.Engine, caller}
	return &client{http: &http.Client{Transport: transport}, base: "http://in-process", close: a.Close}
}
