package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"os"

	"daysheet/services/tables"
)

// ExportCmd writes every event of the firm, or one of its lists.
type ExportCmd struct {
	Remote
	Table string `help:"Write this table as CSV instead: jobs, people, rates, customers or another that \"daysheet import --table\" takes." placeholder:"NAME"`
	Out   string `help:"File to write; standard output if not given." type:"path" short:"o" placeholder:"FILE"`
}

// Help says what the file is good for.
func (c *ExportCmd) Help() string {
	return `Writes every event of the firm as JSON lines (CloudEvents 1.0), in the order of the log. The file can be
imported into an empty ledger with "daysheet import" and gives the same reports.`
}

// Run streams the events from the ledger.
func (c *ExportCmd) Run(ctx context.Context, g *Globals) (err error) {
	if c.Server == "" {
		if err := g.needLedger(NATSFlags{}); err != nil {
			return err
		}
	}
	remote, err := c.connect(ctx, g)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, remote.close()) }()
	path := "/v1/events"
	if c.Table != "" {
		path = tables.At + url.PathEscape(c.Table)
	}
	answer, err := remote.request(ctx, http.MethodGet, path, "", nil)
	if err != nil {
		return err
	}
	defer answer.Body.Close()
	out := os.Stdout
	if c.Out != "" {
		if out, err = os.OpenFile(c.Out, os.O_CREATE|os.O_WRONLY|os.O_TRUNC, 0o600); err != nil {
			return fmt.Errorf("write export: %w", err)
		}
		defer func() { err = errors.Join(err, out.Sync(), out.Close()) }()
	}
	if _, err := io.Copy(out, answer.Body); err != nil {
		return fmt.Errorf("write export: %w", err)
	}
	return nil
}
