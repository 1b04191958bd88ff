package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"os"
	"slices"
	"strings"
	"time"

	"daysheet/events"
	"daysheet/services/intake/history"
	"daysheet/services/typed"
)

// ImportCmd imports past jobs from a spreadsheet, or events from an export.
type ImportCmd struct {
	Remote
	File        string        `arg:"" help:"CSV of past jobs, JSON lines of events (a name that ends with .jsonl), or what --table says." type:"existingfile"`
	Table       string        `help:"The file is this table, as the page Tables in and out of the office takes it: jobs, people, rates, customers or another." placeholder:"NAME"`
	DryRun      bool          `help:"Say what would be recorded, and record nothing."`
	MonthFirst  bool          `help:"Read 04/03/2025 as the 3rd of April."`
	Decimal     typed.Decimal `help:"Mark before the decimals, . or , for a sheet with numbers such as 1.250 that could be read either way." placeholder:"MARK"`
	SkipBad     bool          `help:"Import the good rows of a sheet that has bad ones."`
	KeepRepeats bool          `help:"Keep rows that say exactly what an earlier row says; they are left out as suspected doubles otherwise."`
	NoListing   bool          `help:"Do not add products and job types that the sheet has and the firm has not."`
}

// Help teaches the columns.
func (c *ImportCmd) Help() string {
	var b strings.Builder
	b.WriteString("A sheet has a header row and one row for each estimate line, day sheet line, material or bill. " +
		"Columns:\n\n")
	for _, column := range history.Columns() {
		fmt.Fprintf(&b, "  %-11s %s, for example %s\n", column.Name, column.Meaning, column.Example)
	}
	b.WriteString("\nCommas, semicolons or tabs part the columns; numbers and dates may be written in several ways. " +
		"Each row has an id of its own made from its content, so the same sheet can be imported again, " +
		"also with rows added: what was recorded before is not recorded twice.\n\n" +
		"With --table the file is a list instead: ")
	for _, table := range history.Tables() {
		b.WriteString(string(table) + ", ")
	}
	b.WriteString("customers, or past-jobs for the sheet above. \"daysheet export --table NAME\" writes one with its " +
		"columns; changed and imported again, it records what was changed and nothing else. With take-off the answer is " +
		"JSON that POST /v1/quotes prices, and nothing is recorded.")
	return b.String()
}

// Run reads the file, says what is wrong with it, and records it.
func (c *ImportCmd) Run(ctx context.Context, g *Globals) (err error) {
	remote, err := c.connect(ctx, g)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, remote.close()) }()
	f, err := os.Open(c.File)
	if err != nil {
		return fmt.Errorf("read %s: %w", c.File, err)
	}
	defer f.Close()
	if c.Table != "" {
		return c.table(ctx, remote, f)
	}
	var batches [][]events.Event
	if strings.HasSuffix(c.File, ".jsonl") {
		batches, err = history.ReadEvents(f)
		batches = withoutAccess(batches)
	} else {
		batches, err = c.sheet(ctx, remote, f)
	}
	if err != nil {
		return err
	}
	if c.DryRun {
		fmt.Println("dry run: nothing was recorded")
		return nil
	}
	return recordAll(ctx, remote, batches)
}

// withoutAccess leaves out who was given access to the ledger that was exported: it says
// nothing of the access to this one, which records its own.
func withoutAccess(batches [][]events.Event) (kept [][]events.Event) {
	left := 0
	for _, batch := range batches {
		all := len(batch)
		batch = slices.DeleteFunc(batch, func(e events.Event) bool { return e.Type == events.AccessChanged })
		if left += all - len(batch); len(batch) > 0 {
			kept = append(kept, batch)
		}
	}
	if left > 0 {
		warn("%d changes of access are left out: they are of the ledger that was exported", left)
	}
	return kept
}

// sheet reads a CSV file and prints what it comes to.
func (c *ImportCmd) sheet(ctx context.Context, remote *client, in io.Reader) ([][]events.Event, error) {
	opts, err := c.options(ctx, remote)
	if err != nil {
		return nil, err
	}
	plan, err := history.Read(in, opts)
	if err != nil {
		return nil, err
	}
	for _, n := range plan.Notices {
		warn("line %d: %s", n.Line, n.Text)
	}
	for _, e := range plan.Errors {
		warn("%s", e)
	}
	tellSummary(plan.Summary)
	if len(plan.Errors) > 0 && !c.SkipBad && !c.DryRun {
		return nil, fmt.Errorf("%d rows have errors and nothing was recorded: "+
			"mend them, or import the rest with --skip-bad", plan.Summary.Bad)
	}
	batches := make([][]events.Event, len(plan.Batches))
	for i, b := range plan.Batches {
		batches[i] = b.Events
	}
	return batches, nil
}

// options asks the ledger what the firm has listed, so that the sheet is read
// with the firm's own tasks, products and time zone.
func (c *ImportCmd) options(ctx context.Context, remote *client) (history.Options, error) {
	answer, err := remote.request(ctx, http.MethodGet, "/v1/firm", "", nil)
	if err != nil {
		return history.Options{}, err
	}
	defer answer.Body.Close()
	var firm struct {
		Firm     string           `json:"firm"`
		Settings *events.Settings `json:"settings"`
		Products []events.Product `json:"products"`
	}
	if err := json.NewDecoder(answer.Body).Decode(&firm); err != nil {
		return history.Options{}, fmt.Errorf("read the firm's settings: %w", err)
	}
	opts := history.Options{
		Firm: firm.Firm, Settings: firm.Settings, Products: firm.Products, MonthFirst: c.MonthFirst, Decimal: c.Decimal,
		KeepRepeats: c.KeepRepeats, SkipBad: c.SkipBad, ListNew: !c.NoListing,
	}
	if firm.Settings != nil {
		if opts.Zone, err = time.LoadLocation(firm.Settings.TimeZone); err != nil {
			return history.Options{}, fmt.Errorf("the firm's time zone: %w", err)
		}
	}
	return opts, nil
}

// recordAll records batches in their order and counts.
func recordAll(ctx context.Context, remote *client, batches [][]events.Event) error {
	bar := newProgress("import")
	recorded, before := 0, 0
	for i, batch := range batches {
		receipts, err := remote.record(ctx, batch)
		if err != nil {
			bar.finish()
			return fmt.Errorf("after %d events were recorded: %w\n"+
				"import the same file again once it is mended: nothing is recorded twice", recorded, err)
		}
		for _, r := range receipts {
			if r.Duplicate {
				before++
			} else {
				recorded++
			}
		}
		bar.update(uint64(i+1), uint64(len(batches)))
	}
	bar.finish()
	fmt.Printf("%d events recorded, %d were there before\n", recorded, before)
	return nil
}
